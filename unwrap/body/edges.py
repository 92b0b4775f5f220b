"""The edges of a triangle mesh: which faces meet at each, and how."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from unwrap.body.body import BoolArray, FloatArray, IntArray


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
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    forward = start < end
    low, high = np.where(forward, start, end), np.where(forward, end, start)
    width = int(high.max()) + 1 if len(high) else 1
    key = low * width + high
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    fresh = np.concatenate([[True], ordered[1:] != ordered[:-1]]) if len(key) else np.zeros(0, bool)
    first = np.flatnonzero(fresh)
    count = np.diff(np.concatenate([first, [len(key)]]))
    of_face = np.empty(len(key), dtype=np.int64)
    of_face[order] = np.cumsum(fresh) - 1
    ends = np.stack([ordered[first] // width, ordered[first] % width], axis=1)
    two = np.flatnonzero(count == 2)
    one_side, other_side = order[first[two]], order[first[two] + 1]
    pairs = np.stack([one_side // 3, other_side // 3], axis=1)
    agree = forward[one_side] != forward[other_side]
    return Edges(ends, of_face.reshape(-1, 3), count, pairs, two, agree)


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


def edge_angles(normals: FloatArray, pairs: IntArray) -> FloatArray:
    """(p,) angle between the normals of each pair of faces, radians: 0 where they go on flat."""
    cosine = np.einsum("pd,pd->p", normals[pairs[:, 0]], normals[pairs[:, 1]])
    return np.arccos(np.clip(cosine, -1.0, 1.0))
