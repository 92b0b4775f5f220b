"""The edge round a detail's foot, brought down onto the ground where it leaves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray

# An outline under a detail is kept straight within this, mm.
STRAIGHT = 0.01


@dataclass(frozen=True, eq=False)
class FootEdges:
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


class Rim:
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

    def of(self, loops: list[IntArray]) -> FootEdges | None:
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
        return FootEdges(flags, start, np.concatenate(ends), np.concatenate(normals))


class Mouths:
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


def lowered(
    vertices: FloatArray,
    loop: IntArray,
    grounded: BoolArray,
    edges: FootEdges,
    mouths: Mouths,
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


def _onto_ground(points: FloatArray, edges: FootEdges) -> tuple[FloatArray, FloatArray]:
    """Points moved along the normal of the nearest ground, and their distance from it sideways."""
    if not len(points):
        return points, np.zeros(0)
    nearest, away = _nearest_step(points, edges)
    normal = edges.normal[nearest]
    height = np.einsum("ij,ij->i", away, normal)
    low = points - height[:, None] * normal
    side = np.linalg.norm(away - height[:, None] * normal, axis=1)
    return low, side


def _nearest_step(points: FloatArray, edges: FootEdges) -> tuple[IntArray, FloatArray]:
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
