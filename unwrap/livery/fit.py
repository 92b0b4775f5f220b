"""Few smooth curves instead of many short lines: corners kept, straights straight, circles round.

References
----------
P. Schneider, "An algorithm for automatically fitting digitized curves", Graphics Gems,
1990: least-squares cubics with fixed end tangents, split where the error is largest.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray
from unwrap.livery.paint import Curve, Paint
from unwrap.livery.planar import polygons_of

# How far a fitted curve may be from the carried line, mm.
TOLERANCE = 0.015
# A turn sharper than this at one vertex is a corner, radians.
CORNER = np.radians(20.0)
# Rounding that is taken off before corners are looked for, mm.
ROUNDING = 2e-4
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
    inner = _bezier(curve.spans, t).reshape(-1, 2)
    return np.vstack([inner, curve.spans[-1, 3]])


def printed_area(paint: Paint, per_span: int = 16) -> shapely.Geometry:
    """The ground that a paint covers as its fitted curves have it, even-odd, or as its stroke."""
    if paint.stroke is not None:
        lines = [shapely.LineString(curve_points(curve, per_span)) for curve in paint.curves]
        return shapely.union_all(
            [line.buffer(0.5 * paint.stroke, cap_style="flat", join_style="mitre") for line in lines]
        )
    area: shapely.Geometry = shapely.MultiPolygon()
    for curve in paint.curves:
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(curve_points(curve, per_span))))
    return polygons_of(area)


def _bezier(spans: FloatArray, t: FloatArray) -> FloatArray:
    s = 1.0 - t
    basis = np.stack([s**3, 3 * s * s * t, 3 * s * t * t, t**3], axis=-1)
    return np.einsum("...kc,...cj->...kj", np.broadcast_to(basis, (*spans.shape[:-2], *basis.shape)), spans)


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
    turn = 1.0 if _signed_area(points) > 0 else -1.0
    spans = []
    for quarter in range(4):
        a = np.array([np.cos(quarter * np.pi / 2), turn * np.sin(quarter * np.pi / 2)])
        b = np.array([np.cos((quarter + 1) * np.pi / 2), turn * np.sin((quarter + 1) * np.pi / 2)])
        spans.append(centre + radius * np.array([a, a + QUARTER * b, b + QUARTER * a, b]))
    return np.array(spans)


def _signed_area(points: FloatArray) -> float:
    x, y = points.T
    return 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def _fit_smooth_loop(points: FloatArray, tolerance: float) -> FloatArray:
    """A closed line without corners: start at the middle of its longest side, tangent there."""
    way = np.roll(points, -1, axis=0) - points
    longest = int(np.argmax(np.linalg.norm(way, axis=1)))
    start = points[longest] + 0.5 * way[longest]
    line = np.vstack([start, np.roll(points, -longest - 1, axis=0), start])
    tangent = way[longest] / np.linalg.norm(way[longest])
    return _fit_run(line, tolerance, tangent, tangent)


def _fit_run(
    points: FloatArray, tolerance: float, first: FloatArray | None = None, last: FloatArray | None = None
) -> FloatArray:
    """Spans along a run without corners: straights stay straight, curves join them smoothly."""
    if _off_chord(points) < 0.25 * tolerance:
        return _straight(points[0], points[-1])[None]
    plain = np.asarray(shapely.LineString(points).simplify(0.25 * tolerance).coords)
    step = np.diff(plain, axis=0)
    length = np.linalg.norm(step, axis=1)
    turn = _turns(plain, False)
    # An arc whose chord this were would bulge by length * turn / 8: more than the
    # tolerance means that the line is straight on purpose.
    bulge = length * 0.5 * (turn[:-1] + turn[1:]) / 8.0
    straight = np.flatnonzero(bulge > tolerance)
    at = _positions(points, plain)
    spans: list[FloatArray] = []
    begin, tangent = 0, first
    for i in straight.tolist():
        way = step[i] / length[i]
        if at[i] > begin:
            spans.append(_fit_curved(points[begin : at[i] + 1], tolerance, tangent, way))
        spans.append(_straight(plain[i], plain[i + 1])[None])
        begin, tangent = at[i + 1], way
    if begin < len(points) - 1:
        spans.append(_fit_curved(points[begin:], tolerance, tangent, last))
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


def _straight(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.array([a, a + (b - a) / 3.0, a + (b - a) * 2.0 / 3.0, b])


def _off_chord(points: FloatArray) -> float:
    """Largest distance of a run from its chord; its length where the ends meet."""
    chord = points[-1] - points[0]
    size = np.linalg.norm(chord)
    away = points - points[0]
    if size < 1e-12:
        return float(np.linalg.norm(away, axis=1).max())
    return float(np.abs(away[:, 0] * chord[1] - away[:, 1] * chord[0]).max() / size)


def _fit_curved(
    points: FloatArray, tolerance: float, first: FloatArray | None, last: FloatArray | None
) -> FloatArray:
    """Schneider's recursion on a line sampled closely enough to hold the curve to it."""
    dense = _resampled(points)
    first = _end_tangent(dense) if first is None else first
    last = -_end_tangent(dense[::-1]) if last is None else last
    return np.array(_fit_recursive(dense, first, last, tolerance))


