"""Shapes as curves, and curves as the path data that SVG takes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Curve

# A span whose inner points lie this near to its chord's thirds is a straight line, mm.
STRAIGHT = 1e-6


def straight_curve(points: FloatArray, closed: bool) -> Curve:
    """A polyline as straight cubic spans.

    Parameters
    ----------
    points : (n, 2) float64
        Corners, mm; for a closed curve the first one may be repeated at the end.
    closed : bool
        Whether to close it.

    Returns
    -------
    Curve
    """
    points = np.asarray(points, dtype=float)
    if closed and not np.array_equal(points[0], points[-1]):
        points = np.vstack([points, points[:1]])
    first, last = points[:-1], points[1:]
    step = (last - first) / 3.0
    return Curve(np.stack([first, first + step, last - step, last], axis=1), closed)


def ring_curves(area: shapely.Geometry, tolerance: float = 0.005) -> tuple[Curve, ...]:
    """The rings of an area thinned to `tolerance`, mm, but not fitted: for shapes that nobody edits."""
    polygons = [part for part in shapely.get_parts(area.simplify(tolerance)) if not part.is_empty]
    rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
    return tuple(straight_curve(np.asarray(ring.coords), closed=True) for ring in rings)


def is_straight(spans: FloatArray) -> np.ndarray:
    """(n,) True where a cubic span is a straight line, its inner points at thirds."""
    step = (spans[:, 3] - spans[:, 0]) / 3.0
    off = np.abs(np.stack([spans[:, 1] - spans[:, 0] - step, spans[:, 2] - spans[:, 0] - 2 * step]))
    return off.max(axis=(0, 2)) <= STRAIGHT


def path_data(curves: Sequence[Curve], matrix: FloatArray, digits: int = 4) -> str:
    """SVG path data for some curves.

    Parameters
    ----------
    curves : sequence of Curve
        What to draw; closed ones end in `Z`.
    matrix : (2, 3) float64
        Affine matrix to the drawing's own frame.
    digits : int
        Decimals of a millimetre: 4 keep the rounding below a thousandth of a dot.

    Returns
    -------
    str
    """
    words: list[str] = []
    for curve in curves:
        spans = curve.moved(matrix).spans
        straight = is_straight(curve.spans)
        words.append("M" + _pair(spans[0, 0], digits))
        for k, span in enumerate(spans):
            last = curve.closed and k == len(spans) - 1
            if straight[k]:
                if not last:
                    words.append("L" + _pair(span[3], digits))
            else:
                words.append("C" + " ".join(_pair(point, digits) for point in span[1:]))
        if curve.closed:
            words.append("Z")
    return "".join(words)


def _pair(point: FloatArray, digits: int) -> str:
    # Adding zero turns a rounded -0.0 into 0.0.
    return ",".join(
        f"{round(float(value), digits) + 0.0:.{digits}f}".rstrip("0").rstrip(".") for value in point
    )
