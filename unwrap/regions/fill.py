"""Fill a gap in a surface with triangles between the vertices of its edge.

On a faceted barrel or cone the facets' edges end at a gap and go on at its other
side. Joined straight across, they cut the gap into cells, each flat in the plane of
one facet: filled so, the surface is the very one that was there before the detail.
Where a surface has no such lines, a long gap is cut across where it is narrowest.
"""

from __future__ import annotations

import mapbox_earcut
import numpy as np

from unwrap.arrays import FloatArray, IntArray

# A gap whose edge keeps to a plane within this (mm) is filled in that plane.
FLAT = 5e-3
# Two facet edges are one line when they point at each other this closely.
IN_LINE = np.cos(np.radians(1.5))


def fill_gap(
    vertices: FloatArray, loops: list[IntArray], stubs: tuple[IntArray, FloatArray] | None = None
) -> IntArray:
    """Fill a gap.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    loops : list of (k,) int64
        The gap's edges, each in order with the gap on its left seen from outside: one
        for a hole, two for a gap that runs all round a barrel or for a ring.
    stubs : (s,) int64 and (s, 3) float64, optional
        Vertices on the edges at which a facet's edge ends, and its unit direction into
        the gap.

    Returns
    -------
    (f, 3) int64
        Triangles, counter-clockwise seen from outside.
    """
    cells = [list(map(int, loop)) for loop in loops if len(loop) > 2]
    if not cells:
        return np.zeros((0, 3), dtype=np.int64)
    points = vertices[np.concatenate([np.array(cell) for cell in cells])]
    links = _in_line(vertices, *stubs) if stubs is not None and len(stubs[0]) else []
    if not links and off_plane(points) <= FLAT:
        return _fill_flat(vertices, cells)
    loop_of = {vertex: index for index, cell in enumerate(cells) for vertex in cell}
    for first, second in [*_between_loops(vertices, cells, links), *links]:
        cells = _link(cells, loop_of, first, second)
    done = []
    while cells:
        cell = cells.pop()
        chord = _chord(vertices, cell)
        if chord is None:
            done.append(_fill_flat(vertices, [cell]))
        else:
            i, j = chord
            cells += [cell[i : j + 1], cell[j:] + cell[: i + 1]]
    return np.concatenate(done)


def off_plane(points: FloatArray) -> float:
    """Largest distance of points from their best plane, mm."""
    middle = points - points.mean(axis=0)
    return float(np.abs(middle @ np.linalg.eigh(middle.T @ middle)[1][:, 0]).max())


def _in_line(vertices: FloatArray, at: IntArray, way: FloatArray) -> list[tuple[int, int]]:
    """Pairs of stubs that point at each other, each with its nearest such partner."""
    across = vertices[at][None, :, :] - vertices[at][:, None, :]
    length = np.linalg.norm(across, axis=2)
    safe = np.maximum(length, 1e-12)
    forth = np.einsum("ijk,ik->ij", across, way) / safe
    back = -np.einsum("ijk,jk->ij", across, way) / safe
    good = (forth > IN_LINE) & (back > IN_LINE) & (length > 1e-9)
    cost = np.where(good, length, np.inf)
    best = cost.argmin(axis=1)
    pairs = []
    used: set[int] = set()
    for i in np.argsort(cost.min(axis=1)):
        j = best[i]
        if not np.isfinite(cost[i, j]) or best[j] != i:
            continue
        a, b = int(at[i]), int(at[j])
        if a not in used and b not in used:
            used |= {a, b}
            pairs.append((a, b))
    return pairs


def _link(cells: list[list[int]], loop_of: dict[int, int], first: int, second: int) -> list[list[int]]:
    """Join two vertices across the gap: parts one cell in two, or makes one of two.

    Loops that a line has joined are one in `loop_of` from then on. A line that would cross an
    earlier one, as those along and round a dome do, is left out.
    """
    for index, cell in enumerate(cells):
        if first in cell and second in cell:
            i, j = sorted((cell.index(first), cell.index(second)))
            if j - i < 2 or len(cell) - (j - i) < 2:
                return cells
            return [*cells[:index], cell[i : j + 1], cell[j:] + cell[: i + 1], *cells[index + 1 :]]
    one, other = loop_of[first], loop_of[second]
    if one == other:
        return cells
    loop_of.update({vertex: one for vertex, loop in loop_of.items() if loop == other})
    mine = next(k for k, cell in enumerate(cells) if first in cell)
    theirs = next(k for k, cell in enumerate(cells) if second in cell)
    i, j = cells[mine].index(first), cells[theirs].index(second)
    cell, ring = cells[mine], cells[theirs]
    joined = [*cell[i:], *cell[:i], first, *ring[j:], *ring[:j], second]
    return [*(c for k, c in enumerate(cells) if k not in (mine, theirs)), joined]


