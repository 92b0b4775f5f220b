"""Few smooth curves instead of many short lines: corners kept, straights straight, circles round."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.overlap import signed_area
from unwrap.livery.paint import Curve, Paint
from unwrap.livery.planar import polygons_of
from unwrap.livery.spans import at_parameters, fewest_spans, straight_span

# How far a fitted curve may be from the carried line, mm.
TOLERANCE = 0.014
# A turn sharper than this at one vertex is a corner, radians.
CORNER = np.radians(20.0)
# Rounding that is taken off before corners are looked for, mm.
ROUNDING = 2e-4
# How strokes end and turn corners in the planar library's words.
CAPS = {"butt": "flat", "round": "round", "square": "square"}
JOINS = {"miter": "mitre", "round": "round", "bevel": "bevel"}
# Control points of a quarter circle: 4/3 (sqrt(2) - 1).
QUARTER = 4.0 / 3.0 * (np.sqrt(2.0) - 1.0)


def curves_of_area(area: shapely.Geometry, tolerance: float = TOLERANCE) -> tuple[Curve, ...]:
    """Outlines of an area as few smooth closed curves, outer rings and holes alike."""
    curves = []
    for polygon in shapely.get_parts(area):
        for ring in (polygon.exterior, *polygon.interiors):
            if ring.length > 0:
                curves.append(fit_curve(np.asarray(ring.coords)[:-1], closed=True, tolerance=tolerance))
    return tuple(curves)


def fit_curve(points: FloatArray, closed: bool, tolerance: float = TOLERANCE) -> Curve:
    """Fit cubic spans to a polyline.

    Parameters
    ----------
    points : (n, 2) float64
        mm; a closed line does not repeat its first point.
    closed : bool
    tolerance : float
        Largest distance from the polyline to the curve, mm.

    Returns
    -------
    Curve
    """
    points = _cleaned(np.asarray(points, dtype=float), closed)
    if closed and len(points) > 2:
        circle = _circle(points, tolerance)
        if circle is not None:
            return Curve(circle, True)
        corners = np.flatnonzero(_turns(points, True) > CORNER)
        if len(corners) == 0:
            return Curve(_fit_smooth_loop(points, tolerance), True)
        points = np.roll(points, -corners[0], axis=0)
        points = np.vstack([points, points[:1]])
        breaks = np.append(corners - corners[0], len(points) - 1)
    else:
        inner = np.flatnonzero(_turns(points, False) > CORNER)
        breaks = np.concatenate([[0], inner, [len(points) - 1]])
    spans = [_fit_run(points[a : b + 1], tolerance) for a, b in pairwise(breaks)]
    return Curve(np.concatenate(spans), closed)


def curve_points(curve: Curve, per_span: int = 16) -> FloatArray:
    """Sample a curve: (n * per_span + 1, 2) points, ends included."""
    t = np.arange(per_span) / per_span
    inner = at_parameters(curve.spans, t).reshape(-1, 2)
    return np.vstack([inner, curve.spans[-1, 3]])


def printed_area(paint: Paint, per_span: int = 16, cap: str | None = None) -> shapely.Geometry:
    """The ground that a paint covers as its fitted curves have it, even-odd, or as its stroke."""
    if paint.stroke is not None:
        half = 0.5 * paint.stroke
        parts = []
        for curve in paint.curves:
            points = curve_points(curve, per_span)
            line = shapely.LinearRing(points) if curve.closed else shapely.LineString(points)
            with np.errstate(divide="ignore", invalid="ignore"):
                ends, joins = CAPS[paint.cap], JOINS[paint.join]
                parts.append(line.buffer(half, cap_style=cap or ends, join_style=joins))
        return shapely.union_all(parts)
    area: shapely.Geometry = shapely.MultiPolygon()
    for curve in paint.curves:
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(curve_points(curve, per_span))))
    return polygons_of(area)


def _cleaned(points: FloatArray, closed: bool) -> FloatArray:
    """Without repeats and without the vertices that rounding put on straight runs."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    points = points[np.concatenate([[True], step > 1e-7])]
    if closed and len(points) > 3:
        # Start where the line turns most, so that thinning keeps that vertex.
        points = np.roll(points, -int(np.argmax(_turns(points, True))), axis=0)
        ring = shapely.LineString(np.vstack([points, points[:1]])).simplify(ROUNDING)
        return np.asarray(ring.coords)[:-1]
    return np.asarray(shapely.LineString(points).simplify(ROUNDING).coords) if len(points) > 2 else points


