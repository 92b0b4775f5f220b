"""How lining turns a corner: square, rounded, incurved, canted or notched.

A corner is built in a chart round it, true to the surface, and taken away from the
square-cornered panel there. The shape of every line further in is the outermost one moved
inwards by its depth, so that widths and gaps are the same all round it, also where the
sides curve or meet at a slant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.ground import Ground
from unwrap.livery.planar import grow, join, minus, tidy

CornerStyle = Literal["square", "rounded", "incurved", "canted", "notched"]
STYLES: tuple[str, ...] = get_args(CornerStyle)
# Sides of the polygon that stands for a quarter circle.
QUARTER_SIDES = 24
# What carrying a corner there and back may leave of its rim, mm.
SLIVER = 2e-4
# A side of the panel ends where it turns by more than this, radians.
SIDE_ENDS = np.radians(30.0)
# Rounding that is taken off a side, mm.
ROUNDING = 1e-3
# A corner this far from where straight sides would have it, in that distance, is another one.
ELSEWHERE = 1.6
# Far enough beyond a corner, in its own size.
FAR = 8.0
# What of a corner's ground must be there on the pieces.
WHOLE = 0.98


@dataclass(frozen=True, eq=False)
class Turn:
    """A corner's style, and the panel's sides beside it.

    Parameters
    ----------
    style : str
        One of `STYLES`.
    size : float
        Of the outermost line's outer edge, mm: radius of a rounded or incurved corner, length
        along each side of a canted one, distance of a notched one's walls from the sides.
    interior : float
        The angle inside the panel, radians; at an opening the angle on the opening's side.
    chart : (m, 3, 2) float64
        Ground faces laid flat round it, mm; the corner is the origin.
    sides : tuple of (n, 2) float64
        The panel's two sides in the chart, from the corner on.
    opening : bool
        Whether the line set goes round an opening here: lines further in are wider round.
    rounded : float
        How much of each side the region's own edge has rounded away, mm.
    """

    style: str
    size: float
    interior: float
    chart: FloatArray
    sides: tuple[FloatArray, FloatArray]
    opening: bool = False
    rounded: float = 0.0


def along_side(interior: float, style: str, size: float) -> float:
    """Length that a corner takes up along a side, mm."""
    if style == "rounded":
        return size / float(np.tan(0.5 * interior))
    if style == "notched":
        return size / float(np.sin(interior))
    return 0.0 if style == "square" else size


def sides_of(
    panel: shapely.Geometry, reach: float, rounded: float = 0.0
) -> tuple[FloatArray, FloatArray] | None:
    """The two sides of a panel that meet at the origin, each from there on; None where none do.

    Parameters
    ----------
    panel : Polygon or MultiPolygon
    reach : float
        How much of a side is wanted, mm.
    rounded : float
        How much of each side is rounded away: it goes straight on to the origin.
    """
    rings = [ring for part in shapely.get_parts(panel) for ring in (part.exterior, *part.interiors)]
    if not rings:
        return None
    ring = min(rings, key=lambda one: one.distance(shapely.Point(0.0, 0.0)))
    points = np.asarray(ring.simplify(ROUNDING).coords)[:-1]
    start = int(np.argmin(np.hypot(*points.T)))
    points = np.roll(points, -start, axis=0)
    if rounded > 0:
        points = points[np.hypot(*points.T) > rounded * (1.0 - 1e-3) - ROUNDING]
        points = np.vstack([[0.0, 0.0], points])
    points[0] = 0.0
    first = _as_far(np.vstack([points, points[:1]]), reach)
    second = _as_far(np.vstack([points[:1], points[::-1]]), reach)
    return first, second


def _as_far(points: FloatArray, reach: float) -> FloatArray:
    """A run as far as it goes without a corner, or as it is wanted."""
    way = np.diff(points, axis=0)
    size = np.linalg.norm(way, axis=1)
    cross = way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0]
    turn = np.abs(np.arctan2(cross, (way[:-1] * way[1:]).sum(axis=1)))
    ends = np.flatnonzero((turn > SIDE_ENDS) | (np.cumsum(size)[:-1] > reach))
    return points[: int(ends[0]) + 2] if len(ends) else points


def taken_away(turn: Turn, depth: float, panel: shapely.Geometry) -> shapely.Geometry:
    """What a corner takes from the square-cornered panel, in the corner's chart.

    Parameters
    ----------
    turn : Turn
    depth : float
        How far further in than the outermost line's outer edge this edge lies, mm; below 0
        where the panel is the ground round an opening, which grows from line to line.
    panel : Polygon or MultiPolygon
        The square-cornered panel inside this edge, in the chart.
    """
    size = turn.size
    tip = depth / np.sin(0.5 * turn.interior)
    if turn.style == "rounded":
        radius = size - depth
        if radius <= 0:
            return shapely.MultiPolygon()
        round_ = panel.buffer(-radius, quad_segs=QUARTER_SIDES).buffer(radius, quad_segs=QUARTER_SIDES)
        # An edge that is not quite straight loses a hair all along: that is no part of the corner.
        far = abs(tip) + 1.05 * along_side(turn.interior, "rounded", radius) + 0.05
        gone = tidy(minus(panel, round_), 2e-4).intersection(shapely.Point(0.0, 0.0).buffer(far))
    elif turn.style == "incurved":
        radius = size + depth
        if radius <= -tip:
            return shapely.MultiPolygon()
        disc = shapely.Point(0.0, 0.0).buffer(radius, quad_segs=4 * QUARTER_SIDES)
        gone = shapely.intersection(panel, disc)
    elif turn.style == "canted":
        gone = shapely.intersection(panel, _before_cant(turn, depth))
    else:
        gone = shapely.intersection_all([panel, *(_beside(side, turn, depth) for side in turn.sides)])
    return _at_corner(gone, abs(tip) + turn.rounded + 0.05 * size + 0.02)


def _before_cant(turn: Turn, depth: float) -> shapely.Polygon:
    """The ground on the corner's side of the cant, moved inwards."""
    first, second = (_along(side, turn.size) for side in turn.sides)
    across = (second - first) / np.linalg.norm(second - first)
    inward = np.array([-across[1], across[0]])
    inward = inward if inward @ (first + second) > 0 else -inward
    far = FAR * (turn.size + abs(depth))
    front = 0.5 * (first + second) + depth * inward
    ends = np.stack([front - far * across, front + far * across])
    return shapely.Polygon(np.vstack([ends, ends[::-1] - far * inward]))


