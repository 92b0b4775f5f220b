"""The fewest smooth cubic spans along a run without corners.

References
----------
P. Schneider, "An algorithm for automatically fitting digitized curves", Graphics Gems,
1990: least-squares cubics with fixed end tangents and nearest parameters. Here each
span is made as long as the tolerance lets it, instead of halving what does not fit.
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray

# Samples per run: enough to hold a curve to it, few enough to be quick.
LEAST_SAMPLES, MOST_SAMPLES = 96, 1024
# Distance between samples of a long run, mm.
SPACING = 0.06
# Samples on either side that a tangent is taken from, the longest that fits.
REACHES = (48, 24, 12, 6, 3)
# How well a parabola must hold to the samples for it to give tangents and nodes, in tolerances:
# the facets of a body's arch then do not tell.
PARABOLA = 0.3
# The same for the end of a run, which stays where it is.
END_PARABOLA = 0.05
# Rounds of moving each sample to its nearest parameter.
ROUNDS = 5


def straight_span(a: FloatArray, b: FloatArray) -> FloatArray:
    """A straight span: inner points at thirds."""
    return np.array([a, a + (b - a) / 3.0, a + (b - a) * 2.0 / 3.0, b])


def at_parameters(spans: FloatArray, t: FloatArray) -> FloatArray:
    """Points (..., k, 2) of spans (..., 4, 2) at parameters (k,)."""
    return _bernstein(t).T @ spans


def _bernstein(t: FloatArray) -> FloatArray:
    """(4, k) weights of a cubic's control points at parameters (k,)."""
    s = 1.0 - t
    st = 3.0 * s * t
    return np.stack([s * s * s, st * s, st * t, t * t * t])


def fewest_spans(
    points: FloatArray, tolerance: float, first: FloatArray | None, last: FloatArray | None
) -> FloatArray:
    """Fit spans that join smoothly to a run.

    Parameters
    ----------
    points : (n, 2) float64
        The run, mm.
    tolerance : float
        Largest distance of its samples from the curve, mm.
    first, last : (2,) float64 or None
        Unit tangents at its ends, both forwards, where they are known.

    Returns
    -------
    (k, 4, 2) float64
    """
    samples = _even(points)
    nodes, tangents = _smoothed(samples, tolerance)
    tangents[0] = _end_tangent(samples, tolerance) if first is None else first
    tangents[-1] = -_end_tangent(samples[::-1], tolerance) if last is None else last
    end = len(samples) - 1
    spans, at = [], 0
    while at < end:
        reach, span = _longest(samples, nodes, tangents, at, end, tolerance)
        spans.append(span)
        at = reach
    return np.array(spans)


def _longest(
    samples: FloatArray, nodes: FloatArray, tangents: FloatArray, start: int, end: int, tolerance: float
) -> tuple[int, FloatArray]:
    """The furthest sample that one span from `start` reaches, and that span."""
    reach, best = start + 1, straight_span(nodes[start], nodes[start + 1])
    attempt, refused = end, end + 1
    while attempt > reach:
        run = samples[start : attempt + 1]
        ends = nodes[start], nodes[attempt]
        span = _fit(run, ends, (tangents[start], tangents[attempt]), tolerance)
        if span is not None:
            reach, best = attempt, span
        else:
            refused = attempt
        attempt = (reach + refused) // 2
    return reach, best


