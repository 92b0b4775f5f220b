"""Lines laid along a joint, where film over the step traps air, and where the joint should go instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from unwrap.livery.carry import Carry
from unwrap.livery.meetings import Meeting, find_meetings
from unwrap.livery.paint import Paint

# A line that keeps to a joint for this many of its widths runs along it.
ALONG = 6.0
# A line this near to a joint (mm) lies on it.
NEAR = 0.01
# How far clear of a line a joint should be, mm (common practice, no source).
CLEAR = 1.0
# How far inside a piece (mm) is looked for the way into it.
LOOK = 0.3
# Sides that a joint may go to, those that show least first.
SIDES = {
    "bottom": (0.0, 0.0, -1.0),
    "rear": (-1.0, 0.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "left": (0.0, 1.0, 0.0),
    "front": (1.0, 0.0, 0.0),
    "top": (0.0, 0.0, 1.0),
}
# Where more than this share of a joint would lie under lines or letters it is no better.
FREE = 0.3


def lines_along_joints(carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]) -> tuple[str, ...]:
    """A sentence for each line laid along a joint, with a better place for the joint.

    Parameters
    ----------
    carries : sequence of Carry
        All pieces of a body.
    paints : mapping of str to sequence of Paint
        What is laid on each, by region.
    """
    by_name = {carry.name: carry for carry in carries}
    out = []
    for meeting in find_meetings(carries):
        if meeting.kind == "cut":
            continue
        for side, name in enumerate(meeting.between):
            for paint in paints.get(name, ()):
                if paint.kind not in ("line", "band") or paint.asked_width is None:
                    continue
                length = _longest_touch(meeting, side, paint.area)
                if length > ALONG * paint.asked_width:
                    one, two = meeting.between
                    which = f'of "{one}"' if one == two else f'between "{one}" and "{two}"'
                    better = (
                        _other_side(meeting, by_name[one], paints.get(one, ()))
                        if one == two
                        else _other_limit(meeting, by_name[name], side)
                    )
                    out.append(
                        f"{paint.label} lies along the joint {which} for {length:.1f} mm, where film over "
                        f"the step traps air; {better}."
                    )
    return tuple(dict.fromkeys(out))


def _longest_touch(meeting: Meeting, side: int, area: shapely.Geometry) -> float:
    """Length on the body of the longest run of a joint that an area lies along."""
    beside = shapely.intersection(shapely.LineString(meeting.edge(side)), shapely.buffer(area, NEAR))
    runs = shapely.get_parts(shapely.line_merge(beside))
    ends = [
        [meeting.station_of(side, np.array(shapely.get_point(run, k).coords[0])) for k in (0, -1)]
        for run in runs
        if run.geom_type == "LineString" and run.length > 0
    ]
    return max((abs(b - a) for a, b in ends), default=0.0)


def _other_side(meeting: Meeting, carry: Carry, paints: Sequence[Paint]) -> str:
    """The side of a barrel that its joint would lie better on."""
    printed = shapely.union_all([paint.area for paint in paints if paint.kind != "fill"])
    places = meeting.places
    middle = 0.5 * (carry.patch.vertices.min(axis=0) + carry.patch.vertices.max(axis=0))
    way = places[-1] - places[0]
    way = way / max(float(np.linalg.norm(way)), 1e-300)
    offset = places - middle
    lengthwise = (offset @ way)[:, None] * way
    radius = np.linalg.norm(offset - lengthwise, axis=1)
    now = (offset - lengthwise).mean(axis=0)
    now = now / max(float(np.linalg.norm(now)), 1e-300)
    for name, direction in SIDES.items():
        toward = np.array(direction)
        if abs(toward @ way) > 0.5 or toward @ now > 0.7:
            continue
        face, weights, _ = carry.nearest(middle + lengthwise + radius[:, None] * toward)
        flat = carry.to_flat(face, weights)
        if shapely.contains_xy(printed, *flat.T).mean() < FREE:
            return f'with joint = "{name}" it would lie clear'
    return "move the line off it"


def _other_limit(meeting: Meeting, carry: Carry, side: int) -> str:
    """How far, and which way, the joint of two regions should be moved: out of the line's region."""
    station = 0.5 * meeting.length
    inside = meeting.flat_at(side, station) + LOOK * meeting.inward_at(side, station)
    away = meeting.place_at(station) - carry.to_surface(inside[None])[0]
    axis = int(np.argmax(np.abs(away)))
    sign = float(np.sign(away[axis]))
    towards = ("front", "left", "top")[axis] if sign > 0 else ("rear", "right", "bottom")[axis]
    place = meeting.place_at(station)[axis] + sign * CLEAR
    return f"move the joint {CLEAR:g} mm towards the {towards}, to {'xyz'[axis]} = {place:.2f}"
