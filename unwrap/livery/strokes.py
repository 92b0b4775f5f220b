"""Closed lines of constant width as strokes, which a person can still edit on the sheet."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.livery.fit import TOLERANCE, fit_curve
from unwrap.livery.paint import Curve
from unwrap.livery.planar import grow

# How far a stroke's rims may be from the line's own, mm.
STROKE_TOLERANCE = 0.01
# A stroke's mitres are drawn up to this length over the width (the default of SVG).
MITRE_LIMIT = 4.0


def as_strokes(area: shapely.Geometry, width: float) -> tuple[tuple[Curve, ...], float] | None:
    """Centre lines and width on the sheet of a line that is closed and equally wide all along.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The line's ground on the sheet, mm.
    width : float
        About how wide it is, mm.

    Returns
    -------
    curves : tuple of Curve
    width : float
        On the sheet, mm.

    None where a part is open (it then ends on the piece's edge), widens or narrows.
    """
    rings = []
    for polygon in shapely.get_parts(area):
        if len(polygon.interiors) != 1:
            return None
        centre = grow(shapely.Polygon(polygon.exterior), -0.5 * width)
        if centre.geom_type != "Polygon" or centre.is_empty or len(centre.interiors):
            return None
        rings.append(centre.exterior)
    length = sum(ring.length for ring in rings)
    if not length:
        return None
    on_sheet = float(area.area / length)
    with np.errstate(divide="ignore", invalid="ignore"):
        strokes = [ring.buffer(0.5 * on_sheet, join_style="mitre", mitre_limit=MITRE_LIMIT) for ring in rings]
    drawn = shapely.union_all(strokes)
    if not (grow(drawn, STROKE_TOLERANCE).covers(area) and grow(area, STROKE_TOLERANCE).covers(drawn)):
        return None
    curves = tuple(fit_curve(np.asarray(ring.coords)[:-1], True, 0.5 * TOLERANCE) for ring in rings)
    return curves, on_sheet
