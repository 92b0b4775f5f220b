"""Breaks in lines: dashes, and gaps where rivets and the like stay clear."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.errors import BadInput
from unwrap.livery.carry import nearest_on
from unwrap.livery.chart import lay_chart
from unwrap.livery.ground import Ground
from unwrap.livery.outlines import cut_dashes
from unwrap.livery.planar import polygons_of

# A place further than this from the region (mm) is taken for a slip.
NEAR = 5.0
# Bends of a dash smaller than this are taken off, mm.
CRUMBS = 4e-3


def keep_clear(
    ground: Ground, places: Sequence[tuple[Sequence[float], float]], where: str
) -> list[shapely.Geometry]:
    """Round gaps about places, on each piece.

    Parameters
    ----------
    ground : Ground
    places : sequence of ((x, y, z), diameter)
        mm, the diameter over the surface.
    where : str
        What they are kept clear of, for messages.

    Raises
    ------
    BadInput
        If a place is off the region or a diameter is not above 0.
    """
    gaps: list[list[shapely.Geometry]] = [[] for _ in ground.carries]
    for place, diameter in places:
        if not diameter > 0:
            raise BadInput(f"{where}: a gap to keep clear is {diameter!r} mm wide; give a width above 0")
        face, weights, off = nearest_on(ground.corners, np.asarray(place, dtype=float).reshape(1, 3))
        if off[0] > NEAR:
            raise BadInput(
                f"{where}: the place {tuple(place)} to keep clear is {off[0]:.1f} mm off the region"
            )
        along = ground.corners[face[0], 1] - ground.corners[face[0], 0]
        chart = lay_chart(ground, int(face[0]), weights[0], 0.5 * diameter + 0.1, along)
        disc = shapely.Point(0, 0).buffer(0.5 * diameter, quad_segs=16)
        for i, carry in enumerate(ground.carries):
            area = carry.area_to_flat(disc, chart[ground.owner == i])
            if not area.is_empty:
                gaps[i].append(area)
    return [shapely.union_all(parts) if parts else shapely.MultiPolygon() for parts in gaps]


def dashes_across(
    area: shapely.Geometry, middle: shapely.Geometry, width: float, dashes: Sequence[float]
) -> shapely.Geometry:
    """The ground that dashes leave of a line set: its lines break side by side, square to the set.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The whole set, gaps between its lines included, on its piece, mm.
    middle : Polygon or MultiPolygon
        The panel inside the set's middle: its rim within the area is what dashes are measured along.
    width : float
        The set's width, mm.
    dashes : sequence of float
        Lengths of dashes and gaps in turn, mm.
    """
    rims = shapely.intersection(shapely.boundary(middle), area.buffer(-0.25 * width))
    lines = [part for part in shapely.get_parts(shapely.line_merge(rims)) if part.length > 0]
    pattern = list(dashes) * (1 + len(dashes) % 2)
    keep = []
    for line in lines:
        for points in cut_dashes(np.asarray(line.coords), _whole_periods(pattern, line), 0.0):
            # Without the crumbs of the rim, which would turn a dash's end askew.
            dash = shapely.simplify(shapely.LineString(points), CRUMBS)
            keep.append(dash.buffer(width, cap_style="flat", join_style="mitre"))
    return polygons_of(shapely.intersection(area, shapely.union_all(keep)))


def _whole_periods(pattern: Sequence[float], line: shapely.LineString) -> list[float]:
    """The pattern stretched a little, so that a closed line holds it a whole number of times."""
    if not line.is_closed:
        return list(pattern)
    times = max(round(line.length / sum(pattern)), 1)
    return [length * line.length / (times * sum(pattern)) for length in pattern]