def _between_loops(
    vertices: FloatArray, loops: list[list[int]], links: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """The shortest ways between loops that no line joins yet: without them they bound no cell."""
    belongs = {vertex: index for index, loop in enumerate(loops) for vertex in loop}
    together = list(range(len(loops)))
    for first, second in links:
        one, other = together[belongs[first]], together[belongs[second]]
        together = [one if k == other else k for k in together]
    ways = []
    while len(set(together)) > 1:
        mine = np.array([v for k, loop in enumerate(loops) if together[k] == together[0] for v in loop])
        rest = np.array([v for k, loop in enumerate(loops) if together[k] != together[0] for v in loop])
        distance = np.linalg.norm(vertices[mine][:, None] - vertices[rest][None], axis=2)
        i, j = np.unravel_index(distance.argmin(), distance.shape)
        ways.append((int(mine[i]), int(rest[j])))
        other = together[belongs[int(rest[j])]]
        together = [together[0] if k == other else k for k in together]
    return ways


def _chord(vertices: FloatArray, cell: list[int]) -> tuple[int, int] | None:
    """Where to part a cell that is not flat: across where it is narrowest, near the middle of its length."""
    count = len(cell)
    points = vertices[cell]
    if count <= 4 or off_plane(points) <= FLAT:
        return None
    length = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    place = np.concatenate([[0.0], np.cumsum(length)])
    around = place[-1]
    i, j = np.triu_indices(count, 2)
    apart = place[j] - place[i]
    apart = np.minimum(apart, around - apart)
    inner = (j - i > 1) & (j - i < count - 1)
    i, j, apart = i[inner], j[inner], apart[inner]
    straight = np.linalg.norm(points[i] - points[j], axis=1)
    # a chord is worth its cost when it is short against the edge that it cuts off
    worth = straight / np.maximum(apart, 1e-9)
    if not len(worth) or (straight <= 1e-9).all():
        return None
    worth[straight <= 1e-9] = np.inf
    # it goes across the gap, not along its edge: where a gap runs all round, the two
    # ends of the edge lie side by side
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    way = (points[j] - points[i]) / np.maximum(straight, 1e-12)[:, None]
    slant = np.maximum(
        np.abs(np.einsum("ij,ij->i", way, along[i])), np.abs(np.einsum("ij,ij->i", way, along[j]))
    )
    if (slant < 0.75).any():
        worth[slant >= 0.75] = np.inf
    best = int(worth.argmin())
    return int(i[best]), int(j[best])


def _fill_flat(vertices: FloatArray, loops: list[list[int]]) -> IntArray:
    """Triangulate in the plane of the largest loop; the others are holes in it."""
    areas = [np.linalg.norm(loop_area(vertices[loop])) for loop in loops]
    order = np.argsort(areas)[::-1]
    rings = [np.array(loops[k], dtype=np.int64) for k in order]
    first, second = plane_axes(loop_normal(vertices[rings[0]]))
    number = np.concatenate(rings)
    plane = np.stack([vertices[number] @ first, vertices[number] @ second], axis=1)
    # centring keeps digits for a gap far from the origin
    plane -= plane[: len(rings[0])].mean(axis=0)
    lengths = [len(ring) for ring in rings]
    ends = np.cumsum(lengths).astype(np.uint32)
    cut = mapbox_earcut.triangulate_float64(np.ascontiguousarray(plane), ends)
    triangles = cut.reshape(-1, 3).astype(np.int64)
    u, v = plane[triangles[:, 1]] - plane[triangles[:, 0]], plane[triangles[:, 2]] - plane[triangles[:, 0]]
    turned = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    triangles[turned] = triangles[turned][:, [0, 2, 1]]
    following = np.arange(len(number)) + 1
    following[ends.astype(np.int64) - 1] = ends.astype(np.int64) - lengths
    triangles = number[_with_all_points(triangles, following, plane)]
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return triangles[whole]


def _with_all_points(triangles: IntArray, following: IntArray, plane: FloatArray) -> IntArray:
    """Put back the points on straight runs of the edge, which ear cutting leaves out.

    The mesh round the gap has a corner at each of them; an edge that skips one would
    leave a slit of no width there.
    """
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    size = np.int64(len(following))
    twice = np.isin(start * size + end, end * size + start)
    skips = (~twice & (following[start] != end)).reshape(-1, 3)
    if not skips.any():
        return triangles
    result = [triangles[~skips.any(axis=1)]]
    for triangle, skip in zip(triangles[skips.any(axis=1)], skips[skips.any(axis=1)], strict=True):
        sides = []
        for k in range(3):
            here, stop = int(triangle[k]), int(triangle[(k + 1) % 3])
            sides.append([here, *(_between(plane, here, stop) if skip[k] else []), stop])
        result.append(np.array(_fan(sides), dtype=np.int64))
    return np.concatenate(result)


def _between(plane: FloatArray, start: int, end: int) -> list[int]:
    """Points on the straight way between two others, in order, each place once."""
    along = plane[end] - plane[start]
    length = float(np.linalg.norm(along))
    offset = plane - plane[start]
    share = offset @ along / (length * length)
    aside = np.abs(offset[:, 0] * along[1] - offset[:, 1] * along[0]) / length
    tiny = 1e-7 / length
    found = np.flatnonzero((aside < 1e-6) & (share > tiny) & (share < 1 - tiny))
    found = found[np.argsort(share[found], kind="stable")]
    apart = np.concatenate([[True], np.diff(share[found]) > tiny]) if len(found) else np.zeros(0, dtype=bool)
    return [int(point) for point in found[apart]]


def _fan(sides: list[list[int]]) -> list[list[int]]:
    """Triangles of a triangle with further points on its sides, none of them without area."""
    for k in range(3):
        one, two, three = (sides[(k + turn) % 3] for turn in range(3))
        if len(one) > 2:
            point, corner = one[1], two[-1]
            return _fan([one[:2], [point, corner], three]) + _fan([one[1:], two, [corner, point]])
    return [[side[0] for side in sides]]


def loop_area(points: FloatArray) -> FloatArray:
    """Area vector of a closed loop (M. E. Newell's method), mm^2."""
    middle = points - points.mean(axis=0)
    return 0.5 * np.cross(middle, np.roll(middle, -1, axis=0)).sum(axis=0)


def loop_normal(points: FloatArray) -> FloatArray:
    """Unit normal about which a loop runs counter-clockwise; +z for one without area."""
    area = loop_area(points)
    length = np.linalg.norm(area)
    return area / length if length > 0 else np.array([0.0, 0.0, 1.0])


def plane_axes(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors that with `normal` make a right-handed frame."""
    first = np.cross(np.eye(3)[np.abs(normal).argmin()], normal)
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)
