"""How many strips and corner pieces of bought lining a printed line stands for.

A line is counted as it would be laid on the body by hand: a strip runs on across joints and
relief cuts, which only the printed piece has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from unwrap.arrays import BoolArray, FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.fit import curve_points, printed_area
from unwrap.livery.paint import Paint
from unwrap.livery.planar import grow
from unwrap.sheet.piece import Piece

# Common practice, no source: a strip of lining film can be coaxed round a gentle bend;
# round a tighter one a modeller lays a corner piece, and at a sharp corner the next strip
# begins. A bend of less than 30 degrees in all is coaxed.
TIGHT_RADIUS = 25.0
LEAST_BEND = np.radians(30.0)

# A line's direction is taken between the places this far ahead and behind, mm, so that neither
# the body's facets nor how finely a curve was sampled tells.
LOOK = 0.5
STEP = 0.1
# A bend no longer than what the look makes of a sharp corner, and a little, is sharp.
SHARP = 2 * LOOK + 0.4
# Slight bends no further apart than this (mm) are the facets of one.
FACET = 1.5
# A straight that shows for less than this (mm) between what the look makes of two bends is none.
LEAST_STRAIGHT = 0.3
# At the end of a strip its rim turns by more than this twice, degrees.
SQUARE = 50.0
# Ends of a line this near to each other on the body (mm), and this much in line (radians), are one strip's.
SAME_PLACE = 0.5
IN_LINE = np.radians(30.0)
# A rim this near to the piece's edge (mm) is where the line was cut off.
ON_EDGE = 0.05


@dataclass(frozen=True, eq=False)
class Stretch:
    """A part of a line on one piece.

    Parameters
    ----------
    runs : int
        Straight runs and corner pieces along it.
    ends : tuple of ((3,), (3,)) arrays
        Place on the body and unit way out of it, of its first and its last end; none where it
        closes on itself or its ends are not known.
    """

    runs: int
    ends: tuple[tuple[FloatArray, FloatArray], ...] = ()


def line_length(paint: Paint) -> tuple[float, float]:
    """Length and width of a line, mm.

    A stroked line is as long as its centre line. For a line drawn as an area, length L
    and width w follow from its ground and rim: A = L w, and the rim is 2 L for a
    closed line (two rims) or 2 (L + w) for an open one.
    """
    if paint.stroke is not None:
        return float(sum(_length(curve_points(curve)) for curve in paint.curves)), paint.stroke
    length = area = 0.0
    for part in shapely.get_parts(paint.area):
        rim, ground = part.length, part.area
        if part.interiors:
            part_length = rim / 2.0
        else:
            half = rim / 4.0
            part_length = half + np.sqrt(max(half * half - ground, 0.0))
        length += part_length
        area += ground
    return float(length), float(area / length if length > 0 else 0.0)


def count_strips(paint: Paint) -> int:
    """Straight strips and corner pieces of one paint, each part of it by itself."""
    return joined(stretches(paint))


def stretches(paint: Paint, piece: Piece | None = None) -> list[Stretch]:
    """A line's parts on its piece, with their ends on the body where the piece is given."""
    carry = None if piece is None else Carry(piece.patch, piece.flat)
    if paint.stroke is not None:
        lines = [(curve_points(curve), curve.closed) for curve in paint.curves]
        return [_stretch(points, closed, carry) for points, closed in lines]
    area = printed_area(paint) if paint.curves else paint.area
    if piece is None:
        return [_by_rims(part) for part in shapely.get_parts(area)]
    edge = shapely.buffer(piece.outline.boundary, ON_EDGE)
    out = []
    for part in shapely.get_parts(shapely.intersection(area, piece.outline)):
        if part.geom_type != "Polygon":
            continue
        rims = shapely.get_parts(shapely.line_merge(shapely.difference(part.exterior, edge)))
        rims = [rim for rim in rims if rim.geom_type == "LineString"]
        if part.interiors or len(rims) != 2:
            out.append(_by_rims(part))
        else:
            # Of the two rims between its ends the one with more to it: the edge may trim the other.
            sides = [_stretch(np.asarray(rim.coords), False, carry) for rim in rims]
            out.append(max(sides, key=lambda one: one.runs))
    return out


def joined(parts: Sequence[Stretch]) -> int:
    """Strips of all parts of a line, those that meet end to end laid as one."""
    first = np.concatenate([[0], np.cumsum([part.runs for part in parts])]).astype(int)
    root = list(range(first[-1]))

    def top(i: int) -> int:
        while root[i] != i:
            i = root[i]
        return i

    ends = [
        (first[i] + (0 if k == 0 else part.runs - 1), *end)
        for i, part in enumerate(parts)
        for k, end in enumerate(part.ends)
    ]
    for i, (run, place, way) in enumerate(ends):
        for other, there, back in ends[:i]:
            if np.linalg.norm(place - there) < SAME_PLACE and way @ back < -np.cos(IN_LINE):
                root[max(top(run), top(other))] = min(top(run), top(other))
    return sum(root[i] == i for i in range(len(root)))


def _by_rims(part: shapely.Polygon) -> Stretch:
    """A closed line by what runs midway between its rims, another by the longer way between its ends."""
    width = part.area / max(0.5 * part.length, 1e-300)
    if part.interiors:
        centre = grow(shapely.Polygon(part.exterior), -0.5 * width)
        rings = [part.exterior, *part.interiors] if centre.geom_type != "Polygon" else [centre.exterior]
        return Stretch(max(count_runs(shapely.get_coordinates(ring), closed=True) for ring in rings))
    return Stretch(max(count_runs(side, closed=False) for side in _between_ends(part)))


