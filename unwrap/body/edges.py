"""The edges of a triangle mesh: which faces meet at each, and how."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.sorted_keys import blocks, first_of_run, sorted_whole, spread
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
    wide = max(int(faces.max(initial=0)), 1).bit_length()
    key, forward = np.empty((len(faces), 3), dtype=np.uint64), np.empty((len(faces), 3), dtype=bool)
    for here in blocks(len(faces)):
        start = faces[here]
        end = start[:, [1, 2, 0]]
        forward[here] = start < end
        block = key.view(np.int64)[here]
        np.minimum(start, end, out=block)
        block <<= wide
        block |= np.maximum(start, end)
    key, order = sorted_whole(key.ravel(), 2 * wide)
    fresh = first_of_run(key)
    first = np.flatnonzero(fresh)
    number = np.diff(first, append=len(key))
    of_face = spread(np.arange(len(first)), fresh, order)
    low_high = key[first].view(np.int64)
    ends = np.empty((len(first), 2), dtype=np.int64)
    np.right_shift(low_high, wide, out=ends[:, 0])
    np.bitwise_and(low_high, (1 << wide) - 1, out=ends[:, 1])
    two = np.flatnonzero(number == 2)
    first = first[two]
    pairs = np.empty((len(two), 2), dtype=np.int64)
    agree = np.empty(len(two), dtype=bool)
    ahead = forward.ravel()
    for here in blocks(len(two)):
        one_side, other_side = order[first[here]], order[first[here] + 1]
        np.floor_divide(one_side, 3, out=pairs[here, 0])
        np.floor_divide(other_side, 3, out=pairs[here, 1])
        agree[here] = ahead[one_side] != ahead[other_side]
    return Edges(ends, of_face.reshape(-1, 3), number, pairs, two, agree)


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
    angles = np.empty(len(pairs))
    for here in blocks(len(pairs)):
        one, other = (np.take(normals, side, axis=0) for side in pairs[here].T)
        angles[here] = np.arccos(np.clip(np.einsum("pd,pd->p", one, other), -1.0, 1.0))
    return angles