def _turns(points: FloatArray, closed: bool) -> FloatArray:
    """Unsigned turn at each vertex, radians; 0 at open ends."""
    if closed:
        way = np.roll(points, -1, axis=0) - points
        back = np.roll(way, 1, axis=0)
    else:
        if len(points) < 3:
            return np.zeros(len(points))
        step = np.diff(points, axis=0)
        way = np.vstack([step, step[-1:]])
        back = np.vstack([step[:1], step])
    cross = back[:, 0] * way[:, 1] - back[:, 1] * way[:, 0]
    return np.abs(np.arctan2(cross, (back * way).sum(axis=1)))


def _circle(points: FloatArray, tolerance: float) -> FloatArray | None:
    """Four spans round a circle where the ring is one (least squares: Kasa, 1976), else None."""
    if len(points) < 8:
        return None
    system = np.column_stack([2 * points, np.ones(len(points))])
    (x, y, c), *_ = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)
    centre = np.array([x, y])
    radius = float(np.sqrt(max(c + x * x + y * y, 0.0)))
    middle = 0.5 * (points + np.roll(points, -1, axis=0))
    off = np.abs(np.linalg.norm(np.vstack([points, middle]) - centre, axis=1) - radius)
    if off.max() > tolerance or radius < 4 * tolerance:
        return None
    turn = 1.0 if signed_area(points) > 0 else -1.0
    spans = []
    for quarter in range(4):
        a = np.array([np.cos(quarter * np.pi / 2), turn * np.sin(quarter * np.pi / 2)])
        b = np.array([np.cos((quarter + 1) * np.pi / 2), turn * np.sin((quarter + 1) * np.pi / 2)])
        spans.append(centre + radius * np.array([a, a + QUARTER * b, b + QUARTER * a, b]))
    return np.array(spans)


def _fit_smooth_loop(points: FloatArray, tolerance: float) -> FloatArray:
    """A closed line without corners: start where its longest side ends, along it."""
    way = np.roll(points, -1, axis=0) - points
    longest = int(np.argmax(np.linalg.norm(way, axis=1)))
    line = np.roll(points, -longest - 1, axis=0)
    tangent = way[longest] / np.linalg.norm(way[longest])
    return _fit_run(np.vstack([line, line[:1]]), tolerance, tangent, tangent)


def _fit_run(
    points: FloatArray, tolerance: float, first: FloatArray | None = None, last: FloatArray | None = None
) -> FloatArray:
    """Spans along a run without corners: straights stay straight, curves join them smoothly."""
    if _off_chord(points) < 0.25 * tolerance:
        return straight_span(points[0], points[-1])[None]
    plain = np.asarray(shapely.LineString(points).simplify(0.25 * tolerance).coords)
    step = np.diff(plain, axis=0)
    length = np.linalg.norm(step, axis=1)
    turn = _turns(plain, False)
    # An arc whose chord this were would bulge by length * turn / 8: where a curve half way
    # between the two is further off than the tolerance, the line is straight on purpose.
    bulge = length * 0.5 * (turn[:-1] + turn[1:]) / 8.0
    straight = np.flatnonzero(bulge > 1.8 * tolerance)
    at = _positions(points, plain)
    spans: list[FloatArray] = []
    begin, tangent = 0, first
    for i in straight.tolist():
        way = step[i] / length[i]
        if at[i] > begin:
            spans.append(fewest_spans(points[begin : at[i] + 1], tolerance, tangent, way))
        spans.append(straight_span(plain[i], plain[i + 1])[None])
        begin, tangent = at[i + 1], way
    if begin < len(points) - 1:
        spans.append(fewest_spans(points[begin:], tolerance, tangent, last))
    return np.concatenate(spans)


def _positions(points: FloatArray, chosen: FloatArray) -> list[int]:
    """Index in `points` of each of the chosen points, which stand in the same order."""
    out, i = [], 0
    for place in chosen:
        while not np.array_equal(points[i], place):
            i += 1
        out.append(i)
        i += 1 if i < len(points) - 1 else 0
    return out


def _off_chord(points: FloatArray) -> float:
    """Largest distance of a run from its chord; its length where the ends meet."""
    chord = points[-1] - points[0]
    size = np.linalg.norm(chord)
    away = points - points[0]
    if size < 1e-12:
        return float(np.linalg.norm(away, axis=1).max())
    return float(np.abs(away[:, 0] * chord[1] - away[:, 1] * chord[0]).max() / size)
