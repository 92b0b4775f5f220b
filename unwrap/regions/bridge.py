"""Carry a region over its details: take them off and close the ground underneath."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.body.body import BoolArray, FloatArray, IntArray
from unwrap.regions.edges import (
    boundary_loops,
    edge_angles,
    edge_table,
    face_normals,
    steady_normals,
)
from unwrap.regions.fill import fill_gap
from unwrap.regions.heads import Heads, simple_heads

# A facet's edge is one from this angle on (radians); below, two faces are one plane.
FACET_EDGE = np.radians(0.1)
# An outline under a detail is kept straight within this, mm.
STRAIGHT = 0.01


@dataclass(frozen=True, eq=False)
class Carried:
    """One detail that was taken off.

    Parameters
    ----------
    faces : (k,) int64
        Its faces, as numbered in the region.
    loops : list of (j,) int64
        Edges of its footprint, into the bridged vertices.
    fill : (f, 3) int64
        The triangles that close the ground under it.
    outer : bool
        Whether it runs along the region's own edge.
    height : float
        How far it stands above the ground (negative: how deep it goes), mm.
    middle : (3,) float64
        The middle of its footprint, mm.
    frame : (3, 3) float64
        Unit directions there: along its longest way, across that, and up from the ground.
    """

    faces: IntArray
    loops: list[IntArray]
    fill: IntArray
    outer: bool
    height: float
    middle: FloatArray
    frame: FloatArray


def take_off_details(
    vertices: FloatArray, faces: IntArray, detail: IntArray, bridge: float
) -> tuple[FloatArray, IntArray, list[Carried]]:
    """Replace details by the smooth ground under them.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        The region with its details on it.
    detail : (m,) int64
        Detail per face, -1 for the ground.
    bridge : float
        Widest detail, mm.

    Returns
    -------
    vertices : (n + k, 3) float64
        The old vertices and those that the ground's edge needed under details.
    faces : (m', 3) int64
        The ground, closed.
    carried : list of Carried
        What was taken off, in order of its number.
    """
    on_ground = detail < 0
    if on_ground.all():
        return vertices, faces, []
    table = edge_table(faces)
    normals = steady_normals(vertices, faces, table)
    areas = face_normals(vertices, faces)[1]
    standing = np.flatnonzero(~on_ground)
    loops = boundary_loops(faces[standing])
    rim = _Rim(vertices, faces, on_ground, normals)
    stub_at, stub_way = facet_stubs(vertices, faces, loops, on_ground)
    owner = _owners(faces, detail, loops)
    mouths = _Mouths(vertices, boundary_loops(faces[on_ground]))

    by_group: dict[int, list[IntArray]] = {}
    for number, loop in zip(owner, loops, strict=True):
        by_group.setdefault(number, []).append(loop)
    order = np.argsort(detail, kind="stable")
    first = np.searchsorted(detail[order], np.arange(int(detail.max()) + 2))
    extra: list[FloatArray] = []
    found: dict[int, Carried] = {}
    for heads in _simple_heads(vertices, faces, detail, by_group, rim):
        for k, number in enumerate(heads.number.tolist()):
            mine_faces = order[first[number] : first[number + 1]]
            found[number] = Carried(
                mine_faces,
                [heads.loop[k]],
                heads.fill[k],
                False,
                float(heads.height[k]),
                heads.middle[k],
                heads.frame[k],
            )
    for number in sorted(by_group.keys() - found.keys()):
        edges = rim.of(by_group[number])
        if edges is None:
            continue
        outer = False
        closed = []
        for loop, grounded in zip(by_group[number], edges.on_ground, strict=True):
            if grounded.all():
                closed.append(loop)
                continue
            if not grounded.any() and edges.size() <= 1.5 * bridge:
                continue  # the inner end of a bored hole
            mouth = mouths.around(loop, grounded, bridge)
            if mouth is not None:
                closed.append(mouth)
                continue
            run, fresh = _lowered(vertices, loop, grounded, edges, mouths, len(vertices) + len(extra), bridge)
            extra += fresh
            if len(run) > 2:
                closed.append(run)
                placed = np.concatenate([vertices, np.array(extra).reshape(-1, 3)])[run]
                steps = np.linalg.norm(np.roll(vertices[loop], -1, axis=0) - vertices[loop], axis=1)
                around = np.linalg.norm(np.roll(placed, -1, axis=0) - placed, axis=1).sum()
                outer |= bool(steps[grounded].sum() < 0.75 * around)
        all_vertices = np.concatenate([vertices, np.array(extra)]) if extra else vertices
        mine = np.isin(stub_at, np.concatenate(closed)) if closed else np.zeros(len(stub_at), dtype=bool)
        fill = fill_gap(all_vertices, closed, (stub_at[mine], stub_way[mine]))
        # a detail covers the ground under it; what does not is no detail but a step at
        # the foot of something larger, and the region ends there
        mine_faces = order[first[number] : first[number + 1]]
        own = areas[mine_faces].sum()
        if edges.size() > 1.5 * bridge and face_normals(all_vertices, fill)[1].sum() > 1.2 * own:
            continue
        if closed:
            height = edges.height(vertices[faces[mine_faces]])
            middle, frame = _middle(all_vertices, closed, fill, edges.normal.mean(axis=0))
            found[number] = Carried(mine_faces, closed, fill, outer, height, middle, frame)
    carried = [found[number] for number in sorted(found)]
    all_vertices = np.concatenate([vertices, np.array(extra)]) if extra else vertices
    return all_vertices, np.concatenate([faces[on_ground], *(item.fill for item in carried)]), carried


def _simple_heads(
    vertices: FloatArray, faces: IntArray, detail: IntArray, by_group: dict[int, list[IntArray]], rim: _Rim
) -> list[Heads]:
    """The details that can be taken off together, by the number of corners at the foot."""
    by_count: dict[int, list[int]] = {}
    for number, loops in by_group.items():
        if len(loops) == 1:
            by_count.setdefault(len(loops[0]), []).append(number)
    result = []
    for numbers in by_count.values():
        feet = np.array([by_group[number][0] for number in numbers], dtype=np.int64)
        whole = rim.along(feet)[0].all(axis=1)
        result.append(simple_heads(vertices, faces, detail, np.array(numbers)[whole], feet[whole])[0])
    return result


@dataclass(frozen=True, eq=False)
class _GroupEdges:
    """The ground's edge round one detail."""

    on_ground: list[BoolArray]  # per loop: which steps run along the ground
    start: FloatArray  # (k, 3) the steps along the ground
    end: FloatArray
    normal: FloatArray  # (k, 3) of the ground's face there

    def size(self) -> float:
        """Largest extent, mm."""
        return float(np.ptp(self.start, axis=0).max())

    def height(self, corners: FloatArray) -> float:
        """The highest point of faces over the ground, or (negative) the deepest below it, mm."""
        points = corners.reshape(-1, 3)
        nearest, away = _nearest_step(points, self)
        height = np.einsum("ij,ij->i", away, self.normal[nearest]).reshape(-1, 3)
        area = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        facing = np.maximum(np.einsum("ij,ij->i", area, self.normal[nearest[::3]]), 0.0)
        # what looks out tells which way it goes (a rivet over the edge has a back as well);
        # a bored hole has walls alone
        size = np.linalg.norm(area, axis=1)
        weight = facing if facing.sum() > 0.01 * size.sum() else size
        return float(height.max() if weight @ height.mean(axis=1) >= 0 else height.min())


class _Rim:
    """Looks up the ground's face beside each step of a detail's edge."""

    def __init__(
        self, vertices: FloatArray, faces: IntArray, on_ground: BoolArray, normals: FloatArray
    ) -> None:
        ground = np.flatnonzero(on_ground)
        start, end = faces[ground].ravel(), faces[ground][:, [1, 2, 0]].ravel()
        self.size = np.int64(len(vertices))
        key = start * self.size + end
        self.order = np.argsort(key)
        self.key = key[self.order]
        self.face = np.repeat(ground, 3)[self.order]
        self.vertices, self.normals = vertices, normals

    def along(self, loops: IntArray) -> tuple[BoolArray, IntArray]:
        """Which steps of one loop, or of a table of loops, run along the ground, and its face there."""
        wanted = np.roll(loops, -1, axis=-1) * self.size + loops
        if not len(self.key):
            return np.zeros(loops.shape, dtype=bool), np.zeros(loops.shape, dtype=np.int64)
        place = np.minimum(np.searchsorted(self.key, wanted), len(self.key) - 1)
        return self.key[place] == wanted, self.face[place]

    def of(self, loops: list[IntArray]) -> _GroupEdges | None:
        """The ground's edge along some loops; None where no step runs along the ground."""
        flags, starts, ends, normals = [], [], [], []
        for loop in loops:
            found, face = self.along(loop)
            flags.append(found)
            starts.append(self.vertices[loop[found]])
            ends.append(self.vertices[np.roll(loop, -1)[found]])
            normals.append(self.normals[face[found]])
        start = np.concatenate(starts)
        if not len(start):
            return None
        return _GroupEdges(flags, start, np.concatenate(ends), np.concatenate(normals))


class _Mouths:
    """The small closed edges that details leave in the ground."""

    def __init__(self, vertices: FloatArray, loops: list[IntArray]) -> None:
        self.vertices, self.loops = vertices, loops
        self.loop = np.full(len(vertices), -1, dtype=np.int64)
        self.sides = np.full((len(vertices), 2), -1, dtype=np.int64)  # the neighbours along the edge
        for number, loop in enumerate(loops):
            self.loop[loop] = number
            self.sides[loop, 0], self.sides[loop, 1] = np.roll(loop, 1), np.roll(loop, -1)

    def corner(self, start: int, before: int, end: int, after: int, reach: float) -> FloatArray | None:
        """Where the ground's edge on both sides of a gap would meet if it went on straight.

        `before` and `after` are the neighbours of `start` and `end` inside the gap. None
        where the edge goes straight across, or meets nowhere near.
        """
        ways = []
        for vertex, inner in ((start, before), (end, after)):
            outer = [int(side) for side in self.sides[vertex] if side >= 0 and side != inner]
            if len(outer) != 1:
                return None
            way = self.vertices[vertex] - self.vertices[outer[0]]
            ways.append(way / max(float(np.linalg.norm(way)), 1e-12))
        one, other = ways
        cosine = float(one @ other)
        if abs(cosine) > 0.94:
            return None
        gap = self.vertices[end] - self.vertices[start]
        along = (gap @ one - cosine * (gap @ other)) / (1 - cosine * cosine)
        back = (cosine * (gap @ one) - gap @ other) / (1 - cosine * cosine)
        first, second = self.vertices[start] + along * one, self.vertices[end] + back * other
        near = 0 < along <= reach and 0 < back <= reach and np.linalg.norm(first - second) < 2 * STRAIGHT
        return 0.5 * (first + second) if near else None

    def around(self, loop: IntArray, grounded: BoolArray, bridge: float) -> IntArray | None:
        """The whole mouth that a detail's edge runs along, if that is small.

        A rivet of which a face or two are missing from the skin does not touch the
        ground all round, but the hole that it leaves is closed all the same.
        """
        if not grounded.any():
            return None
        numbers = np.unique(self.loop[np.concatenate([loop[grounded], np.roll(loop, -1)[grounded]])])
        if len(numbers) != 1 or numbers[0] < 0:
            return None
        mouth = self.loops[int(numbers[0])][::-1]
        small = float(np.ptp(self.vertices[mouth], axis=0).max()) <= 1.5 * bridge
        return mouth if small else None


def _owners(faces: IntArray, detail: IntArray, loops: list[IntArray]) -> list[int]:
    """The detail that each loop bounds."""
    standing = np.flatnonzero(detail >= 0)
    size = np.int64(faces.max() + 1)
    key = (faces[standing] * size + np.roll(faces[standing], -1, axis=1)).ravel()
    order = np.argsort(key)
    wanted = np.array([loop[0] * size + loop[1] for loop in loops], dtype=np.int64)
    face = np.repeat(standing, 3)[order[np.searchsorted(key[order], wanted)]]
    return detail[face].tolist()


def facet_stubs(
    vertices: FloatArray, faces: IntArray, loops: list[IntArray], on_ground: BoolArray | None = None
) -> tuple[IntArray, FloatArray]:
    """Facet edges of the ground that end at a gap, with their directions into it.

    Parameters
    ----------
    vertices, faces : arrays
        The mesh, mm.
    loops : list of (k,) int64
        The gaps' edges.
    on_ground : (m,) bool, optional
        Faces of the ground; all of them by default.

    Returns
    -------
    at : (s,) int64
        Vertices on the gaps' edges.
    way : (s, 3) float64
        Unit directions.
    """
    table = edge_table(faces)
    angles = edge_angles(steady_normals(vertices, faces, table), table)
    inner = (table.pair[:, 0] >= 0) & np.isfinite(angles) & (angles > FACET_EDGE)
    if on_ground is not None:
        inner[inner] = on_ground[table.pair[inner]].all(axis=1)
    ends = table.ends[inner]
    on_loop = np.zeros(len(vertices), dtype=bool)
    for loop in loops:
        on_loop[loop] = True
    at = np.concatenate([ends[:, 0], ends[:, 1]])
    far = np.concatenate([ends[:, 1], ends[:, 0]])
    keep = on_loop[at]
    at, far = at[keep], far[keep]
    way = vertices[at] - vertices[far]
    return at, way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)


