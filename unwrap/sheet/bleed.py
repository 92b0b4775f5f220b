"""Bleed: paint that reaches the outline runs on beyond it, so that the cut shows no bare edge."""

from __future__ import annotations

from dataclasses import replace

import shapely

from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Paint

# Paint that stops this near to the outline, mm, was meant to reach it.
REACHES = 0.02


def carry_over(paint: Paint, outline: shapely.Polygon, bleed: float) -> Paint:
    """Carry a paint beyond the outline wherever it reaches it.

    Parameters
    ----------
    paint : Paint
        A paint inside the outline.
    outline : shapely Polygon
        Where the piece is cut, mm.
    bleed : float
        How far to carry it, mm; 0 leaves it as it is.

    Returns
    -------
    Paint
        The same one where it stays clear of the outline.
    """
    runs = outline.boundary.intersection(paint.area.buffer(REACHES, quad_segs=2))
    if bleed <= 0 or runs.length <= 2 * REACHES:
        return paint
    beyond = runs.buffer(bleed, cap_style="flat", join_style="mitre", mitre_limit=2.0).difference(outline)
    up_to_edge = runs.buffer(2 * REACHES, cap_style="flat", join_style="mitre").intersection(outline)
    area = shapely.union_all([paint.area, up_to_edge, beyond])
    return replace(paint, area=area, curves=curves_of_area(area), stroke=None)
