"""Lines of constant width as strokes, which a person can still edit on the sheet."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.fit import CAPS, JOINS, TOLERANCE, curves_of_area, fit_curve
from unwrap.livery.paint import Cap, Curve, Join, Paint, PaintKind
from unwrap.livery.planar import common, grow

# How far a stroke's rims may be from the line's own, mm.
STROKE_TOLERANCE = 0.01
# Nearer to the piece's edge than this (mm) they are not compared.
STROKE_ENDS = 0.05
# A stroke's mitres are drawn up to this length over the width (the default of SVG).
MITRE_LIMIT = 4.0
# What of a line's rim is this near to the piece's edge (mm) is where it was cut off.
ON_EDGE = 2e-3
# What a cap adds at each end, in squares of the width.
CAP_AREAS = {"butt": 0.0, "round": np.pi / 8, "square": 0.5}
# Rounding that is taken off a rim before it is moved, mm.
ROUNDING = 2e-4


def line_paint(
    kind: PaintKind, label: str, width: float, colour: str, area: shapely.Geometry, carry: Carry
) -> Paint:
    """A line as it is printed: a stroke where it is equally wide on the sheet, an area elsewhere."""
    stroke = as_strokes(area, width, carry.outline)
    if stroke is None:
        return Paint(kind, colour, area, curves_of_area(area), label=label, asked_width=width)
    curves, on_sheet = stroke
    return Paint(kind, colour, area, curves, stroke=on_sheet, label=label, asked_width=width)


def as_strokes(
    area: shapely.Geometry, width: float, outline: shapely.Polygon
) -> tuple[tuple[Curve, ...], float] | None:
    """Centre lines and width on the sheet of a line that is equally wide all along.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        The line's ground on the sheet, mm.
    width : float
        About how wide it is, mm.
    outline : Polygon
        The piece's; an open line ends on it.

    Returns
    -------
    curves : tuple of Curve
        Closed ones as rings; open ones from edge to edge.
    width : float
        On the sheet, mm.

    None where a part ends short of the edge (as a dash does), widens or narrows.
    """
    edge = shapely.buffer(outline.boundary, ON_EDGE)
    lines: list[tuple[FloatArray, bool]] = []
    for polygon in shapely.get_parts(area):
        line = _closed_centre(polygon, width) if len(polygon.interiors) else _open_centre(polygon, edge)
        if line is None:
            return None
        lines.append((line, len(polygon.interiors) == 1))
    centres = [shapely.LinearRing(line) if closed else shapely.LineString(line) for line, closed in lines]
    length = sum(centre.length for centre in centres)
    if not length:
        return None
    on_sheet = float(area.area / length)
    if not _same(centres, on_sheet, "square", "mitre", area, outline):
        return None
    return tuple(fit_curve(line, closed, 0.5 * TOLERANCE) for line, closed in lines), on_sheet


def drawn_strokes(
    area: shapely.Geometry, lines: shapely.Geometry, cap: Cap, join: Join, outline: shapely.Polygon
) -> tuple[tuple[Curve, ...], float] | None:
    """Centre lines and width on the sheet of a stroke that was drawn and carried to a piece.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        Its ground on the sheet, mm.
    lines : LineString or MultiLineString
        What it runs along there.
    cap, join : str
        As it was drawn.
    outline : Polygon
        The piece's.

    Returns
    -------
    As `as_strokes`; None where the stroke has come out of uneven width.
    """
    lines = shapely.get_parts(shapely.simplify(lines, ROUNDING))
    parts = [part for part in lines if part.geom_type == "LineString" and part.length > 0]
    length = sum(part.length for part in parts)
    if not length:
        return None
    # The ends that stand clear of the piece's edge have caps: the ground is L w + n k w^2.
    edge = shapely.buffer(outline.boundary, ON_EDGE)
    ends = [shapely.get_point(part, k) for part in parts if not part.is_closed for k in (0, -1)]
    rounds = (
        sum(not edge.intersects(end) for end in ends) * {"butt": 0.0, "round": np.pi / 8, "square": 0.5}[cap]
    )
    on_sheet = 2.0 * area.area / (length + float(np.sqrt(length**2 + 4.0 * rounds * area.area)))
    centres = [shapely.LinearRing(part.coords) if part.is_closed else part for part in parts]
    if not _same(centres, on_sheet, CAPS[cap], JOINS[join], area, outline):
        return None
    return tuple(_curve_along(part) for part in parts), on_sheet


def _curve_along(line: shapely.LineString) -> Curve:
    points = np.asarray(line.coords)
    return fit_curve(points[:-1] if line.is_closed else points, line.is_closed, 0.5 * TOLERANCE)


def _same(
    centres: list[shapely.Geometry],
    width: float,
    cap: str,
    join: str,
    area: shapely.Geometry,
    outline: shapely.Polygon,
) -> bool:
    """Whether strokes along centre lines cover an area, and no more."""
    with np.errstate(divide="ignore", invalid="ignore"):
        strokes = shapely.buffer(
            centres, 0.5 * width, cap_style=cap, join_style=join, mitre_limit=MITRE_LIMIT, quad_segs=16
        )
    # At the very edge a line ends as the edge does, and the blade ends the stroke.
    inner = shapely.buffer(outline, -STROKE_ENDS, join_style="mitre")
    drawn, wanted = common(shapely.union_all(strokes), inner), common(area, inner)
    return bool(grow(drawn, STROKE_TOLERANCE).covers(wanted) and grow(area, STROKE_TOLERANCE).covers(drawn))


def _closed_centre(polygon: shapely.Polygon, width: float) -> FloatArray | None:
    """The centre line of a ring."""
    centre = grow(shapely.Polygon(polygon.exterior), -0.5 * width)
    if len(polygon.interiors) != 1 or centre.geom_type != "Polygon" or centre.is_empty:
        return None
    return None if len(centre.interiors) else np.asarray(centre.exterior.coords)[:-1]


def _open_centre(polygon: shapely.Polygon, edge: shapely.Geometry) -> FloatArray | None:
    """The centre line of a strip from edge to edge: one of its rims moved half way to the other."""
    rim = shapely.geometry.polygon.orient(polygon).exterior
    rims = shapely.get_parts(shapely.line_merge(shapely.difference(rim, edge)))
    rims = rims[shapely.get_type_id(rims) == 1]
    if len(rims) != 2:
        return None
    width = 2.0 * polygon.area / float(shapely.length(rims).sum())
    first = shapely.simplify(rims[0], ROUNDING)
    with np.errstate(divide="ignore", invalid="ignore"):
        # The strip is on the left of its rim.
        centre = shapely.offset_curve(first, 0.5 * width, join_style="mitre", mitre_limit=MITRE_LIMIT)
    if centre.geom_type != "LineString" or centre.is_empty:
        return None
    points = np.asarray(centre.coords)
    ends = [_beyond(points[1], points[0], width), _beyond(points[-2], points[-1], width)]
    longer = shapely.LineString(np.vstack([ends[0], points, ends[1]]))
    inside = shapely.get_parts(shapely.intersection(longer, polygon))
    inside = inside[shapely.get_type_id(inside) == 1]
    return np.asarray(max(inside, key=lambda line: line.length).coords) if len(inside) else None


def _beyond(inner: FloatArray, end: FloatArray, length: float) -> FloatArray:
    """A point straight on from the end of a line."""
    way = end - inner
    return end + way * (length / max(float(np.linalg.norm(way)), 1e-300))
