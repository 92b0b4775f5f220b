"""The edges of a triangle mesh: which faces meet at each, and how."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.triangles import any_chosen


class Edges(NamedTuple):
    """Edges without direction, and the faces at each.

    Attributes
    ----------
    ends : (e, 2) int64
        Vertex numbers, smaller first.
    of_face : (m, 3) int64
        The edge from each corner of a face to its next corner.
    number : (e,) int64
        How many faces meet there: 1 open, 2 sound, more branching.
    pairs : (p, 2) int64
        The two faces at each edge that has exactly two.
    pair_edge : (p,) int64
        That edge.
    agree : (p,) bool
        Whether the two faces wind alike (they run through the edge in opposite directions).
    """

    ends: IntArray
    of_face: IntArray
    number: IntArray
    pairs: IntArray
    pair_edge: IntArray
    agree: BoolArray


def find_edges(faces: IntArray) -> Edges:
    """All edges of a mesh.

    Parameters
    ----------
    faces : (m, 3) int64
        Triangles, each of three different vertices.

    Returns
    -------
    Edges
    """
    following = np.empty_like(faces)
    following[:, :2], following[:, 2] = faces[:, 1:], faces[:, 0]
    start, end = faces.ravel(), following.ravel()
    forward = start < end
    wide = max(int(start.max(initial=0)), 1).bit_length()
    key = np.minimum(start, end)
    key <<= wide
    key |= np.maximum(start, end)
    key, order = _sorted_keys(key, 2 * wide)
    fresh = np.ones(len(key), dtype=bool)
    np.not_equal(key[1:], key[:-1], out=fresh[1:])
    first = np.flatnonzero(fresh)
    number = np.diff(first, append=len(key))
    of_face = np.empty(len(key), dtype=np.int64)
    of_face[order] = np.repeat(np.arange(len(first)), number)
    key = key[first]
    ends = np.empty((len(first), 2), dtype=np.int64)
    ends[:, 0], ends[:, 1] = key >> wide, key & ((1 << wide) - 1)
    two = np.flatnonzero(number == 2)
    first = first[two]
    one_side, other_side = order[first], order[first + 1]
    pairs = np.empty((len(two), 2), dtype=np.int64)
    pairs[:, 0], pairs[:, 1] = one_side // 3, other_side // 3
    agree = forward[one_side] != forward[other_side]
    return Edges(ends, of_face.reshape(-1, 3), number, pairs, two, agree)


def _sorted_keys(key: IntArray, width: int) -> tuple[IntArray, IntArray]:
    """Keys of so many bits in ascending order, and where each stood; equal keys keep their order.

    The keys given are written over.
    """
    bits = max(len(key) - 1, 1).bit_length()
    if width + bits > 63:
        order = np.argsort(key, kind="stable")
        return key[order], order
    # Key and place in one number: sorting plain numbers is several times as fast.
    key <<= bits
    key |= np.arange(len(key))
    key.sort()
    place = key & ((1 << bits) - 1)
    key >>= bits
    return key, place


def find_shells(face_count: int, pairs: IntArray) -> tuple[int, IntArray]:
    """How many connected groups of faces there are, and the group of each face.

    Parameters
    ----------
    face_count : int
        Faces of the mesh.
    pairs : (p, 2) int64
        Faces that belong together.

    Returns
    -------
    count : int
    shell : (m,) int64
    """
    ones = np.ones(len(pairs), dtype=np.int8)
    graph = sparse.coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(face_count, face_count))
    count, shell = csgraph.connected_components(graph, directed=False)
    return int(count), shell.astype(np.int64)


def closed_shells(edges: Edges, count: int, shell: IntArray) -> BoolArray:
    """(count,) which groups of faces have two faces at every edge."""
    closed = np.ones(count, dtype=bool)
    odd = edges.number != 2
    if odd.any():
        closed[shell[any_chosen(odd, edges.of_face)]] = False
    return closed


def edge_angles(normals: FloatArray, pairs: IntArray) -> FloatArray:
    """(p,) angle between the normals of each pair of faces, radians: 0 where they go on flat."""
    one, other = (np.take(normals, pairs[:, side], axis=0) for side in (0, 1))
    cosine = np.einsum("pd,pd->p", one, other)
    return np.arccos(np.clip(cosine, -1.0, 1.0))
