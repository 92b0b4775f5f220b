"""Bleed: paint that reaches the outline runs on beyond it, so that the cut shows no bare edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Paint
from unwrap.sheet.line_ends import longer_lines, longer_strokes
from unwrap.sheet.plates import offset, polygons_in

# Paint that stops this near to the outline, mm, was meant to reach it.
REACHES = 0.02
# Unions are taken on a grid this fine, mm, or shapes that nearly fit leave pinholes.
GRID = 1e-6
HAIR = 1e-5


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
        # Of places in even rows the library's cells lie over one another: they are put a hair off.
        samples += np.random.default_rng(0).uniform(-HAIR, HAIR, samples.shape)
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
        return polygons_in(carried.difference(self.others(area)))

    def others(self, area: shapely.Geometry) -> shapely.Geometry:
        """Ground beyond the outline that is not nearest to where an area reaches it."""
        if not self.cells:
            return shapely.Polygon()
        reach = area.buffer(REACHES, quad_segs=2)
        shapely.prepare(reach)
        own = shapely.intersects(reach, shapely.points(self.lips))
        nearest = shapely.union_all([cell for cell, mine in zip(self.cells, own, strict=True) if mine])
        return self.shared.difference(nearest)


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
        The same one where it stays clear of the outline. A line that ends on the outline
        goes on straight, in the direction that it ends in: a stroke stays a stroke, and
        an area keeps the curves that it has.
    """
    beyond = ground.beyond(paint.area)
    if beyond.is_empty:
        return paint
    edge = ground.outline.boundary
    up_to_edge = edge.intersection(paint.area.buffer(REACHES, quad_segs=2))
    longer = longer_strokes(paint, edge, up_to_edge, ground.bleed) or longer_lines(paint, ground, up_to_edge)
    if longer is not None:
        curves, added = longer
        return replace(paint, area=_joined([paint.area, *added]), curves=curves)
    strip = offset(up_to_edge, 2 * REACHES, cap_style="flat").intersection(ground.outline)
    area = _joined([paint.area, strip, beyond])
    return replace(paint, area=area, curves=curves_of_area(area), stroke=None)


def _joined(parts: list[shapely.Geometry]) -> shapely.Geometry:
    return polygons_in(shapely.union_all(parts, grid_size=GRID))
