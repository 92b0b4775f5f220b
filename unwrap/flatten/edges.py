"""Which edges a patch has, which faces meet on them, and its boundary loops."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import IntArray


def boundary_edges(faces: IntArray) -> IntArray:
    """(b, 2) directed edges with one face only, the face on their left."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    n = int(faces.max()) + 1
    key = np.minimum(start, end) * n + np.maximum(start, end)
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    lone = count[inverse] == 1
    return np.column_stack([start[lone], end[lone]])


def boundary_loops(faces: IntArray) -> list[IntArray]:
    """Boundary loops as vertex indices, the patch on the left; no vertex is repeated at the end."""
    following = dict(boundary_edges(faces).tolist())
    loops = []
    while following:
        first, at = following.popitem()
        loop = [first]
        while at != first:
            loop.append(at)
            at = following.pop(at)
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def interior_edges(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Edges with two faces.

    Returns
    -------
    edges : (e, 2) int64
        Vertices, directed as in the first face.
    pairs : (e, 2) int64
        The face on the left and the face on the right.
    """
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    n = int(faces.max()) + 1
    key = np.minimum(start, end) * n + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    same = key[order][1:] == key[order][:-1]
    one, two = order[:-1][same], order[1:][same]
    return np.column_stack([start[one], end[one]]), np.column_stack([one // 3, two // 3])
