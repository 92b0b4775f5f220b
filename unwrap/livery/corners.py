"""How lining turns a corner: square, rounded, incurved, canted or notched.

A corner is built in a chart round it, true to the surface, and taken away from the
square-cornered panel there. Lines further in stay parallel: concentric where the
corner is round.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely
from shapely.prepared import PreparedGeometry, prep

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.chart import lay_chart
from unwrap.livery.edges import name_runs, outer_and_openings
from unwrap.livery.ground import Ground
from unwrap.livery.planar import grow, join, minus, tidy

CornerStyle = Literal["square", "rounded", "incurved", "canted", "notched"]
STYLES: tuple[str, ...] = get_args(CornerStyle)
# The lining's own corner is where the region's edge turns inwards by more than this.
SHARP = np.radians(45.0)
# Sides of the polygon that stands for a quarter circle.
QUARTER_SIDES = 24


# How far along each side (mm) its direction at a corner is taken.
ALONG = 0.4
# How far beyond a corner's sides its shape reaches, in its own size: sides may curve.
SPARE = 0.3
# What carrying a corner there and back may leave of its rim, mm.
SLIVER = 2e-4
# A corner this near to a joint or cut (mm) is where the line runs on, not a corner.
ON_OUTLINE = 2e-3


@dataclass(frozen=True, eq=False)
class Corner:
    """A square corner of the panel inside the lining's outer edge, with a chart round it.

    Parameters
    ----------
    carry : int
        The piece that it is on.
    ring : tuple of int
        The outline that it is on: piece, part, ring.
    at : (2,) float64
        Where on that piece, mm.
    place : (3,) float64
        Where on the body, mm.
    interior : float
        The angle inside the panel, radians.
    side : float
        Length of the panel's side that follows, to the next corner, mm.
    chart : (m, 3, 2) float64
        Ground faces laid flat round it, mm; the corner is the origin.
    sides : (2, 2) float64
        Unit directions in the chart along the two sides, away from the corner.
    """

    carry: int
    ring: tuple[int, int, int]
    at: FloatArray
    place: FloatArray
    interior: float
    side: float
    chart: FloatArray
    sides: FloatArray


def find_corners(ground: Ground, panels: Sequence[shapely.Geometry], reach: float) -> list[Corner]:
    """Outward corners of the panel inside the lining's outer edge, in order along each outline.

    Parameters
    ----------
    ground : Ground
    panels : sequence of Polygon or MultiPolygon
        The square-cornered panel on each piece.
    reach : float
        How far round each corner the chart must reach, mm.
    """
    corners = []
    for number, (carry, panel) in enumerate(zip(ground.carries, panels, strict=True)):
        edge = prep(carry.outline.boundary.buffer(ON_OUTLINE))
        for part, polygon in enumerate(shapely.get_parts(panel)):
            for hole, ring in enumerate((polygon.exterior, *polygon.interiors)):
                points = np.asarray(ring.simplify(1e-3).coords)[:-1]
                if shapely.is_ccw(ring) != (hole == 0):
                    points = points[::-1]
                corners += _corners_of_ring(ground, (number, part, hole), points, edge, reach)
    return corners


def _corners_of_ring(
    ground: Ground, where: tuple[int, int, int], points: FloatArray, edge: PreparedGeometry, reach: float
) -> list[Corner]:
    """Corners of one ring with the panel on its left."""
    if len(points) < 3:
        return []
    number = where[0]
    carry = ground.carries[number]
    ahead, behind = np.roll(points, -1, axis=0) - points, np.roll(points, 1, axis=0) - points
    turn = np.arctan2(ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0], (ahead * behind).sum(axis=1))
    sharp = [
        i
        for i in np.flatnonzero((turn > 0) & (turn < np.pi - SHARP))
        if not edge.contains(shapely.Point(points[i]))
    ]
    step = np.linalg.norm(ahead, axis=1)
    out = []
    for i, j in zip(sharp, [*sharp[1:], *sharp[:1]], strict=True):
        between = [k % len(points) for k in range(i, j if j > i else j + len(points))]
        sides = np.stack([unit(behind[i]), unit(ahead[i])])
        sides *= np.minimum(ALONG, 0.5 * np.linalg.norm([behind[i], ahead[i]], axis=1))[:, None]
        part, weights, _ = carry.to_part(np.vstack([points[i], points[i] + sides]))
        face = np.flatnonzero((ground.owner == number) & (ground.face == carry.flat.face[part[0]]))[0]
        on_face = np.einsum("nc,ncw->nw", weights, carry.part_weights[part])
        place = np.einsum("nc,ncj->nj", weights, carry.on_surface[part])
        chart = lay_chart(ground, int(face), on_face[0], reach, place[2] - place[0])
        mine = chart[ground.owner == number][carry.flat.face[part]]
        drawn = np.einsum("nw,nwj->nj", on_face, mine)
        if not np.isfinite(drawn).all():
            continue
        ways = np.stack([unit(drawn[1] - drawn[0]), unit(drawn[2] - drawn[0])])
        interior = float(np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0)))
        out.append(
            Corner(number, where, points[i], place[0], interior, float(step[between].sum()), chart, ways)
        )
    return out


def style_corners(
    where: str,
    ground: Ground,
    corners: Sequence[Corner],
    style: str,
    size: float,
    named: Mapping[str, tuple[str, float]],
) -> list[tuple[Corner, str, float]]:
    """Each corner with its own style where one is named by the edges that meet there.

    Raises
    ------
    BadInput
        If a style is unknown, or no corner has that name.
    """
    wishes = {frozenset(name.split()): (name, *wish) for name, wish in named.items()}
    for name, wanted, radius in wishes.values():
        if wanted not in STYLES or (wanted != "square" and not radius > 0):
            raise BadInput(
                f'{where}: the corner "{name}" is given as {wanted!r} with size {radius!r}; use '
                f"{', '.join(STYLES)} and a size above 0 mm"
            )
    if not wishes:
        return [(corner, style, size) for corner in corners]
    runs = name_runs(ground, outer_and_openings(ground)[0])
    out, met = [], set()
    for corner in corners:
        names = _meeting_edges(ground, runs, corner)
        _, wanted, radius = wishes.get(names, ("", style, size))
        met.add(names)
        out.append((corner, wanted, radius))
    for key, (name, *_) in wishes.items():
        if key not in met:
            have = ", ".join(sorted(" ".join(sorted(names)) for names in met))
            raise BadInput(f'{where}: there is no corner "{name}"; its corners are {have}')
    return out


def _meeting_edges(
    ground: Ground, runs: Sequence[tuple[str, list[tuple[int, int]]]], corner: Corner
) -> frozenset[str]:
    """Names of the two sides of the region nearest to a corner."""
    nearest: dict[str, float] = {}
    for name, run in runs:
        start, end = (ground.vertices[list(ends)] for ends in zip(*run, strict=True))
        way = end - start
        share = np.einsum("nj,nj->n", corner.place - start, way) / np.einsum("nj,nj->n", way, way)
        off = start + np.clip(share, 0, 1)[:, None] * way - corner.place
        nearest[name] = min(nearest.get(name, np.inf), float(np.linalg.norm(off, axis=1).min()))
    return frozenset(sorted(nearest, key=lambda name: nearest[name])[:2])


def corners_that_fit(
    where: str, corners: Sequence[tuple[Corner, str, float]]
) -> tuple[list[tuple[Corner, str, float]], tuple[str, ...]]:
    """The corners that have room for their style.

    A jog in the outline, a side with less than half of the length that its corners ask
    for, keeps square corners and is named; a panel that is too small is refused.

    Raises
    ------
    BadInput
        Naming `where`.
    """
    lacking: set[int] = set()
    for i, (corner, style, size) in enumerate(corners):
        j = _following(corners, i)
        asked = along_side(corner.interior, style, size) + along_side(corners[j][0].interior, *corners[j][1:])
        if corner.side < 0.5 * asked:
            lacking |= {i, j}
    fit = [each for i, each in enumerate(corners) if i not in lacking and each[1] != "square"]
    for i, (corner, style, size) in enumerate(corners):
        j = _following(corners, i)
        asked = sum(
            along_side(c.interior, s, r)
            for k, (c, s, r) in ((i, corners[i]), (j, corners[j]))
            if k not in lacking
        )
        none_left = i in lacking and not fit and style != "square"
        if asked > corner.side + 1e-3 or none_left:
            raise BadInput(
                f"{where}: a {style} corner of {size:.3g} mm does not fit a side {corner.side:.3g} mm long; "
                "use a smaller radius"
            )
    said = tuple(
        f"{where}: the corner at ({', '.join(f'{v:.1f}' for v in corners[i][0].place)}) stands at a jog of "
        f"the outline that is too short for a {corners[i][1]} corner and stays square."
        for i in sorted(lacking)
        if corners[i][1] != "square"
    )
    return fit, said


def _following(corners: Sequence[tuple[Corner, str, float]], i: int) -> int:
    """The next corner of the same ring."""
    ring = [k for k, each in enumerate(corners) if each[0].ring == corners[i][0].ring]
    return ring[(ring.index(i) + 1) % len(ring)]


def along_side(interior: float, style: str, size: float) -> float:
    """Length that a corner takes up along a side, mm."""
    if style == "rounded":
        return size / float(np.tan(0.5 * interior))
    return 0.0 if style == "square" else size


def unit(way: FloatArray) -> FloatArray:
    """A direction at length 1; nought stays nought."""
    return way / max(float(np.linalg.norm(way)), 1e-300)


def taken_away(
    corner: Corner, style: str, size: float, depth: float, panel: shapely.Geometry
) -> shapely.Geometry:
    """What a corner style takes from the square-cornered panel, in the corner's chart.

    Parameters
    ----------
    corner : Corner
    style : str
    size : float
        Radius, or length along each side, of the outermost line's outer edge, mm.
    depth : float
        How far further in this edge lies, mm.
    panel : Polygon or MultiPolygon
        The square-cornered panel inside this edge, in the chart.
    """
    here = np.zeros(2)
    first, second = corner.sides
    half = 0.5 * corner.interior
    inward = (first + second) / np.linalg.norm(first + second)
    tip = here + depth / np.sin(half) * inward
    if style == "rounded":
        radius = size - depth
        if radius <= 0:
            return shapely.MultiPolygon()
        round_ = panel.buffer(-radius, quad_segs=QUARTER_SIDES).buffer(radius, quad_segs=QUARTER_SIDES)
        return _at_tip(tidy(minus(panel, round_), 2e-4), tip, 0.05 * radius + 0.02)
    if style == "incurved":
        shape = shapely.Point(here).buffer(size + depth, quad_segs=4 * QUARTER_SIDES)
    elif style == "canted":
        # The line through both ends of the cant, moved inwards, to where it meets the sides and a little on.
        reach = size * np.cos(half) + depth
        across = np.array([-inward[1], inward[0]]) * (reach * np.tan(half) + SPARE * (size + depth))
        front, back = here + reach * inward, here - SPARE * (size + depth) * inward
        shape = shapely.Polygon([front - across, front + across, back + across, back - across])
    else:
        # Within size + depth of both sides: a rhombus with its sides along the panel's, and a little more.
        step = (size + depth) / np.sin(corner.interior)
        a, b = step * first, step * second
        shape = shapely.Polygon(
            [here + a + b, here + b - SPARE * a, here - SPARE * (a + b), here + a - SPARE * b]
        )
    return _at_tip(shapely.intersection(panel, shape), tip, 0.05 * size + 0.02)


def _at_tip(area: shapely.Geometry, tip: FloatArray, near: float) -> shapely.Geometry:
    """The parts of what is taken away that are at the corner: the panel may come near again further on."""
    parts = shapely.get_parts(area)
    mine = parts[shapely.distance(parts, shapely.Point(tip)) < near] if len(parts) else parts
    return shapely.union_all(mine) if len(mine) else shapely.MultiPolygon()


def turn_corners(
    ground: Ground,
    panels: list[shapely.Geometry],
    corners: Sequence[tuple[Corner, str, float]],
    depth: float,
) -> list[shapely.Geometry]:
    """The panels inside an edge, with their square corners turned in style.

    Parameters
    ----------
    ground : Ground
    panels : list of Polygon or MultiPolygon
        One per carry, on its flat piece.
    corners : sequence of (Corner, style, size)
    depth : float
        How far inside the outermost line's outer edge this edge lies, mm.
    """
    out = list(panels)
    for corner, style, size in corners:
        if style == "square" or size <= 0:
            continue
        charts = [corner.chart[ground.owner == i] for i in range(len(ground.carries))]
        seen = join([c.area_to_chart(p, ch) for c, p, ch in zip(ground.carries, panels, charts, strict=True)])
        if seen.is_empty:
            continue
        gone = taken_away(corner, style, size, depth, seen)
        for i, (carry, chart) in enumerate(zip(ground.carries, charts, strict=True)):
            # Grown by a hair, so that no sliver of the square corner is left along the panel's sides.
            out[i] = tidy(minus(out[i], grow(carry.area_to_flat(gone, chart), SLIVER)))
    return out
