"""Do lines meet where pieces meet: mismatch across joints and cuts, measured on the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.livery.carry import Carry
from unwrap.livery.fit import printed_area
from unwrap.livery.paint import Paint

# Corners closer than this on the body (mm) are the same place of a joint.
SAME_PLACE = 1e-4
# Lines are looked at this far inside the edge, mm; their direction there is that of a
# parabola through three looks, this far apart.
JUST_INSIDE = 0.01
STEP_IN = 0.08
# Ends of a line further apart than this (mm) belong to different lines.
FAR = 1.0
# A line that keeps to a joint for this many of its widths runs along it.
ALONG = 6.0
# A narrower touch than this (mm) is a rounding crumb.
TOUCH = 0.02

KINDS = ("line", "band", "artwork", "lettering")


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
    """

    between: tuple[str, str]
    kind: str
    places: FloatArray
    first: FloatArray
    second: FloatArray


@dataclass(frozen=True)
class Mismatch:
    """How well one line crosses one joint.

    Parameters
    ----------
    between : tuple of str
        The regions on either side.
    kind : str
        "joint" or "cut".
    label : str
        The line.
    at : tuple of float
        Where on the body, mm.
    place_mm : float
        Offset between its two edges on either side, the larger, mm on the body.
    direction_deg : float
        Kink in its edges, the larger, degrees.
    """

    between: tuple[str, str]
    kind: str
    label: str
    at: tuple[float, float, float]
    place_mm: float
    direction_deg: float


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
    return half[~np.isin(half[:, 0] * n + half[:, 1], half[:, 1] * n + half[:, 0])]


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
            Meeting((a.name, b.name), kind, a.flat.surface[one], a.flat.points[one], b.flat.points[two])
        )
    return out


def _is_joint(carry: Carry, points: Sequence[int]) -> bool:
    vertices = set(carry.flat.vertex[list(points)].tolist())
    return any(
        vertices <= set(joint.first.tolist()) or vertices <= set(joint.second.tolist())
        for joint in carry.patch.joints
    )


def measure_joints(carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]) -> tuple[Mismatch, ...]:
    """How well lines, bands, lettering and artwork run on across every joint and cut.

    Parameters
    ----------
    carries : sequence of Carry
        All pieces of a body.
    paints : mapping of str to sequence of Paint
        What is printed on each, by region; as fitted, that is as printed.

    Returns
    -------
    tuple of Mismatch
        One per line and crossing.
    """
    areas = {
        name: [(paint, printed_area(paint)) for paint in group if paint.kind in KINDS]
        for name, group in paints.items()
    }
    out = []
    for meeting in find_meetings(carries):
        one, two = meeting.between
        for paint, area in areas.get(one, ()):
            same = [other for p, other in areas.get(two, ()) if p.label == paint.label]
            if same:
                out += _crossings(meeting, paint, area, shapely.union_all(same))
    return tuple(out)


def _crossings(
    meeting: Meeting, paint: Paint, area: shapely.Geometry, other: shapely.Geometry
) -> list[Mismatch]:
    mine = [_touches(meeting, area, True, JUST_INSIDE + k * STEP_IN) for k in range(3)]
    theirs = [_touches(meeting, other, False, JUST_INSIDE + k * STEP_IN) for k in range(3)]
    out = []
    for here in mine[0]:
        there = _nearest(theirs[0], here, FAR)
        if there is None:
            continue
        place = max(abs(there[0] - here[0]), abs(there[1] - here[1]))
        ahead, back = _headings(mine, here), _headings(theirs, there)
        kink = max((abs(a + b) for a, b in zip(ahead, back, strict=False)), default=0.0)
        at = _place_at(meeting, 0.5 * (here[0] + here[1]))
        out.append(Mismatch(meeting.between, meeting.kind, paint.label, at, place, float(np.degrees(kink))))
    return out


def _headings(looks: Sequence[Sequence[tuple[float, float]]], line: tuple[float, float]) -> tuple[float, ...]:
    """Angles of a line's two edges from square to the joint, at the joint, radians."""
    track = [line]
    for touches in looks[1:]:
        further = _nearest(touches, track[-1], 4 * STEP_IN)
        if further is None:
            return ()
        track.append(further)
    first, second, third = np.array(track)
    return tuple(np.arctan((-3 * first + 4 * second - third) / (2 * STEP_IN)).tolist())


def _nearest(
    touches: Sequence[tuple[float, float]], line: tuple[float, float], far: float
) -> tuple[float, float] | None:
    """The touch that is the same line, no end of it further away than `far`."""

    def off(touch: tuple[float, float]) -> float:
        return max(abs(touch[0] - line[0]), abs(touch[1] - line[1]))

    best = min(touches, key=off, default=None)
    return best if best is not None and off(best) <= far else None


def _touches(
    meeting: Meeting, area: shapely.Geometry, first: bool, depth: float
) -> list[tuple[float, float]]:
    """Stretches of the joint (mm along it on the body) under an area, looked at `depth` inside the edge."""
    flat = meeting.first if first else meeting.second
    along = _stations(meeting.places)
    out: list[tuple[float, float]] = []
    for i, (a, b) in enumerate(pairwise(flat)):
        way = b - a
        size = float(np.linalg.norm(way))
        if size < 1e-9:
            continue
        # The ground is on the left of the first edge; the second runs the other way.
        inward = np.array([-way[1], way[0]]) / size * (depth if first else -depth)
        cut = shapely.intersection(area, shapely.LineString([a + inward, b + inward]))
        for part in shapely.get_parts(cut):
            if part.length > 0:
                ends = (np.asarray(part.coords) - a - inward) @ way / size**2
                low, high = along[i] + np.clip([ends.min(), ends.max()], 0, 1) * (along[i + 1] - along[i])
                if out and low - out[-1][1] < 2 * depth + 1e-6:
                    out[-1] = (out[-1][0], max(float(high), out[-1][1]))
                else:
                    out.append((float(low), float(high)))
    total = float(along[-1])
    inside = [(a, b) for a, b in out if b - a > TOUCH]
    # At the ends of a joint the look inside the edge falls off the piece on one side.
    return [(a, b) for a, b in inside if a > 2 * JUST_INSIDE and b < total - 2 * JUST_INSIDE]


def _stations(places: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(places, axis=0), axis=1))])


def _place_at(meeting: Meeting, station: float) -> tuple[float, float, float]:
    along = _stations(meeting.places)
    x, y, z = (float(np.interp(station, along, meeting.places[:, k])) for k in range(3))
    return x, y, z


def lines_along_joints(carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]) -> tuple[str, ...]:
    """A sentence for each line laid along a joint: film that straddles a step traps air."""
    out = []
    for meeting in find_meetings(carries):
        if meeting.kind == "cut":
            continue
        for name, first in zip(meeting.between, (True, False), strict=True):
            for paint in paints.get(name, ()):
                if paint.kind not in ("line", "band") or paint.asked_width is None:
                    continue
                touches = _touches(meeting, paint.area, first, JUST_INSIDE)
                length = max((high - low for low, high in touches), default=0.0)
                if length > ALONG * paint.asked_width:
                    one, two = meeting.between
                    pieces = f'of "{one}"' if one == two else f'between "{one}" and "{two}"'
                    out.append(
                        f"{paint.label} lies along the joint {pieces} for {length:.1f} mm, where film over "
                        f"the step traps air; move the joint or the line by {2 * paint.asked_width:.2f} mm."
                    )
    return tuple(dict.fromkeys(out))
