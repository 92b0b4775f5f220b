"""Weld vertices that lie at one place, and drop faces that say nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.soup import counts

# Vertices closer than this are one place, mm. It is what single precision and six printed
# digits lose on a body of a few hundred mm; wider gaps are only closed along open edges.
WELD = 1e-4
# More near neighbours than this for each vertex are not told apart one by one.
CROWD = 50


def weld_tolerance(vertices: FloatArray) -> float:
    """The distance under which vertices are one place: 0.0001 mm, less on a tiny body, more on a huge one."""
    # Column by column: along rows of three it takes seven times as long.
    diagonal = float(np.linalg.norm([np.ptp(column) for column in vertices.T]))
    return float(np.clip(WELD, 2e-7 * diagonal, 2e-5 * diagonal))


def weld(vertices: FloatArray, faces: IntArray, tolerance: float) -> tuple[FloatArray, IntArray, int]:
    """Give vertices that lie within a tolerance of one another one number.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    tolerance : float
        Distance, mm. Chains of near vertices become one.

    Returns
    -------
    vertices : (k, 3) float64
        Each place once, unused ones left away; of near vertices the first one's position.
    faces : (m, 3) int64
        The same triangles; some may have lost a corner.
    moved : int
        How many vertices of different positions were welded.
    """
    vertices, faces = drop_unused(vertices, faces)
    unique, number = _same(vertices)
    tree = cKDTree(unique, balanced_tree=False, compact_nodes=False)
    if len(unique) > CROWD and tree.count_neighbors(tree, tolerance) > CROWD * len(unique):
        # A speck of a body beside a far-flung vertex: rounding does what pairs cannot.
        cells, cell = _same(np.round(unique / tolerance))
        return cells * tolerance, cell[number][faces], len(unique) - len(cells)
    near = tree.query_pairs(tolerance, output_type="ndarray")
    if len(near) == 0:
        return unique, number[faces], 0
    ones = np.ones(len(near), dtype=np.int8)
    graph = sparse.coo_matrix((ones, (near[:, 0], near[:, 1])), shape=(len(unique), len(unique)))
    count, group = csgraph.connected_components(graph, directed=False)
    first = np.full(count, len(unique))
    np.minimum.at(first, group, np.arange(len(unique)))
    order = np.argsort(first)  # keep the file's order of places
    rank = np.empty(count, dtype=np.int64)
    rank[order] = np.arange(count)
    return unique[first[order]], rank[group][number][faces], len(unique) - count


def drop_empty_faces(faces: IntArray) -> tuple[IntArray, list[str]]:
    """Drop faces with a repeated corner, and faces that are there twice.

    Returns
    -------
    faces : (k, 3) int64
        What is left, in the same order.
    repairs : list of str
        What was dropped, one phrase each.
    """
    repairs = []
    a, b, c = faces.T
    whole = (a != b) & (b != c) & (c != a)
    if not whole.all():
        repairs.append(f"dropped {counts(int((~whole).sum()), 'face')} without area")
        faces = faces[whole]
    if len(faces) == 0:
        return faces, repairs
    again = np.zeros(len(faces), dtype=bool)
    kept_for = np.arange(len(faces))
    key = np.sort(faces, axis=1)
    suspect = _alike(key)
    key = key[suspect]
    order = np.lexsort(key.T[::-1])
    ordered = key[order]
    repeats = np.zeros(len(order), dtype=bool)
    repeats[1:] = (ordered[1:] == ordered[:-1]).all(axis=1)
    first = order[np.maximum.accumulate(np.where(~repeats, np.arange(len(order)), 0))]
    again[suspect[order]] = repeats
    kept_for[suspect[order]] = suspect[first]
    if again.any():
        back = again & ~_wind_alike(faces, faces[kept_for])
        if back.any():
            repairs.append(f"dropped {counts(int(back.sum()), 'face')} lying back to back on others")
        if (again & ~back).any():
            repairs.append(f"dropped {counts(int((again & ~back).sum()), 'repeated face')}")
        faces = faces[~again]
    return faces, repairs


def _alike(rows: NDArray[Any]) -> IntArray:
    """Rows that may stand more than once, ascending; few others are among them."""
    packed, bits = _packed(rows)
    packed.sort()
    index = (packed & np.uint64((1 << bits) - 1)).astype(np.int64)
    key = packed >> np.uint64(bits)
    same = np.concatenate([[False], key[1:] == key[:-1], [False]])
    return np.sort(index[same[1:] | same[:-1]])


def _packed(rows: NDArray[Any]) -> tuple[NDArray[np.uint64], int]:
    """A hash of each (n, 3) row with the row's number in the lowest bits, and how many those are."""
    mixed = np.zeros(len(rows), dtype=np.uint64)
    for column, factor in zip(
        rows.T, (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB), strict=True
    ):
        mixed = (mixed ^ (mixed >> np.uint64(31)) ^ column.view(np.uint64)) * np.uint64(factor)
    bits = max(len(rows) - 1, 1).bit_length()
    mixed = (mixed >> np.uint64(bits)) << np.uint64(bits)
    return mixed | np.arange(len(rows), dtype=np.uint64), bits


def _wind_alike(faces: IntArray, others: IntArray) -> np.ndarray:
    """Whether faces of the same corners run round them in the same direction."""
    at = np.argmax(others == faces[:, :1], axis=1)
    following = others[np.arange(len(others)), (at + 1) % 3]
    return following == faces[:, 1]


def drop_unused(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Leave vertices away that no face names; returns vertices and renumbered faces."""
    mask = np.zeros(len(vertices), dtype=bool)
    mask[faces] = True
    if mask.all():
        return vertices, faces
    number = np.cumsum(mask) - 1
    return vertices[mask], number[faces]


def _same(vertices: FloatArray) -> tuple[FloatArray, IntArray]:
    """Exactly equal positions once, in the order of their first appearance."""
    # + 0.0 makes -0.0 equal to 0.0. Columns of their own are read faster than rows.
    columns = np.asfortranarray(vertices + 0.0)
    packed, bits = _packed(columns)
    packed.sort()
    order = (packed & np.uint64((1 << bits) - 1)).astype(np.int64)
    ordered = vertices[order]
    fresh = np.ones(len(ordered), dtype=bool)
    fresh[1:] = np.logical_or.reduce([column[1:] != column[:-1] for column in ordered.T])
    # Equal keys keep their order, so the first of each run appeared first.
    first = order[fresh]
    rank = np.empty(len(first), dtype=np.int64)
    by_appearance = np.argsort(first)
    rank[by_appearance] = np.arange(len(first))
    number = np.empty(len(vertices), dtype=np.int64)
    number[order] = rank[np.cumsum(fresh) - 1]
    return vertices[first[by_appearance]], number
