"""Split triangles where a level passes through them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray

# A corner this close to the level (mm) counts as on it: a cut there would leave a
# triangle that no later step could use.
ON_LEVEL = 1e-6
# A limit this close to a corner (mm) goes through it: files round 35.6 to 35.59999847, and a
# cut beside that would leave faces of no size.
ON_LIMIT = 1e-4


def split_at_level(
    vertices: FloatArray,
    faces: IntArray,
    height: FloatArray,
    where: BoolArray | None = None,
    on_level: float = ON_LEVEL,
) -> tuple[FloatArray, IntArray, IntArray, IntArray, FloatArray]:
    """Split faces along the zero level of a function that is linear on each of them.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    height : (n,) float64
        The function at the vertices, mm.
    where : (m,) bool, optional
        Faces that may be split. An edge between one that may and one that may not is
        still split on both sides, so that the mesh stays closed along it.
    on_level : float
        Vertices this close to the level are taken as on it.

    Returns
    -------
    vertices : (n + k, 3) float64
        The old vertices and the new ones on the level.
    faces : (m', 3) int64
        Triangles that no longer cross the level.
    parent : (m',) int64
        The face that each is (a part of).
    side : (m',) int64
        -1 below, +1 above, 0 on the level.
    height : (n + k,) float64
        The function at all vertices, exactly 0 on the level.
    """
    height = np.where(np.abs(height) <= on_level, 0.0, height)
    sign = np.sign(height).astype(np.int64)
    corner, following = faces, np.roll(faces, -1, axis=1)
    crossed = sign[corner] * sign[following] < 0
    if where is not None:
        size = np.int64(len(vertices))
        key = np.minimum(corner, following) * size + np.maximum(corner, following)
        allowed = np.unique(key[where[:, None] & crossed])
        crossed &= np.isin(key, allowed)
    ends = np.unique(np.sort(np.stack([corner[crossed], following[crossed]], axis=1), axis=1), axis=0)
    low, high = height[ends[:, 0]], height[ends[:, 1]]
    share = (low / np.where(low == high, 1.0, low - high))[:, None]
    fresh = vertices[ends[:, 0]] * (1 - share) + vertices[ends[:, 1]] * share
    all_vertices, all_faces, parent = split_edges(vertices, faces, ends, fresh)
    all_height = np.concatenate([height, np.zeros(len(fresh))])
    side = np.sign(all_height[all_faces].sum(axis=1)).astype(np.int64)
    return all_vertices, all_faces, parent, side, all_height


def split_edges(
    vertices: FloatArray, faces: IntArray, ends: IntArray, places: FloatArray
) -> tuple[FloatArray, IntArray, IntArray]:
    """Put a new vertex on each of some edges and split the faces that have them.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    ends : (k, 2) int64
        Edges, the smaller vertex first, each once.
    places : (k, 3) float64
        Where their new vertices go, mm.

    Returns
    -------
    vertices : (n + k, 3) float64
        The old vertices, then the new ones.
    faces : (m', 3) int64
        Triangles; the parts of a face stand together in its place.
    parent : (m',) int64
        The face that each is (a part of).
    """
    size = np.int64(len(vertices))
    following = np.roll(faces, -1, axis=1)
    key = np.minimum(faces, following) * size + np.maximum(faces, following)
    wanted = ends[:, 0] * size + ends[:, 1]
    order = np.argsort(wanted)
    middle = np.full(faces.shape, -1, dtype=np.int64)
    if len(wanted):
        place = np.minimum(np.searchsorted(wanted[order], key), len(wanted) - 1)
        found = wanted[order][place] == key
        middle[found] = size + order[place[found]]
    split = middle >= 0
    all_vertices = np.concatenate([vertices, places.reshape(-1, 3)])
    count = split.sum(axis=1)
    pieces = [faces[count == 0]]
    parents = [np.flatnonzero(count == 0)]

    one = np.flatnonzero(count == 1)
    turn = split[one].argmax(axis=1)
    a, b, c = (faces[one, (turn + k) % 3] for k in range(3))
    m = middle[one, turn]
    pieces += [np.stack([a, m, c], axis=1), np.stack([m, b, c], axis=1)]
    parents += [one, one]

    two = np.flatnonzero(count == 2)
    turn = (~split[two]).argmax(axis=1)  # the edge that is not split, opposite the lone corner
    a, b, c = (faces[two, (turn + k) % 3] for k in range(3))
    p, q = middle[two, (turn + 1) % 3], middle[two, (turn + 2) % 3]
    # the remaining four-sided part takes its shorter diagonal
    along_b = np.linalg.norm(all_vertices[b] - all_vertices[q], axis=1)
    along_a = np.linalg.norm(all_vertices[a] - all_vertices[p], axis=1)
    use_b = (along_b <= along_a)[:, None]
    pieces += [
        np.stack([q, p, c], axis=1),
        np.where(use_b, np.stack([a, b, q], axis=1), np.stack([a, b, p], axis=1)),
        np.where(use_b, np.stack([b, p, q], axis=1), np.stack([a, p, q], axis=1)),
    ]
    parents += [two, two, two]

    three = np.flatnonzero(count == 3)
    (a, b, c), (p, q, r) = faces[three].T, middle[three].T
    pieces += [np.stack(corners, axis=1) for corners in ((a, p, r), (p, b, q), (r, q, c), (p, q, r))]
    parents += [three] * 4

    parent = np.concatenate(parents)
    order = np.argsort(parent, kind="stable")
    return all_vertices, np.concatenate(pieces).astype(np.int64)[order], parent[order]


def trim_within(
    vertices: FloatArray, faces: IntArray, within: Mapping[str, tuple[float, float]]
) -> tuple[FloatArray, IntArray, IntArray]:
    """Keep what lies between limits along the axes, cutting triangles at the limits.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    within : mapping of "x", "y" or "z" to (low, high)
        Limits, mm; infinite where there is none.

    Returns
    -------
    vertices, faces : arrays
        What is left; unused vertices may remain.
    parent : (m',) int64
        The face that each is (a part of).
    """
    parent = np.arange(len(faces))
    for axis, (low, high) in within.items():
        column = "xyz".index(axis)
        for limit, keep in ((low, 1), (high, -1)):
            if not np.isfinite(limit) or not len(faces):
                continue
            height = vertices[:, column] - limit
            vertices, faces, source, side, _ = split_at_level(vertices, faces, height, on_level=ON_LIMIT)
            left = side == keep
            faces, parent = faces[left], parent[source[left]]
    return vertices, faces, parent
