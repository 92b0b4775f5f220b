"""Rid a mesh of what no flattening can use: loose vertices, faces without area, stray parts."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.mend import join_t_junctions
from unwrap.regions.cut import cut_along
from unwrap.regions.edges import compact, edge_table, face_normals, label_parts

# Two corners nearer than this are one, and a triangle lower than this is none, mm.
NOTHING = 1e-6
# A corner this near to an open edge lies on it: what is between is no slit in the surface, mm.
SLIT = 1e-4


def tidy_mesh(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The largest connected part of a mesh as a manifold without degenerate faces.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.

    Returns
    -------
    vertices : (k, 3) float64
        Positions; each is used.
    faces : (m', 3) int64
        Triangles higher than a millionth of a millimetre. The surface is the same to
        that precision: short edges are closed up and flat triangles dissolved into
        the neighbour over their longest edge; corners that lie on an open edge are put into it.
    """
    faces = _close_short_edges(vertices, faces)
    for _ in range(12):
        changed, faces = _dissolve_flat(vertices, faces)
        if not changed:
            break
    faces, _ = join_t_junctions(vertices, faces, SLIT)
    vertices, faces, _ = cut_along(vertices, faces)
    table = edge_table(faces)
    part = label_parts(table, np.ones(len(table.ends), dtype=bool))
    if len(part) and part.max() > 0:
        area = np.bincount(part, weights=face_normals(vertices, faces)[1])
        faces = faces[part == area.argmax()]
    vertices, faces, _ = compact(vertices, faces)
    return vertices, faces


def _close_short_edges(vertices: FloatArray, faces: IntArray) -> IntArray:
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    short = np.linalg.norm(vertices[start] - vertices[end], axis=1) < NOTHING
    if not short.any():
        return faces
    size = len(vertices)
    graph = sp.coo_matrix((np.ones(short.sum(), dtype=bool), (start[short], end[short])), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    first = np.full(label.max() + 1, size, dtype=np.int64)
    np.minimum.at(first, label, np.arange(size))
    faces = first[label][faces]
    return faces[(faces != np.roll(faces, -1, axis=1)).all(axis=1)]


def _dissolve_flat(vertices: FloatArray, faces: IntArray) -> tuple[bool, IntArray]:
    """Give each flat triangle's middle corner to its neighbour over the longest edge."""
    corners = vertices[faces]
    length = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    longest = length.argmax(axis=1)
    area = face_normals(vertices, faces)[1]
    flat = np.flatnonzero(2 * area < NOTHING * length.max(axis=1))
    if not len(flat):
        return False, faces
    table = edge_table(faces)
    faces = faces.copy()
    drop = np.zeros(len(faces), dtype=bool)
    touched = np.zeros(len(faces), dtype=bool)
    for face in flat.tolist():
        k = int(longest[face])
        a, b, c = (int(faces[face, (k + j) % 3]) for j in range(3))
        pair = table.pair[table.of_face[face, k]]
        if table.count[table.of_face[face, k]] == 1:
            drop[face] = True  # it lies along the outline, which then runs through its middle corner
            continue
        other = int(pair[0] if pair[1] == face else pair[1])
        if other < 0 or touched[face] or touched[other] or drop[other]:
            continue
        j = int(np.flatnonzero(faces[other] == b)[0])
        if faces[other, (j + 1) % 3] != a:
            continue
        d = int(faces[other, (j + 2) % 3])
        if d == c:
            drop[[face, other]] = True
        else:
            faces[face], faces[other] = (a, d, c), (d, b, c)
        touched[[face, other]] = True
    return bool(drop.any() or touched.any()), faces[~drop]
