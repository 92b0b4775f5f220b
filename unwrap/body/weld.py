"""Weld vertices that lie at one place, and drop faces that say nothing."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.sorted_keys import blocks, first_of_run, sorted_with_place, spread
from unwrap.body.soup import counts

# Vertices closer than this are one place, mm. It is what single precision and six printed
# digits lose on a body of a few hundred mm; wider gaps are only closed along open edges.
WELD = 1e-4
# More near neighbours than this for each vertex are not told apart one by one.
CROWD = 50
# Cells in which near neighbours are looked for are so many tolerances wide.
CELL = 64
# Odd numbers whose bits are well mixed.
SCRAMBLE = (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB)


def weld_tolerance(vertices: FloatArray) -> float:
    """The distance under which vertices are one place: 0.0001 mm, less on a tiny body, more on a huge one."""
    # Column by column: along rows of three it takes seven times as long.
    diagonal = float(np.linalg.norm([np.ptp(column) for column in vertices.T]))
    return float(np.clip(WELD, 2e-7 * diagonal, 2e-5 * diagonal))


def join_equal(vertices: NDArray[Any], faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Give corners at exactly one place one number.

    Parameters
    ----------
    vertices : (n, 3) float32 or float64
        Positions as a file has them, repeated as the file repeats them.
    faces : (m, 3) int64
        Triangles.

    Returns
    -------
    vertices : (k, 3) float64
        Each place once, in the order of their first appearance.
    faces : (m, 3) int64
        The same triangles.
    """
    first, number = equal_rows(vertices)
    return np.take(vertices, first, axis=0).astype(np.float64), number[faces]


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
        The vertices that are left; of near ones the first one's position.
    faces : (m, 3) int64
        The same triangles; some may have lost a corner.
    moved : int
        How many vertices were welded to others.
    """
    suspect = _not_alone(vertices, tolerance)
    if len(suspect) == 0:
        return vertices, faces, 0
    tree = cKDTree(vertices[suspect], balanced_tree=False, compact_nodes=False)
    if len(suspect) > CROWD and tree.count_neighbors(tree, tolerance) > CROWD * len(suspect):
        # A speck of a body beside a far-flung vertex: rounding does what pairs cannot.
        first, cell = equal_rows(np.round(vertices / tolerance))
        return tolerance * np.round(vertices[first] / tolerance), cell[faces], len(vertices) - len(first)
    near = suspect[tree.query_pairs(tolerance, output_type="ndarray")]
    if len(near) == 0:
        return vertices, faces, 0
    ones = np.ones(len(near), dtype=np.int8)
    graph = sparse.coo_matrix((ones, (near[:, 0], near[:, 1])), shape=(len(vertices), len(vertices)))
    count, group = csgraph.connected_components(graph, directed=False)
    first = np.full(count, len(vertices))
    np.minimum.at(first, group, np.arange(len(vertices)))
    order = np.argsort(first)  # keep the file's order of places
    rank = np.empty(count, dtype=np.int64)
    rank[order] = np.arange(count)
    return np.take(vertices, first[order], axis=0), rank[group][faces], len(vertices) - count


def _not_alone(vertices: FloatArray, tolerance: float) -> IntArray:
    """Vertices that may have another within a tolerance, ascending: they share a cell of a grid with one.

    A vertex near the border of its cell counts as in the cells beyond it too.
    """
    place = np.ascontiguousarray(vertices.T) / (CELL * tolerance)
    cell = np.floor(place)
    place -= cell
    ways = [(share > 1 - 1.01 / CELL).astype(np.int8) - (share < 1.01 / CELL) for share in place]
    border = np.flatnonzero(np.logical_or.reduce([way != 0 for way in ways]))
    cells, owners = [cell.T], [np.arange(len(vertices))]
    for over in product((0, 1), repeat=3):
        steps = [way[border] * one for way, one in zip(ways, over, strict=True)]
        beyond = np.logical_and.reduce([step != 0 for step, one in zip(steps, over, strict=True) if one])
        if any(over) and np.any(beyond):
            some = border[beyond]
            cells.append((cell[:, some] + np.stack(steps)[:, beyond]).T)
            owners.append(some)
    # + 0.0 makes -0.0 equal to 0.0
    return np.unique(np.concatenate(owners)[_alike(np.concatenate(cells) + 0.0)])


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
        faces = np.compress(whole, faces, axis=0)
    if len(faces) == 0:
        return faces, repairs
    suspect = _of_alike_corners(faces)
    if len(suspect) == 0:
        return faces, repairs
    again = np.zeros(len(faces), dtype=bool)
    kept_for = np.arange(len(faces))
    key = np.sort(faces[suspect], axis=1)
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
        faces = np.compress(~again, faces, axis=0)
    return faces, repairs


def _of_alike_corners(faces: IntArray) -> IntArray:
    """Faces whose three corners another face may have too, in whatever order, ascending."""
    # A sum of scrambled numbers is the same whichever corner comes first.
    key = np.empty(len(faces), dtype=np.uint64)
    for here in blocks(len(faces)):
        scrambled = faces[here].view(np.uint64) * np.uint64(SCRAMBLE[0])
        scrambled ^= scrambled >> np.uint64(29)
        scrambled *= np.uint64(SCRAMBLE[1])
        key[here] = scrambled[:, 0] + scrambled[:, 1] + scrambled[:, 2]
    return _repeated(*sorted_with_place(key))


def _alike(rows: NDArray[Any]) -> IntArray:
    """Rows that may stand more than once, ascending; few others are among them."""
    return _repeated(*sorted_with_place(_hash(rows)))


def _repeated(key: NDArray[np.uint64], place: IntArray) -> IntArray:
    """Places, ascending, of sorted keys that have an equal one beside them."""
    same = np.concatenate([[False], key[1:] == key[:-1], [False]])
    return np.sort(place[same[1:] | same[:-1]])


def _hash(rows: NDArray[Any]) -> NDArray[np.uint64]:
    """A number for each row of three, the same for equal rows and nearly always another for others."""
    bits = np.dtype(f"u{rows.dtype.itemsize}")
    result = np.zeros(len(rows), dtype=np.uint64)
    for here in blocks(len(rows)):
        mixed = result[here]
        for column, factor in zip(rows[here].T, SCRAMBLE, strict=True):
            mixed ^= mixed >> np.uint64(31)
            mixed ^= np.ascontiguousarray(column).view(bits)
            mixed *= np.uint64(factor)
    return result


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
    return np.compress(mask, vertices, axis=0), number[faces]


def equal_rows(vertices: NDArray[Any]) -> tuple[IntArray, IntArray]:
    """Exactly equal rows: the first of each, in the order of appearance, and the number of each row's."""
    # + 0.0 makes -0.0 equal to 0.0. Columns of their own are read faster than rows.
    columns = np.ascontiguousarray(vertices.T) + vertices.dtype.type(0)
    key, place = sorted_with_place(_hash(columns.T))
    fresh = first_of_run(key)
    # Equal keys keep their order, so the first of each run appeared first.
    leader = spread(place[fresh], fresh, place)
    # Compared in the rows' own order, in which equal ones mostly stand near each other.
    unlike = np.zeros(len(leader), dtype=bool)
    for column in columns:
        unlike |= column != np.take(column, leader)
    if unlike.any():
        odd = np.flatnonzero(unlike)
        odd = odd[np.lexsort(columns[:, odd])]
        fresh = np.ones(len(odd), dtype=bool)
        fresh[1:] = (columns[:, odd[1:]] != columns[:, odd[:-1]]).any(axis=0)
        leader[odd] = odd[fresh][np.cumsum(fresh) - 1]
    own = np.zeros(len(leader), dtype=bool)
    own[leader] = True
    first = np.flatnonzero(own)
    number = place  # no longer needed
    number[first] = np.arange(len(first))
    return first, number[leader]
