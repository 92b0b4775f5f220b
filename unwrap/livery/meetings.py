"""Where pieces meet: stretches of edge that lie on one another on the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.carry import Carry

# Lines are looked at in two steps of this length (mm) for the direction that they leave a joint in.
LOOK = 0.2
# Corners closer than this on the body (mm) are the same place of a joint.
SAME_PLACE = 1e-4


@dataclass(frozen=True, eq=False)
class Meeting:
    """One stretch of edge where two pieces, or two edges of one piece, meet on the body.

    Parameters
    ----------
    between : tuple of str
        The regions on either side.
    kind : str
        "joint" or "cut".
    places : (n, 3) float64
        Along the joint on the body, mm.
    first, second : (n, 2) float64
        The same places on the two edges of the flat pieces.
    points : tuple of (n,) int64
        The numbers of those places in the two flat pieces.
    """

    between: tuple[str, str]
    kind: str
    places: FloatArray
    first: FloatArray
    second: FloatArray
    points: tuple[IntArray, IntArray]

    def edges(self, side: int) -> IntArray:
        """(n - 1, 2) the joint's edges in one of the flat pieces, its ground on their left."""
        run = self.points[side]
        return np.column_stack([run[1:], run[:-1]] if side else [run[:-1], run[1:]])

    @cached_property
    def stations(self) -> FloatArray:
        """(n,) how far along the joint each place is, mm."""
        return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(self.places, axis=0), axis=1))])

    @property
    def length(self) -> float:
        """Length on the body, mm."""
        return float(self.stations[-1])

    def edge(self, side: int) -> FloatArray:
        """The joint on the first (0) or the second (1) flat piece."""
        return self.second if side else self.first

    def place_at(self, station: float) -> FloatArray:
        """(3,) a place along the joint on the body."""
        return along(self.stations, self.places, station)

    def flat_at(self, side: int, station: float) -> FloatArray:
        """(2,) the same place on one of the flat edges."""
        return along(self.stations, self.edge(side), station)

    def way_at(self, station: float) -> FloatArray:
        """(3,) unit direction of the joint on the body, taken over a little way: its edges are short."""
        way = self.place_at(station + LOOK) - self.place_at(station - LOOK)
        return way / max(float(np.linalg.norm(way)), 1e-300)

    def inward_at(self, side: int, station: float) -> FloatArray:
        """(2,) unit direction into the first (0) or the second (1) flat piece, square to its edge."""
        way = self.flat_at(side, station + LOOK) - self.flat_at(side, station - LOOK)
        # The ground is on the left of the first edge; the second runs the other way.
        left = np.array([-way[1], way[0]]) / max(float(np.linalg.norm(way)), 1e-300)
        return -left if side else left

    def station_of(self, side: int, point: FloatArray) -> float:
        """Where along the joint a point of one of the flat pieces is nearest to, mm on the body."""
        edge = self.edge(side)
        flat = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(edge, axis=0), axis=1))])
        at = shapely.LineString(edge).project(shapely.Point(point))
        return float(np.interp(at, flat, self.stations))


def heading(meeting: Meeting, carry: Carry, side: int, looks: FloatArray) -> float:
    """Angle on the body, from square to the joint, of a line that leaves it on one side.

    Parameters
    ----------
    meeting : Meeting
    carry : Carry
        The piece on that side.
    side : int
        0 or 1.
    looks : (3, 2) float64
        Points of the line on the flat piece at even steps from the joint on. The direction
        is that of a parabola through them, so that it does not hang on the one face at the joint.

    Returns
    -------
    float
        Radians; above 0 where the line leans the way that the joint runs.
    """
    way = np.array([-3.0, 4.0, -1.0]) @ carry.to_surface(looks)
    joint = meeting.way_at(meeting.station_of(side, looks[0]))
    sideways = float(way @ joint)
    return float(np.arctan2(sideways, np.linalg.norm(way - sideways * joint)))


def along(stations: FloatArray, points: FloatArray, station: float) -> FloatArray:
    """The point of a polyline at a station, ends held."""
    return np.array([np.interp(station, stations, column) for column in points.T])


def find_meetings(carries: Sequence[Carry]) -> tuple[Meeting, ...]:
    """Stretches of edge that lie on one another on the body: joints, cuts, regions side by side."""
    owner, edges = [], []
    for number, carry in enumerate(carries):
        free = _free_edges(carry.flat.faces)
        owner.append(np.full(len(free), number))
        edges.append(free)
    keys = [np.round(c.flat.surface / SAME_PLACE).astype(np.int64) for c in carries]
    half: dict[tuple[bytes, bytes], list[tuple[int, int, int]]] = {}
    for number, free in enumerate(edges):
        for a, b in free.tolist():
            half.setdefault((keys[number][a].tobytes(), keys[number][b].tobytes()), []).append((number, a, b))
    pairs: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    for (start, end), here in half.items():
        for mine, other in zip(here, half.get((end, start), ()), strict=False):
            if mine != other and mine not in pairs:
                pairs[mine] = other
                pairs[other] = mine
    return tuple(_chains(carries, pairs))


def _free_edges(faces: IntArray) -> IntArray:
    half = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    n = int(faces.max()) + 1
    return half[~np.isin(half[:, 0] * n + half[:, 1], half[:, 1] * n + half[:, 0], kind="sort")]


def _chains(
    carries: Sequence[Carry], pairs: Mapping[tuple[int, int, int], tuple[int, int, int]]
) -> list[Meeting]:
    """Runs of paired edges, end to end on both sides."""
    left = set(pairs)
    ahead = {(number, a): (number, a, b) for number, a, b in pairs}
    behind = {(number, b): (number, a, b) for number, a, b in pairs}

    def after(edge: tuple[int, int, int]) -> tuple[int, int, int] | None:
        following = ahead.get((edge[0], edge[2]))
        if following is None or following not in left:
            return None
        mine, theirs = pairs[edge], pairs[following]
        return following if theirs[0] == mine[0] and theirs[2] == mine[1] else None

    def before(edge: tuple[int, int, int]) -> tuple[int, int, int] | None:
        previous = behind.get((edge[0], edge[1]))
        if previous is None or previous not in left:
            return None
        mine, theirs = pairs[edge], pairs[previous]
        return previous if theirs[0] == mine[0] and theirs[1] == mine[2] else None

    out = []
    while left:
        edge = next(iter(left))
        first = edge
        while (previous := before(edge)) is not None and previous != first:
            edge = previous
        run = []
        while edge is not None and edge in left:
            run.append(edge)
            left.discard(edge)
            left.discard(pairs[edge])
            edge = after(edge)  # type: ignore[assignment]
        mine, other = run[0][0], pairs[run[0]][0]
        one = [run[0][1], *[e[2] for e in run]]
        two = [pairs[run[0]][2], *[pairs[e][1] for e in run]]
        a, b = carries[mine], carries[other]
        kind = "joint" if mine != other or _is_joint(a, one) else "cut"
        out.append(
            Meeting(
                (a.name, b.name),
                kind,
                a.flat.surface[one],
                a.flat.points[one],
                b.flat.points[two],
                (np.array(one), np.array(two)),
            )
        )
    return out


def _is_joint(carry: Carry, points: Sequence[int]) -> bool:
    vertices = set(carry.flat.vertex[list(points)].tolist())
    return any(
        vertices <= set(joint.first.tolist()) or vertices <= set(joint.second.tolist())
        for joint in carry.patch.joints
    )