def _lowered(
    vertices: FloatArray,
    loop: IntArray,
    grounded: BoolArray,
    edges: _GroupEdges,
    mouths: _Mouths,
    number: int,
    bridge: float,
) -> tuple[IntArray, list[FloatArray]]:
    """A detail's edge with the runs that leave the ground brought down onto it.

    Returns the loop in vertex numbers and the positions of new vertices, numbered
    from `number`.
    """
    count = len(loop)
    if grounded.any():
        begin = int(np.flatnonzero(grounded & ~np.roll(grounded, -1))[0]) + 1
        loop, grounded = np.roll(loop, -begin), np.roll(grounded, -begin)
    fresh: list[FloatArray] = []
    result: list[int] = []
    step = 0
    while step < count:
        if grounded[step]:
            result.append(int(loop[step]))
            step += 1
            continue
        stop = step
        while stop < count and not grounded[stop]:
            stop += 1
        closed = stop - step == count
        inner = loop[step + (0 if closed else 1) : stop]
        low, reach = _onto_ground(vertices[inner], edges)
        start, end = vertices[loop[step]], vertices[loop[stop % count]]
        if not closed:
            result.append(int(loop[step]))
            # A small thing at the edge is closed straight across; only edging that runs
            # along the edge has an outline of its own to follow.
            if np.linalg.norm(end - start) <= 1.1 * bridge or (reach > 1.1 * bridge).any():
                ends = (
                    int(loop[step]),
                    int(loop[step - 1]),
                    int(loop[stop % count]),
                    int(loop[(stop + 1) % count]),
                )
                corner = mouths.corner(*ends, 1.5 * bridge)
                low = low[:0] if corner is None else corner[None]
            line = np.concatenate([[start], low, [end]])
            kept = _bends(line)[1:-1]
            points = line[kept]
        else:
            kept = _bends(np.concatenate([low, low[:1]]))[:-1]
            points = low[kept]
        for point in points:
            result.append(number + len(fresh))
            fresh.append(point)
        step = stop
    return np.array(result, dtype=np.int64), fresh