def _resampled(points: FloatArray) -> FloatArray:
    """The run with at least 32 samples, its own vertices among them."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    spacing = max(step.sum() / 32.0, 1e-6)
    out = [points[:1]]
    for a, b, size in zip(points[:-1], points[1:], step, strict=True):
        n = max(int(np.ceil(size / spacing)), 1)
        share = np.arange(1, n + 1)[:, None] / n
        out.append(a + share * (b - a))
    return np.concatenate(out)


def _end_tangent(points: FloatArray) -> FloatArray:
    """Direction at the first point: a parabola through the first samples, extrapolated to it."""
    near = points[: min(len(points), 7)]
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(near, axis=0), axis=1))])
    degree = 2 if len(near) > 3 else 1
    slope = np.polynomial.polynomial.polyfit(s / s[-1], near - near[0], degree)[1]
    size = np.linalg.norm(slope)
    return (
        slope / size
        if size > 1e-12
        else (near[-1] - near[0]) / max(np.linalg.norm(near[-1] - near[0]), 1e-12)
    )


def _fit_recursive(
    points: FloatArray, first: FloatArray, last: FloatArray, tolerance: float, level: int = 0
) -> list[FloatArray]:
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if len(points) < 3 or level > 24:
        return [_straight(points[0], points[-1])]
    t = np.concatenate([[0.0], np.cumsum(step)])
    t /= t[-1]
    for _ in range(6):
        span = _least_squares(points, t, first, last)
        miss = np.linalg.norm(_bezier(span, t) - points, axis=1)
        worst = float(miss.max())
        if worst <= tolerance:
            return [span]
        if worst > 16 * tolerance:
            break
        t = _nearer(span, points, t)
    split = int(np.clip(np.argmax(miss), 2, len(points) - 3)) if len(points) > 5 else len(points) // 2
    tangent = _centre_tangent(points, split)
    return _fit_recursive(points[: split + 1], first, tangent, tolerance, level + 1) + _fit_recursive(
        points[split:], tangent, last, tolerance, level + 1
    )


def _centre_tangent(points: FloatArray, i: int) -> FloatArray:
    reach = max(min(3, i, len(points) - 1 - i), 1)
    way = points[i + reach] - points[i - reach]
    return way / max(np.linalg.norm(way), 1e-12)


def _least_squares(points: FloatArray, t: FloatArray, first: FloatArray, last: FloatArray) -> FloatArray:
    """The cubic from the first to the last point along fixed end tangents that misses least."""
    s = 1.0 - t
    b0, b1, b2, b3 = s**3, 3 * s * s * t, 3 * s * t * t, t**3
    rest = points - np.outer(b0 + b1, points[0]) - np.outer(b2 + b3, points[-1])
    c00, c11 = (b1 * b1).sum(), (b2 * b2).sum()
    c01 = -(b1 * b2).sum() * float(first @ last)
    x0 = float((b1 @ rest) @ first)
    x1 = -float((b2 @ rest) @ last)
    determinant = c00 * c11 - c01 * c01
    chord = float(np.linalg.norm(points[-1] - points[0]))
    if abs(determinant) > 1e-12:
        a = (x0 * c11 - x1 * c01) / determinant
        b = (c00 * x1 - c01 * x0) / determinant
    else:
        a = b = 0.0
    if a < 1e-3 * chord or b < 1e-3 * chord:
        a = b = chord / 3.0
    return np.array([points[0], points[0] + a * first, points[-1] - b * last, points[-1]])


def _nearer(span: FloatArray, points: FloatArray, t: FloatArray) -> FloatArray:
    """One Newton step towards the nearest parameters."""
    d1 = 3.0 * np.diff(span, axis=0)
    d2 = 2.0 * np.diff(d1, axis=0)
    s = 1.0 - t
    at = _bezier(span, t) - points
    v = np.outer(s * s, d1[0]) + np.outer(2 * s * t, d1[1]) + np.outer(t * t, d1[2])
    w = np.outer(s, d2[0]) + np.outer(t, d2[1])
    slope = (v * v).sum(axis=1) + (at * w).sum(axis=1)
    step = np.divide((at * v).sum(axis=1), slope, out=np.zeros_like(t), where=np.abs(slope) > 1e-12)
    out = np.clip(t - step, 0.0, 1.0)
    out[0], out[-1] = 0.0, 1.0
    return np.maximum.accumulate(out)
