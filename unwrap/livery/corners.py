"""How lining turns a corner: square, rounded, incurved, canted or notched.

A corner is built in a chart round it, true to the surface, and taken away from the
square-cornered panel there. Lines further in stay parallel: concentric where the
corner is round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray
from unwrap.livery.chart import lay_chart
from unwrap.livery.ground import Ground
from unwrap.livery.planar import join, tidy

CornerStyle = Literal["square", "rounded", "incurved", "canted", "notched"]
STYLES: tuple[str, ...] = get_args(CornerStyle)
# The lining's own corner is where the region's edge turns inwards by more than this.
SHARP = np.radians(30.0)
# Sides of the polygon that stands for a quarter circle.
QUARTER_SIDES = 24


@dataclass(frozen=True, eq=False)
class Corner:
    """A corner of the chosen edge, with a chart round it.

    Parameters
    ----------
    vertex : int
        The ground's vertex.
    interior : float
        The angle inside the region, radians.
    chart : (m, 3, 2) float64
        Ground faces laid flat round the vertex, mm.
    tip : (2,) float64
        Where the outermost line's outer edge has its square corner, in the chart.
    sides : (2, 2) float64
        Unit directions along the two sides, away from the corner.
    """

    vertex: int
    interior: float
    chart: FloatArray
    tip: FloatArray
    sides: FloatArray


def find_corners(
    ground: Ground, chosen: Sequence[tuple[int, int]], inset: float, reach: float
) -> list[Corner]:
    """Corners of the chosen edges that lining turns outwards, in the edge's order.

    Parameters
    ----------
    ground : Ground
    chosen : sequence of (int, int)
        Edges with the ground on the left.
    inset : float
        Distance of the lining's outer edge from the region's edge, mm.
    reach : float
        How far round the square corner the chart must reach, mm.
    """
    behind = {b: a for a, b in chosen}
    corners = []
    for a, b in chosen:
        interior = float(ground.angle_sum[a])
        if a in behind and interior < np.pi - SHARP:
            corners.append(_corner(ground, behind[a], a, b, interior, inset, reach))
    return corners


def _corner(
    ground: Ground, before: int, vertex: int, after: int, interior: float, inset: float, reach: float
) -> Corner:
    face, k = ground.free[(vertex, after)]
    weights = np.zeros(3)
    weights[k] = 1.0
    way = inset / np.sin(0.5 * interior)
    along = ground.vertices[after] - ground.vertices[vertex]
    chart = lay_chart(ground, face, weights, way + reach, along)
    here = chart[face, k]
    c, s = np.cos(interior), np.sin(interior)
    u = chart[face, (k + 1) % 3] - here
    u /= np.linalg.norm(u)
    v = np.array([[c, -s], [s, c]]) @ u
    middle = (u + v) / np.linalg.norm(u + v)
    return Corner(vertex, interior, chart, here + way * middle, np.stack([v, u]))


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
    here = corner.tip
    first, second = corner.sides
    half = 0.5 * corner.interior
    if style == "rounded":
        radius = size - depth
        if radius <= 0:
            return shapely.MultiPolygon()
        round_ = panel.buffer(-radius, quad_segs=QUARTER_SIDES).buffer(radius, quad_segs=QUARTER_SIDES)
        rest = shapely.get_parts(tidy(panel.difference(round_), 2e-4))
        tip = here + depth / np.sin(half) * (first + second) / np.linalg.norm(first + second)
        near = [part for part in rest if part.distance(shapely.Point(tip)) < 0.05 * radius + 0.02]
        return shapely.union_all(near) if near else shapely.MultiPolygon()
    if style == "incurved":
        shape = shapely.Point(here).buffer(size + depth, quad_segs=4 * QUARTER_SIDES)
    elif style == "canted":
        a, b = here + size * first, here + size * second
        inward = (first + second) / np.linalg.norm(first + second)
        far = 4.0 * (size + depth)
        way = (b - a) / np.linalg.norm(b - a)
        a, b = a + depth * inward - far * way, b + depth * inward + far * way
        shape = shapely.Polygon([a, b, b - 2 * far * inward, a - 2 * far * inward])
    else:
        # Within size + depth of both sides: a rhombus with its sides along the panel's.
        step = (size + depth) / np.sin(corner.interior)
        a, b = step * first, step * second
        far = 2.0 * (first + second) * step
        shape = shapely.Polygon([here + a + b, here + a + b - 4 * a, here - far, here + a + b - 4 * b])
    return shapely.intersection(panel, shape)


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
            out[i] = out[i].difference(carry.area_to_flat(gone, chart))
    return out
