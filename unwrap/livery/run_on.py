"""Lines that run on where pieces meet: the two ends of each are given one place and one direction.

Each piece's curves are fitted by themselves, so the ends of a line on either side of a joint
or relief cut come out a few thousandths of a millimetre and a degree or two apart. Both are
compared on the body, and the last bit of each is bent to what lies half way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.fit import curves_of_area
from unwrap.livery.joints import measure_joints
from unwrap.livery.meetings import LOOK, Meeting, find_meetings, heading
from unwrap.livery.paint import Curve, Paint
from unwrap.livery.spans import at_parameters, straight_span

# Ends further apart than this (mm), or at more of an angle (radians), are no slip of a fit.
MOST_APART = 0.05
MOST_KINK = np.radians(14.0)
# How far bending may move a curve, mm.
MOVES = 0.005
# A curve's end this near to the joint (mm) is on it.
ON_JOINT = 0.02
# Kinks below this (radians) are left.
LEAST_KINK = np.radians(0.02)
# Steps below this (mm) too.
LEAST_SHIFT = 2e-4
# A stroke that meets its other end no better than this, mm and degrees on the body, is drawn by its edges.
MEETS_WITHIN = 0.02
MEETS_AT = 0.8
# A curve's direction is read from samples this near to each other, mm.
SAMPLES_APART = 0.01
# Rounds of looking and bending.
ROUNDS = 3


@dataclass(eq=False)
class Work:
    """A curve that is being changed, and the new places and directions of its tips."""

    spans: FloatArray
    closed: bool
    bends: list[tuple[Tip, FloatArray, FloatArray]] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class Tip:
    """An end of a curve on a joint.

    Parameters
    ----------
    curve : Work
    index : int
        Where the span that ends here stands in it.
    forwards : bool
        Whether its last point is on the joint, or its first.
    sense : int
        Which edge of the line this is: 1 where the paint lies further along the joint,
        -1 where it lies before, 0 for a centre line.
    station : float
        Along the joint, mm on the body.
    heading : float
        Angle on the body from square to the joint, radians, going inwards.
    """

    curve: Work
    index: int
    forwards: bool
    sense: int
    station: float
    heading: float

    @property
    def span(self) -> FloatArray:
        """(4, 2) the span, from the joint inwards."""
        return self.curve.spans[self.index][:: -1 if self.forwards else 1]


def run_on(carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]) -> dict[str, list[Paint]]:
    """Let lines, bands and artwork run on across every joint and cut.

    Parameters
    ----------
    carries : sequence of Carry
        All pieces of a body.
    paints : mapping of str to sequence of Paint
        What is laid on each, by region, its curves ending on the outline.

    Returns
    -------
    dict of str to list of Paint
        The same paints, their curves bent by no more than a few thousandths of a millimetre.
    """
    bent = _bent_where_they_meet(carries, paints)
    loose = _strokes_that_do_not_meet(carries, bent)
    if not loose:
        return bent
    as_areas = {
        name: [
            replace(paint, curves=curves_of_area(paint.area), stroke=None)
            if (name, paint.label) in loose and paint.stroke is not None
            else paint
            for paint in group
        ]
        for name, group in paints.items()
    }
    return _bent_where_they_meet(carries, as_areas)


def _strokes_that_do_not_meet(
    carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]
) -> set[tuple[str, str]]:
    """Regions and labels of lines that must give up being strokes, with all that they run on into.

    Near the tip of a cut the film's strain changes within a line's width: its two edges leave the
    cut in directions of their own, which a stroke cannot.
    """
    strokes = {name: [paint for paint in group if paint.stroke is not None] for name, group in paints.items()}
    met = measure_joints(carries, strokes)
    loose = {
        (name, one.label)
        for one in met
        if one.place_mm > MEETS_WITHIN or one.direction_deg > MEETS_AT
        for name in one.between
    }
    while True:
        more = {
            (name, one.label)
            for one in met
            if any((near, one.label) in loose for near in one.between)
            for name in one.between
        }
        if more <= loose:
            return loose
        loose |= more


def _bent_where_they_meet(
    carries: Sequence[Carry], paints: Mapping[str, Sequence[Paint]]
) -> dict[str, list[Paint]]:
    by_name = {carry.name: carry for carry in carries}
    meetings = find_meetings(carries)
    work = {
        name: [
            (paint.label, [Work(curve.spans, curve.closed) for curve in paint.curves])
            for paint in group
            if paint.kind != "fill"
        ]
        for name, group in paints.items()
    }
    for _ in range(ROUNDS):
        for meeting in meetings:
            _bend_at(meeting, by_name, work)
        for one in [one for group in work.values() for _, curves in group for one in curves]:
            one.spans, one.bends = _bent(one), []
    out: dict[str, list[Paint]] = {}
    for name, group in paints.items():
        done = iter(work[name])
        out[name] = [
            paint
            if paint.kind == "fill"
            else replace(paint, curves=tuple(Curve(one.spans, one.closed) for one in next(done)[1]))
            for paint in group
        ]
    return out


def _bend_at(
    meeting: Meeting, by_name: Mapping[str, Carry], work: Mapping[str, list[tuple[str, list[Work]]]]
) -> None:
    """Find the tips on a joint and ask those that belong together to meet."""
    tips: list[dict[str, list[Tip]]] = [{}, {}]
    for side, name in enumerate(meeting.between):
        for label, curves in work.get(name, ()):
            for curve in curves:
                found = _tips(meeting, by_name[name], side, curve)
                tips[side].setdefault(label, []).extend(found)
    for label, mine in tips[0].items():
        for tip in mine:
            _join(meeting, tip, tips[1].get(label, ()))


def _tips(meeting: Meeting, carry: Carry, side: int, curve: Work) -> list[Tip]:
    """Where a curve comes to the joint or leaves it."""
    edge = shapely.LineString(meeting.edge(side))
    spans = curve.spans
    starts = shapely.distance(edge, shapely.points(spans[:, 0])) < ON_JOINT
    ends = shapely.distance(edge, shapely.points(spans[:, 3])) < ON_JOINT
    if not (starts.any() or ends.any()):
        return []
    middle = (spans[:, 0] + 3 * spans[:, 1] + 3 * spans[:, 2] + spans[:, 3]) / 8.0
    lies = starts & ends & (shapely.distance(edge, shapely.points(middle)) < ON_JOINT)
    out = []
    n = len(spans)
    for i in range(n):
        for forwards in (True, False):
            on = ends[i] if forwards else starts[i]
            j = i + 1 if forwards else i - 1
            beside = lies[j % n] if curve.closed else not 0 <= j < n
            if on and not lies[i] and beside:
                along = spans[j % n][3 if forwards else 0] if curve.closed else None
                tip = _tip(meeting, carry, side, curve, i, forwards, along)
                inward = meeting.inward_at(side, tip.station)
                # At the tip of a cut both sides are at hand: a curve belongs to the one that it leaves.
                out += [tip] if (tip.span[1] - tip.span[0]) @ inward > 0 else []
    return out


def _tip(
    meeting: Meeting,
    carry: Carry,
    side: int,
    curve: Work,
    index: int,
    forwards: bool,
    along: FloatArray | None,
) -> Tip:
    """The end of a span on the joint; `along` is where its curve goes on to on the joint."""
    step = -1 if forwards else 1
    spans = [curve.spans[index][::step]]
    # As much of the curve as is looked at, however many spans it has there.
    while np.linalg.norm(np.diff(np.array(spans)[:, [0, 3]], axis=1), axis=2).sum() < 2.5 * LOOK:
        following = index + step * len(spans)
        if len(spans) == len(curve.spans) or not (curve.closed or 0 <= following < len(curve.spans)):
            break
        spans.append(curve.spans[following % len(curve.spans)][::step])
    longest = float(np.linalg.norm(np.diff(np.array(spans), axis=1), axis=2).sum(axis=1).max())
    count = int(np.clip(longest / SAMPLES_APART, 32, 4096)) + 1
    inner = at_parameters(np.array(spans), np.linspace(0.0, 1.0, count)).reshape(-1, 2)
    line = shapely.LineString(inner)
    reach = min(LOOK, 0.5 * line.length)
    looks = shapely.get_coordinates(shapely.line_interpolate_point(line, [0.0, reach, 2 * reach]))
    station = meeting.station_of(side, looks[0])
    sense = 0 if along is None else int(np.sign(meeting.station_of(side, along) - station))
    return Tip(curve, index, forwards, sense, station, heading(meeting, carry, side, looks))


def _join(meeting: Meeting, tip: Tip, others: Sequence[Tip]) -> None:
    """Ask a tip, and the one that it meets, to come to what lies half way."""
    near = [
        other
        for other in others
        if other.sense == tip.sense
        and abs(other.station - tip.station) < MOST_APART
        and abs(other.heading + tip.heading) < MOST_KINK
    ]
    if not near:
        return
    other = min(near, key=lambda one: abs(one.station - tip.station))
    station = 0.5 * (tip.station + other.station)
    turn = 0.5 * (tip.heading + other.heading)
    for side, one in ((0, tip), (1, other)):
        way = one.span[1] - one.span[0]
        way = way / max(float(np.linalg.norm(way)), 1e-300)
        # Towards where the joint runs: back by half of what both lean that way.
        inward = meeting.inward_at(side, station)
        ahead = np.array([inward[1], -inward[0]]) * (-1.0 if side else 1.0)
        across = np.array([-way[1], way[0]])
        across = across if across @ ahead > 0 else -across
        way = np.cos(turn) * way - np.sin(turn) * across
        one.curve.bends.append((one, meeting.flat_at(side, station), way))


def _bent(work: Work) -> FloatArray:
    """A curve's spans with their tips bent."""
    parts = [[span] for span in work.spans]
    for tip, place, way in work.bends:
        mine = parts[tip.index]
        span = mine.pop()[::-1] if tip.forwards else mine.pop(0)
        new = _bent_tip(span, place, way)
        if tip.forwards:
            mine.extend(one[::-1] for one in reversed(new))
        else:
            mine[:0] = new
        if work.closed:
            # What runs along the joint goes on from the same place.
            beside = parts[(tip.index + (1 if tip.forwards else -1)) % len(parts)]
            if tip.forwards:
                beside[0] = np.vstack([place, beside[0][1] + place - beside[0][0], beside[0][2:]])
            else:
                beside[-1] = np.vstack([beside[-1][:2], beside[-1][2] + place - beside[-1][3], place])
    return np.array([span for group in parts for span in group])


