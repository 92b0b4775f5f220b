"""Sew together parts of a region that meet edge to edge without sharing vertices.

The parts of a printed kit are pushed into each other, each a shell of its own. Where a region
goes over from one to the next, both end at the line that is seen; here that line becomes
one row of edges.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.mend import nearest_inside
from unwrap.regions.edges import edge_table, label_parts
from unwrap.regions.split import split_edges

# Edges this close lie on each other, mm: what two curved shells' meeting line loses on straight edges,
# and what a modeller leaves between parts that are meant to touch.
TOUCHING = 0.03
# Vertices are joined within so many times that: what lies beside an edge, no farther than that
# from its end, is near enough to the end.
JOINED = 1.5
# Each round splits an edge once; the edges along a meeting line are short.
ROUNDS = 40


def sew(
    vertices: FloatArray, faces: IntArray, tolerance: float = TOUCHING
) -> tuple[FloatArray, IntArray, IntArray]:
    """Join parts of a mesh along open edges that lie within a tolerance of each other.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles; parts are told apart by what hangs together over edges.
    tolerance : float
        mm.

    Returns
    -------
    vertices : (n + k, 3) float64
        The same, and what edges were split at.
    faces : (m', 3) int64
        Without those that lost a corner.
    parent : (m',) int64
        The face that each is (a part of).
    """
    parent = np.arange(len(faces))
    table = edge_table(faces)
    part_of_face = label_parts(table, np.ones(len(table.ends), dtype=bool))
    for _ in range(ROUNDS):
        faces, kept = _join_vertices(vertices, faces, part_of_face[parent], JOINED * tolerance)
        parent = parent[kept]
        a, b, part = _open_edges(faces, part_of_face[parent])
        edge, vertex = _passed(vertices, a, b, part, tolerance)
        if len(edge) == 0:
            break
        ends = np.sort(np.stack([a[edge], b[edge]], axis=1), axis=1)
        ends, first = np.unique(ends, axis=0, return_index=True)
        vertices, faces, kept = split_edges(vertices, faces, ends, vertices[vertex[first]])
        parent = parent[kept]
    return vertices, faces, parent


def _passed(
    vertices: FloatArray, a: IntArray, b: IntArray, part: IntArray, tolerance: float
) -> tuple[IntArray, IntArray]:
    """Open edges that pass a vertex of another part's open edges, and one such vertex of each."""
    found = []
    for number in np.unique(part):
        own = np.flatnonzero(part == number)
        others = np.unique(np.concatenate([a[part != number], b[part != number]]))
        edge, vertex = nearest_inside(vertices, a[own], b[own], others, tolerance)
        found.append((own[edge], vertex))
    edges, passed = zip(*found, strict=True)
    return np.concatenate(edges), np.concatenate(passed)


def _open_edges(faces: IntArray, part_of_face: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Start, end and part of each open edge."""
    table = edge_table(faces)
    face, side = np.nonzero(table.count[table.of_face] == 1)
    return faces[face, side], faces[face, (side + 1) % 3], part_of_face[face]


def _join_vertices(
    vertices: FloatArray, faces: IntArray, part_of_face: IntArray, reach: float
) -> tuple[IntArray, IntArray]:
    """Give vertices that lie together where parts meet one number; the faces, and which were kept.

    A vertex goes to the first one within reach that stays; so no row of close ones is drawn into one.
    """
    a, b, part = _open_edges(faces, part_of_face)
    border, at = np.unique(np.concatenate([a, b]), return_index=True)
    of_border = np.concatenate([part, part])[at]
    near = cKDTree(vertices[border]).query_pairs(reach, output_type="ndarray")
    meets = np.zeros(len(border), dtype=bool)
    meets[near[of_border[near[:, 0]] != of_border[near[:, 1]]]] = True
    near = near[meets[near].all(axis=1)]
    if len(near) == 0:
        return faces, np.arange(len(faces))
    number = np.arange(len(vertices))
    joined = np.zeros(len(border), dtype=bool)
    # In the order of the first of each pair, which by then is known to stay or to go.
    for first, second in near[np.lexsort(near.T[::-1])].tolist():
        if not joined[first] and not joined[second]:
            joined[second] = True
            number[border[second]] = border[first]
    faces = number[faces]
    one, two, three = faces.T
    whole = np.flatnonzero((one != two) & (two != three) & (three != one))
    return faces[whole], whole
