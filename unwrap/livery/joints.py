"""Do lines meet where pieces meet: mismatch across joints and cuts, measured on the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.fit import printed_area
from unwrap.livery.meetings import LOOK, Meeting, find_meetings, heading
from unwrap.livery.paint import Paint

# Lines are looked at from this far inside the edge, mm.
JUST_INSIDE = 0.002
# An edge of a line that keeps this near to the joint (mm) runs along it.
ALONG_EDGE = 0.03
# Ends of a line further apart than this (mm) belong to different lines.
FAR = 1.0
# How far beside a line's edge its paint is looked for, mm.
BESIDE = 0.01

# Lips of a cut that gape less than this (mm) print as one.
ONE_FILM = 0.005
# Samples per span of a curve: direction asks for more than place does.
PER_SPAN = 128

KINDS = ("line", "band", "artwork", "lettering")


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
        Kink in its edges, the larger, degrees on the body.
    """

    between: tuple[str, str]
    kind: str
    label: str
    at: tuple[float, float, float]
    place_mm: float
    direction_deg: float


@dataclass(frozen=True, eq=False)
class Crossing:
    """A line where it comes to a joint on one side.

    Parameters
    ----------
    edges : tuple of bool
        Which of its edges come to it, by whether the paint lies beyond: both, or one where it
        passes the tip of a cut.
    ends : (1 or 2,) float64
        Where they meet the joint, mm along it on the body.
    headings : (1 or 2,) float64
        Their angles on the body from square to the joint, radians, going inwards.
    """

    edges: tuple[bool, ...]
    ends: FloatArray
    headings: FloatArray


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
    by_name = {carry.name: carry for carry in carries}
    areas = {
        # A stroke's butt end is square to it and the edge may not be: what is cut off counts.
        name: [(paint, printed_area(paint, PER_SPAN, "square")) for paint in group if paint.kind in KINDS]
        for name, group in paints.items()
    }
    out = []
    for meeting in find_meetings(carries):
        one, two = meeting.between
        for label in dict.fromkeys(paint.label for paint, _ in areas.get(one, ())):
            mine, theirs = (
                [area for paint, area in areas.get(name, ()) if paint.label == label] for name in (one, two)
            )
            if theirs:
                sides = [
                    (by_name[one], shapely.union_all(mine), 0),
                    (by_name[two], shapely.union_all(theirs), 1),
                ]
                out += _crossings(meeting, label, sides)
    return tuple(out)


def _crossings(
    meeting: Meeting, label: str, sides: Sequence[tuple[Carry, shapely.Geometry, int]]
) -> list[Mismatch]:
    mine, theirs = (_lines_at(meeting, *side) for side in sides)
    out = []
    for here in mine:
        alike = [line for line in theirs if line.edges == here.edges]
        there = min(alike, key=lambda line: float(np.abs(line.ends - here.ends).max()), default=None)
        if there is None or np.abs(there.ends - here.ends).max() > FAR:
            continue
        place = float(np.abs(there.ends - here.ends).max())
        kink = float(np.degrees(np.abs(here.headings + there.headings).max()))
        x, y, z = meeting.place_at(float(here.ends.mean())).tolist()
        out.append(Mismatch(meeting.between, meeting.kind, label, (x, y, z), place, kink))
    return out


def _lines_at(meeting: Meeting, carry: Carry, area: shapely.Geometry, side: int) -> list[Crossing]:
    """Where lines come to a joint: an edge with the paint beyond it, then one with the paint before it."""
    inner = shapely.buffer(carry.outline, -JUST_INSIDE, join_style="mitre")
    rims = shapely.get_parts(shapely.line_merge(shapely.intersection(shapely.boundary(area), inner)))
    rims = rims[shapely.get_type_id(rims) == 1]
    edge = shapely.LineString(meeting.edge(side))
    shapely.prepare(area)
    tips = []
    for rim in rims:
        middle = shapely.line_interpolate_point(rim, 0.5, normalized=True)
        if rim.length < 2 * LOOK or shapely.distance(edge, middle) < ALONG_EDGE:
            continue
        for line in (rim, shapely.reverse(rim)):
            if shapely.distance(edge, shapely.get_point(line, 0)) < 1.5 * JUST_INSIDE:
                tip = _tip(meeting, carry, area, side, line)
                tips += [tip] if tip is not None else []
    # Where the lips of a cut are still one film nothing can fail to meet.
    tips = [tip for tip in tips if _apart(meeting, tip[0]) > ONE_FILM]
    return _paired(sorted(tips, key=lambda tip: tip[0]))


def _apart(meeting: Meeting, station: float) -> float:
    """How far the two flat edges gape there, mm; without end where they are no lips of one cut."""
    if meeting.kind != "cut":
        return np.inf
    return float(np.linalg.norm(meeting.flat_at(0, station) - meeting.flat_at(1, station)))


def _paired(tips: Sequence[tuple[float, float, bool]]) -> list[Crossing]:
    """Edges of lines along a joint as lines."""
    out, k = [], 0
    while k < len(tips):
        both = tips[k][2] and k + 1 < len(tips) and not tips[k + 1][2]
        stations, headings, edges = zip(*tips[k : k + 2 if both else k + 1], strict=True)
        out.append(Crossing(edges, np.array(stations), np.array(headings)))
        k += len(edges)
    return out


def _tip(
    meeting: Meeting, carry: Carry, area: shapely.Geometry, side: int, line: shapely.LineString
) -> tuple[float, float, bool] | None:
    """Station and heading of an edge of a line at the joint, and whether its paint lies beyond.

    None where it leaves to the other side: at the tip of a cut both sides are at hand.
    """
    looks = shapely.get_coordinates(shapely.line_interpolate_point(line, [0.0, LOOK, 2 * LOOK]))
    slope = np.array([-3.0, 4.0, -1.0]) / (2 * LOOK)
    near = meeting.station_of(side, looks[0])
    inward = meeting.inward_at(side, near)
    out = slope @ looks
    if out @ inward <= 0:
        return None
    station = meeting.station_of(side, looks[0] - out * (JUST_INSIDE / max(float(out @ inward), 0.1)))
    ahead = np.array([inward[1], -inward[0]]) * (-1.0 if side else 1.0)
    return (
        station,
        heading(meeting, carry, side, looks),
        bool(shapely.contains_xy(area, *(looks[0] + BESIDE * ahead))),
    )