def _even(points: FloatArray) -> FloatArray:
    """The run at even steps."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    count = int(np.clip(along[-1] / SPACING, LEAST_SAMPLES, MOST_SAMPLES))
    at = np.linspace(0.0, along[-1], count + 1)
    return np.column_stack([np.interp(at, along, points[:, 0]), np.interp(at, along, points[:, 1])])


def _smoothed(samples: FloatArray, tolerance: float) -> tuple[FloatArray, FloatArray]:
    """Where a node may stand for each sample, and unit tangents there.

    Both are those of parabolas round each sample (Savitzky and Golay, 1964). Each parabola
    is as long as it holds to the samples, so that sharp bends are not cut and the short
    straights of a carried line are not followed.
    """
    place, way = samples.copy(), np.gradient(samples, axis=0)
    todo = np.ones(len(samples), dtype=bool)
    for reach in REACHES:
        if 2 * reach + 1 > len(samples):
            continue
        x = np.arange(-reach, reach + 1)
        basis = np.stack([np.ones(len(x)), x, x * x], axis=1)
        windows = np.lib.stride_tricks.sliding_window_view(samples, len(x), axis=0)
        found = windows @ np.linalg.pinv(basis).T
        off = np.abs(found @ basis.T - windows).max(axis=(1, 2))
        middle = slice(reach, len(samples) - reach)
        good = todo[middle] & (off <= PARABOLA * tolerance)
        way[middle][good] = found[good, :, 1]
        place[middle][good] = found[good, :, 0]
        todo[middle] &= ~good
    return place, way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)


def _end_tangent(samples: FloatArray, tolerance: float) -> FloatArray:
    """Unit tangent at the first sample, from the longest stretch that is a parabola.

    Carried lines have a short straight for every face that they cross: the first of them
    says less of the line's direction than a parabola through many.
    """
    best = samples[1] - samples[0]
    count = 5
    while count <= max(len(samples) // 2, 5):
        x = np.arange(count) / count
        basis = np.stack([np.ones(count), x, x * x], axis=1)
        found = np.linalg.lstsq(basis, samples[:count], rcond=None)[0]
        if np.abs(basis @ found - samples[:count]).max() > END_PARABOLA * tolerance:
            break
        best = found[1]
        count = int(np.ceil(count * 1.4))
    return best / max(float(np.linalg.norm(best)), 1e-12)


Pair = tuple[FloatArray, FloatArray]


def _fit(points: FloatArray, ends: Pair, tangents: Pair, tolerance: float) -> FloatArray | None:
    """One span along the samples, or None where it would miss one by more than the tolerance."""
    t = np.linspace(0.0, 1.0, len(points))
    for _ in range(ROUNDS):
        basis = _bernstein(t)
        span = _least_squares(points, basis, ends, tangents)
        off = basis.T @ span - points
        worst = float(np.sqrt(np.einsum("kj,kj->k", off, off).max()))
        if worst <= tolerance:
            return span
        if worst > 30 * tolerance:
            return None
        t = _nearer(span, off, t)
    return None


def _least_squares(points: FloatArray, basis: FloatArray, ends: Pair, tangents: Pair) -> FloatArray:
    """The cubic between two ends along fixed tangents there that misses least."""
    (start, end), (first, last) = ends, tangents
    b0, b1, b2, b3 = basis
    # What is left of the points' moments once both ends are taken off.
    inner = basis[1:3]
    left = inner @ points - np.outer(inner @ (b0 + b1), start) - np.outer(inner @ (b2 + b3), end)
    c00, c11 = b1 @ b1, b2 @ b2
    c01 = -(b1 @ b2) * float(first @ last)
    x0, x1 = float(left[0] @ first), -float(left[1] @ last)
    determinant = c00 * c11 - c01 * c01
    chord = float(np.hypot(*(end - start)))
    if abs(determinant) > 1e-12:
        a = (x0 * c11 - x1 * c01) / determinant
        b = (c00 * x1 - c01 * x0) / determinant
    else:
        a = b = 0.0
    if a < 1e-3 * chord or b < 1e-3 * chord:
        a = b = chord / 3.0
    return np.array([start, start + a * first, end - b * last, end])


def _nearer(span: FloatArray, off: FloatArray, t: FloatArray) -> FloatArray:
    """One Newton step towards the nearest parameters; `off` leads from the samples to the span."""
    d1 = 3.0 * (span[1:] - span[:-1])
    d2 = 2.0 * (d1[1:] - d1[:-1])
    s = 1.0 - t
    v = np.stack([s * s, 2.0 * s * t, t * t]).T @ d1
    w = np.stack([s, t]).T @ d2
    slope = np.einsum("kj,kj->k", v, v) + np.einsum("kj,kj->k", off, w)
    step = np.divide(np.einsum("kj,kj->k", off, v), slope, out=np.zeros_like(t), where=np.abs(slope) > 1e-12)
    out = np.minimum(np.maximum(t - step, 0.0), 1.0)
    out[0], out[-1] = 0.0, 1.0
    return np.maximum.accumulate(out)
