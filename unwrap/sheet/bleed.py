"""Bleed: paint that reaches the outline runs on beyond it, so that the cut shows no bare edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Curve, Paint
from unwrap.sheet.curves import straight_curve
from unwrap.sheet.plates import offset, polygons_in

# Paint that stops this near to the outline, mm, was meant to reach it.
REACHES = 0.02
# Unions are taken on a grid this fine, mm, or shapes that nearly fit leave pinholes.
GRID = 1e-6


class BleedGround:
    """The ground round an outline that paint may bleed into.

    Ground that is nearer than `bleed` to two lips, as in the notch of a relief cut, is
    shared out: every place takes the paint of the lip that it is nearest to, so no
    paint goes beyond the middle.

    Parameters
    ----------
    outline : shapely Polygon
        Where the piece is cut, mm.
    bleed : float
        How far paint is carried beyond it, mm.
    """

    def __init__(self, outline: shapely.Polygon, bleed: float) -> None:
        self.outline = outline
        self.bleed = bleed
        closed = outline.buffer(bleed).buffer(-bleed) if bleed > 0 else outline
        notches = polygons_in(closed.difference(outline))
        # A little beyond the notch itself, so that its mouth is shared out as well.
        self.shared = polygons_in(offset(notches, bleed).difference(outline))
        self.lips = np.zeros((0, 2))
        self.cells: list[shapely.Geometry] = []
        if not self.shared.is_empty:
            self._share_out()

    def _share_out(self) -> None:
        lips = self.outline.boundary.intersection(self.shared.buffer(2 * self.bleed))
        samples = np.unique(np.round(shapely.get_coordinates(lips.segmentize(self.bleed / 5)), 9), axis=0)
        cells = shapely.get_parts(
            shapely.voronoi_polygons(shapely.multipoints(samples), extend_to=self.shared.envelope)
        )
        cell, sample = shapely.STRtree(shapely.points(samples)).query(cells, predicate="contains")
        reached = shapely.intersects(cells[cell], self.shared)
        self.lips, self.cells = samples[sample[reached]], list(cells[cell[reached]])

    def beyond(self, area: shapely.Geometry) -> shapely.Geometry:
        """Where the paint of an area is carried to, outside the outline."""
        reach = area.buffer(REACHES, quad_segs=2)
        runs = self.outline.boundary.intersection(reach)
        if self.bleed <= 0 or runs.length <= 2 * REACHES:
            return shapely.Polygon()
        carried = offset(runs, self.bleed, cap_style="flat")
        carried = carried.difference(self.outline)
        if self.cells:
            shapely.prepare(reach)
            own = shapely.intersects(reach, shapely.points(self.lips))
            nearest = shapely.union_all([cell for cell, mine in zip(self.cells, own, strict=True) if mine])
            carried = carried.difference(self.shared.difference(nearest))
        return polygons_in(carried)


def sound(paint: Paint) -> Paint:
    """The same paint with a valid area of polygons only, as everything after this takes for granted."""
    area = paint.area
    if area.is_valid and area.geom_type in ("Polygon", "MultiPolygon"):
        return paint
    return replace(paint, area=polygons_in(area if area.is_valid else shapely.make_valid(area)))


def carry_over(paint: Paint, ground: BleedGround) -> Paint:
    """Carry a paint beyond the outline wherever it reaches it.

    Parameters
    ----------
    paint : Paint
        A paint inside the outline.
    ground : BleedGround
        The outline, and how far to carry.

    Returns
    -------
    Paint
        The same one where it stays clear of the outline. An open stroke that ends on
        the outline stays a stroke, only longer.
    """
    beyond = ground.beyond(paint.area)
    if beyond.is_empty:
        return paint
    edge = ground.outline.boundary
    up_to_edge = edge.intersection(paint.area.buffer(REACHES, quad_segs=2))
    strip = offset(up_to_edge, 2 * REACHES, cap_style="flat").intersection(ground.outline)
    area = polygons_in(shapely.union_all([paint.area, strip, beyond], grid_size=GRID))
    longer = _longer_strokes(paint, edge, up_to_edge, ground.bleed)
    if longer is not None:
        return replace(paint, area=area, curves=longer)
    return replace(paint, area=area, curves=curves_of_area(area), stroke=None)


def _longer_strokes(
    paint: Paint, edge: shapely.Geometry, touching: shapely.Geometry, bleed: float
) -> tuple[Curve, ...] | None:
    """The centre lines of a stroke that meets the edge with its ends only, carried over it."""
    if paint.stroke is None or any(curve.closed for curve in paint.curves):
        return None
    ends = [point for curve in paint.curves for point in (curve.spans[0, 0], curve.spans[-1, 3])]
    on_edge = [point for point in ends if edge.distance(shapely.Point(point)) <= 2 * REACHES]
    if not on_edge or not touching.within(shapely.multipoints(on_edge).buffer(1.5 * paint.stroke + REACHES)):
        return None
    return tuple(_longer(curve, edge, bleed) for curve in paint.curves)


def _longer(curve: Curve, edge: shapely.Geometry, bleed: float) -> Curve:
    spans = curve.spans
    first, last = spans[0, 0], spans[-1, 3]
    if edge.distance(shapely.Point(first)) <= 2 * REACHES:
        spans = np.concatenate([_run_in(first, spans[0, 0] - spans[0, 1], bleed)[:, ::-1], spans])
    if edge.distance(shapely.Point(last)) <= 2 * REACHES:
        spans = np.concatenate([spans, _run_in(last, spans[-1, 3] - spans[-1, 2], bleed)])
    return replace(curve, spans=spans)


def _run_in(start: FloatArray, along: FloatArray, length: float) -> FloatArray:
    size = float(np.linalg.norm(along))
    end = start + along * (length / size) if size > 0 else start
    return straight_curve(np.array([start, end]), closed=False).spans