def _between_ends(part: shapely.Polygon) -> list[FloatArray]:
    """The two rims of a strip between its ends: short sides that the rim turns round squarely."""
    half = part.length / 4.0
    width = part.area / (half + np.sqrt(max(half * half - part.area, 0.0)))
    points = shapely.get_coordinates(shapely.simplify(part.exterior, 1e-3))[:-1]
    n = len(points)
    way = np.roll(points, -1, axis=0) - points
    size = np.linalg.norm(way, axis=1)
    before = np.roll(way, 1, axis=0)
    cross = before[:, 0] * way[:, 1] - before[:, 1] * way[:, 0]
    turn = np.degrees(np.arctan2(cross, (before * way).sum(axis=1)))
    turns = np.stack([turn, np.roll(turn, -1)])
    square = (turns > SQUARE).all(axis=0) | (turns < -SQUARE).all(axis=0)
    ends = np.flatnonzero(square & (size < 1.5 * width))
    along = np.concatenate([[0.0], np.cumsum(size)])
    pairs = [(i, j) for k, i in enumerate(ends) for j in ends[k + 1 :]]
    if not pairs:
        return [np.vstack([points, points[:1]])]
    # Of several, the two that part the rim most evenly.
    i, j = min(pairs, key=lambda pair: abs(2.0 * (along[pair[1]] - along[pair[0]]) - along[-1]))
    return [points[i + 1 : j + 1], np.roll(points, -(j + 1), axis=0)[: n - (j - i)]]


def _stretch(points: FloatArray, closed: bool, carry: Carry | None) -> Stretch:
    runs = count_runs(points, closed)
    if closed or carry is None or len(points) < 2:
        return Stretch(runs)
    along = shapely.LineString(points)
    reach = min(2 * LOOK, 0.5 * along.length)
    looks = [shapely.line_interpolate_point(along, at) for at in (0.0, reach, -reach, along.length)]
    start, after, before, end = carry.to_surface(shapely.get_coordinates(looks))
    return Stretch(runs, ((start, _unit(start - after)), (end, _unit(end - before))))


def count_runs(points: FloatArray, closed: bool) -> int:
    """Straight runs and tight bends of a polyline (a closed one repeats its first point)."""
    length = _length(points)
    if length < 4 * LOOK:
        return 1
    count = max(round(length / STEP), 8)
    at = np.linspace(0.0, length, count + 1)
    step = length / count
    reach = max(round(LOOK / step), 1)
    even = _at(points, at)
    if closed:
        even = even[:-1]
        ahead, behind = np.roll(even, -reach, axis=0) - even, even - np.roll(even, reach, axis=0)
    else:
        inner = even[reach:-reach]
        ahead, behind = even[2 * reach :] - inner, inner - even[: -2 * reach]
    cross = ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0]
    # The turn between two looks of length LOOK each: LOOK / radius on an arc.
    turn = np.arctan2(-cross, (ahead * behind).sum(axis=1))
    side = np.where(np.abs(turn) > reach * step / TIGHT_RADIUS, np.sign(turn), 0.0)
    if closed and (side == side[0]).all():
        return 1
    if closed:
        start = int(np.argmax(side != np.roll(side, 1)))
        turn, side = np.roll(turn, -start), np.roll(side, -start)
    return _runs(side, turn, step, reach, closed)


def _runs(side: FloatArray, turn: FloatArray, step: float, reach: int, closed: bool) -> int:
    """Runs of a line by where it bends tightly, and to which side."""
    for sign in (1.0, -1.0):
        side = np.where((side == 0) & _faceted(side == sign, turn / reach, int(FACET / step)), sign, side)
    edges = np.flatnonzero(np.concatenate([[True], np.diff(side) != 0, [True]]))
    bends: list[tuple[int, int, bool]] = []
    for first, last in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        # Looked at every step over a reach of steps, a bend's turns add up to its own times that.
        if side[first] and abs(turn[first:last].sum()) / reach > LEAST_BEND:
            bends.append((first, last, (last - first) * step > SHARP))
    n = len(side)
    pieces = sum(long for _, _, long in bends)
    gaps = [b[0] - a[1] for a, b in pairwise(bends)]
    if not bends:
        return 1
    gaps += [bends[0][0] + n - bends[-1][1]] if closed else [bends[0][0], n - bends[-1][1]]
    if closed and len(bends) == 1 and pieces == 0:
        return 1
    straights = sum(gap * step > LEAST_STRAIGHT for gap in gaps)
    return max(straights + pieces, 1)


def _faceted(mask: BoolArray, turn: FloatArray, gap: int) -> BoolArray:
    """The mask with gaps of up to `gap` closed beside parts that turn too little to be a bend."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int))).reshape(-1, 2)
    slight = [abs(turn[first:last].sum()) < LEAST_BEND for first, last in edges]
    out = mask.copy()
    for ((_, end), (start, _)), both in zip(pairwise(edges), pairwise(slight), strict=True):
        if any(both) and start - end <= gap:
            out[end:start] = True
    return out


def _at(points: FloatArray, at: FloatArray) -> FloatArray:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    return np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)])


def _length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _unit(way: FloatArray) -> FloatArray:
    return way / max(float(np.linalg.norm(way)), 1e-300)