def _onto_ground(points: FloatArray, edges: _GroupEdges) -> tuple[FloatArray, FloatArray]:
    """Points moved along the normal of the nearest ground, and their distance from it sideways."""
    if not len(points):
        return points, np.zeros(0)
    nearest, away = _nearest_step(points, edges)
    normal = edges.normal[nearest]
    height = np.einsum("ij,ij->i", away, normal)
    low = points - height[:, None] * normal
    side = np.linalg.norm(away - height[:, None] * normal, axis=1)
    return low, side


def _nearest_step(points: FloatArray, edges: _GroupEdges) -> tuple[IntArray, FloatArray]:
    """The nearest step of the ground's edge to each point, and the way from it to the point."""
    along = edges.end - edges.start
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-18)
    nearest = np.zeros(len(points), dtype=np.int64)
    away = np.zeros((len(points), 3))
    rows = max(1, 2_000_000 // max(1, len(along)))  # keeps the table of distances in bounds
    for begin in range(0, len(points), rows):
        offset = points[begin : begin + rows, None] - edges.start[None]
        share = np.clip(np.einsum("pij,ij->pi", offset, along) / square, 0.0, 1.0)
        offset = offset - share[..., None] * along
        best = np.einsum("pij,pij->pi", offset, offset).argmin(axis=1)
        nearest[begin : begin + rows] = best
        away[begin : begin + rows] = offset[np.arange(len(best)), best]
    return nearest, away


def _middle(
    vertices: FloatArray, loops: list[IntArray], fill: IntArray, up: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The middle of a footprint and the directions along it, across it and up from it."""
    points = vertices[np.concatenate(loops)]
    middle = points.mean(axis=0)
    if len(fill):
        corners = vertices[fill]
        weight = np.linalg.norm(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
        )
        if weight.sum() > 0:
            middle = np.average(corners.mean(axis=1), axis=0, weights=weight)
    offset = points - middle
    along = np.linalg.eigh(offset.T @ offset)[1][:, 2]
    up = up / max(float(np.linalg.norm(up)), 1e-9)
    along = along - up * (up @ along)
    length = float(np.linalg.norm(along))
    if length < 1e-6:
        return middle, np.eye(3)
    along /= length
    return middle, np.array([along, np.cross(up, along), up])


def _bends(line: FloatArray) -> IntArray:
    """Points that an outline cannot do without (D. H. Douglas and T. K. Peucker, 1973)."""
    keep = {0, len(line) - 1}
    stack = [(0, len(line) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        along = line[last] - line[first]
        offset = line[first + 1 : last] - line[first]
        square = float(along @ along)
        share = np.clip(offset @ along / square, 0.0, 1.0) if square > 1e-18 else np.zeros(len(offset))
        away = np.linalg.norm(offset - share[:, None] * along, axis=1)
        worst = int(away.argmax())
        if away[worst] > STRAIGHT:
            middle = first + 1 + worst
            keep.add(middle)
            stack += [(first, middle), (middle, last)]
    return np.array(sorted(keep), dtype=np.int64)