def _bent_tip(span: FloatArray, place: FloatArray, way: FloatArray) -> list[FloatArray]:
    """A span that begins at a place and in a direction; parted where it would move too far for that."""
    handle = float(np.linalg.norm(span[1] - span[0]))
    turn = float(np.arccos(np.clip((span[1] - span[0]) @ way / max(handle, 1e-300), -1.0, 1.0)))
    if turn < LEAST_KINK:
        if np.linalg.norm(place - span[0]) < LEAST_SHIFT:
            return [span]
        if _is_straight(span):
            return [straight_span(place, span[3])]
        return [np.vstack([place, span[1] + place - span[0], span[2:]])]
    # A handle of length h turned by an angle moves the curve by 4/9 h times it at the most.
    share = min(MOVES / max(4.0 / 9.0 * handle * turn, 1e-300), 1.0)
    near, *far = _parted(span, share)
    return [np.vstack([place, place + share * handle * way, near[2:]]), *far]


def _is_straight(span: FloatArray) -> bool:
    return bool(np.abs(span - straight_span(span[0], span[3])).max() < 1e-6)


def _parted(span: FloatArray, share: float) -> list[FloatArray]:
    """A span parted at a parameter (de Casteljau, 1959)."""
    if share >= 1.0:
        return [span]
    a, b, c, d = span
    ab, bc, cd = a + share * (b - a), b + share * (c - b), c + share * (d - c)
    abc, bcd = ab + share * (bc - ab), bc + share * (cd - bc)
    middle = abc + share * (bcd - abc)
    return [np.array([a, ab, abc, middle]), np.array([middle, bcd, cd, d])]
