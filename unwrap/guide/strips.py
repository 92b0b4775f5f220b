"""How many strips of bought lining a printed line stands for."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Curve, Paint

# Common practice, no source: a strip of lining film can be coaxed round a gentle bend;
# round a tighter one a modeller lays a corner piece, and at a sharp corner the next strip
# begins. A bend of less than 30 degrees in all is coaxed.
TIGHT_RADIUS = 25.0
LEAST_BEND = np.radians(30.0)

# Bends are looked for at even steps, so that the answer does not hang on how finely a
# curve was sampled; a corner then shows as a bend no longer than three steps.
STEP = 0.5
CORNER_STEPS = 3


def line_length(paint: Paint) -> tuple[float, float]:
    """Length and width of a line, mm.

    A stroked line is as long as its centre line. For a line drawn as an area, length L
    and width w follow from its ground and rim: A = L w, and the rim is 2 L for a
    closed line (two rims) or 2 (L + w) for an open one.
    """
    if paint.stroke is not None:
        return float(sum(_polyline_length(_sample(curve)) for curve in paint.curves)), paint.stroke
    length = width = area = 0.0
    for part in shapely.get_parts(paint.area):
        rim, ground = part.length, part.area
        if part.interiors:
            part_length = rim / 2.0
        else:
            half = rim / 4.0
            part_length = half + np.sqrt(max(half * half - ground, 0.0))
        length += part_length
        area += ground
    width = area / length if length > 0 else 0.0
    return float(length), float(width)


def count_strips(paint: Paint) -> int:
    """Straight strips and corner pieces that a modeller would have laid by hand."""
    if paint.stroke is not None:
        return sum(_runs(_sample(curve), curve.closed) for curve in paint.curves)
    total = 0
    for part in shapely.get_parts(paint.area):
        rims = [_runs(np.asarray(rim.coords)[:, :2], closed=True) for rim in (part.exterior, *part.interiors)]
        # A closed line shows each corner on two rims, and a piece's edge may trim one of
        # them. The rim of an open strip passes each run twice, and both cut ends once.
        total += max(rims) if part.interiors else max(1, (rims[0] - 1) // 2)
    return total


def _runs(points: FloatArray, closed: bool) -> int:
    """Straight runs and tight bends of a polyline (a closed one repeats its first point)."""
    steps = np.diff(_even(points, closed), axis=0)
    heading = np.arctan2(steps[:, 1], steps[:, 0])
    turn = np.diff(np.append(heading, heading[0]) if closed else heading)
    turn = (turn + np.pi) % (2.0 * np.pi) - np.pi
    tight = np.abs(turn) > np.linalg.norm(steps, axis=1).mean() / TIGHT_RADIUS
    if len(turn) and tight.all():
        return 1
    if closed:
        start = int(np.argmin(tight))
        turn, tight = np.roll(turn, -start), np.roll(tight, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], tight, [False]]).astype(int)))
    corners = corner_pieces = 0
    for first, last in edges.reshape(-1, 2):
        bend = abs(turn[first:last].sum())
        if bend > LEAST_BEND and last - first > CORNER_STEPS:
            corners += 1
            corner_pieces += 1
        elif bend > LEAST_BEND:
            # The end of a narrow strip is two corners in one step.
            corners += max(1, round(bend / (0.5 * np.pi)))
    straight = max(corners, 1) if closed else corners + 1
    return straight + corner_pieces


def _even(points: FloatArray, closed: bool) -> FloatArray:
    """The polyline at even steps of about STEP, at least a dozen of them."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    count = max(12, round(along[-1] / STEP))
    at = np.linspace(0.0, along[-1], count + 1)
    return np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)])


def _sample(curve: Curve, per_span: int = 12) -> FloatArray:
    t = np.linspace(0.0, 1.0, per_span + 1)[1:, None]
    weights = np.stack([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3], axis=0)
    points = np.einsum("ksx,nkd->nsd", weights, curve.spans).reshape(-1, 2)
    return np.vstack([curve.spans[0, :1], points])


def _polyline_length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