def _along(side: FloatArray, length: float) -> FloatArray:
    """The point of a side at a length from its start."""
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(side, axis=0), axis=1))])
    return np.array([np.interp(length, at, column) for column in side.T])


def _beside(side: FloatArray, turn: Turn, depth: float) -> shapely.Geometry:
    """Ground within size + depth of a side on the panel's side of it, and what is just outside it.

    The side goes straight on before its start and after its end.
    """
    wall = turn.size + depth
    far = FAR * (turn.size + abs(depth))
    ahead, behind = side[1] - side[0], side[-1] - side[-2]
    before = side[0] - far * ahead / np.linalg.norm(ahead)
    after = side[-1] + far * behind / np.linalg.norm(behind)
    line = shapely.LineString(np.vstack([before, side, after]))
    with np.errstate(divide="ignore", invalid="ignore"):
        near = shapely.buffer(line, abs(wall), cap_style="flat", join_style="mitre")
        if depth >= 0:
            return near
        # Round an opening the panel has grown beyond the side by its depth.
        other = turn.sides[1] if side is turn.sides[0] else turn.sides[0]
        outwards = 1.1 * depth if _leaves_left(side, other) else -1.1 * depth
        outside = shapely.buffer(line, outwards, single_sided=True, join_style="mitre")
    return shapely.union(outside, near) if wall > 0 else shapely.difference(outside, near)


def _leaves_left(side: FloatArray, other: FloatArray) -> bool:
    """Whether the other side leaves to the left."""
    a, b = side[1] - side[0], other[1] - other[0]
    return bool(a[0] * b[1] - a[1] * b[0] > 0)


def _at_corner(area: shapely.Geometry, near: float) -> shapely.Geometry:
    """The part of what is taken away that is at the corner: the panel may come near again further on."""
    parts = shapely.get_parts(area)
    away = shapely.distance(parts, shapely.Point(0.0, 0.0))
    if not len(parts) or away.min() > ELSEWHERE * near:
        return shapely.MultiPolygon()
    return parts[int(np.argmin(away))]


def charted(ground: Ground, chart: FloatArray, panels: Sequence[shapely.Geometry]) -> shapely.Geometry:
    """Panels on their flat pieces as one, in a chart of the ground."""
    return join(
        [
            carry.area_to_chart(panel, chart[ground.owner == i])
            for i, (carry, panel) in enumerate(zip(ground.carries, panels, strict=True))
        ]
    )


def turn_corners(
    ground: Ground, panels: list[shapely.Geometry], turns: Sequence[Turn], depth: float
) -> list[shapely.Geometry]:
    """The panels inside an edge, with their square corners turned in style.

    Parameters
    ----------
    ground : Ground
    panels : list of Polygon or MultiPolygon
        One per carry, on its flat piece.
    turns : sequence of Turn
    depth : float
        How far inside the outermost line's outer edge this edge lies, mm.
    """
    out = list(panels)
    for turn in turns:
        moved = _moved(ground, panels, turn, depth)
        for i, carry in enumerate(ground.carries):
            # Grown by a hair, so that no sliver of the square corner is left along the panel's sides.
            mine = grow(carry.area_to_flat(moved, turn.chart[ground.owner == i]), SLIVER)
            if turn.opening:
                out[i] = tidy(carry.ground(shapely.union(out[i], mine)))
            else:
                out[i] = tidy(minus(out[i], mine))
    return out


def refuse_corners_cut_off(
    where: str, ground: Ground, panels: list[shapely.Geometry], turns: Sequence[Turn]
) -> None:
    """Refuse corners round an opening that would run into it.

    Raises
    ------
    BadInput
        Naming `where`.
    """
    for turn in turns:
        if not turn.opening:
            continue
        wanted = _moved(ground, panels, turn, 0.0)
        there = [c.area_to_flat(wanted, turn.chart[ground.owner == i]) for i, c in enumerate(ground.carries)]
        if sum(area.area for area in there) < WHOLE * wanted.area:
            raise BadInput(
                f"{where}: a corner of {turn.size:.3g} mm ({turn.style}) round an opening runs into the "
                "opening; use a smaller one, or a larger inset"
            )


def _moved(ground: Ground, panels: list[shapely.Geometry], turn: Turn, depth: float) -> shapely.Geometry:
    """What a corner takes from the panel, or gives to it at an opening, in the corner's chart."""
    seen = charted(ground, turn.chart, panels)
    if not turn.opening:
        return taken_away(turn, depth, seen)
    around = shapely.Point(0.0, 0.0).buffer(FAR * (turn.size + depth))
    return taken_away(turn, -depth, shapely.difference(around, seen))
