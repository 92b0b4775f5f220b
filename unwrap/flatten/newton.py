"""Newton's method with a barrier: downhill every step, never through a flip."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from unwrap.flatten.energy import Law, energy, gradient
from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.flatten.metric import Metric
from unwrap.flatten.solve import Pattern, solve

SHIFT = 1e-8  # share of each vertex's area put on the diagonal: holds the sheet against sliding
ARMIJO = 1e-4
SHY = 0.9  # share of the way to the first flip that a step may go


@dataclass(eq=False)
class Problem:
    """A patch, normalised to total area 1, with everything that Newton's steps share."""

    metric: Metric
    count: int
    gradients: FloatArray
    weights: FloatArray
    masses: FloatArray
    pattern: Pattern

    @classmethod
    def of(cls, metric: Metric, count: int) -> Problem:
        """Set up for `count` points."""
        areas = metric.areas
        masses: FloatArray = np.bincount(metric.faces.ravel(), np.repeat(areas / 3.0, 3), minlength=count)
        return cls(metric, count, metric.gradients(), areas, masses, Pattern(metric.faces, count))


def minimise(
    problem: Problem,
    law: Law,
    points: FloatArray,
    *,
    steps: int = 100,
    tolerance: float = 1e-9,
    done: Callable[[FloatArray], bool] | None = None,
) -> tuple[FloatArray, int]:
    """Lower the energy from a flip-free start.

    Parameters
    ----------
    points : (n, 2) float64
        Start without a flipped face.
    steps : int
        At most this many Newton steps.
    tolerance : float
        Ends when a step promises less than this share of the energy.
    done : callable, optional
        Ends early when it is true of the points.

    Returns
    -------
    points : (n, 2) float64
    steps : int
        Steps taken.
    """
    metric, weights = problem.metric, problem.weights
    before = energy(metric, weights, law, points)
    shift = np.repeat(problem.masses, 2)
    for step in range(steps):
        if done is not None and done(points):
            return points, step
        slope, blocks = gradient(metric, problem.gradients, weights, law, points)
        right = np.zeros(2 * problem.count)
        corner = metric.faces.ravel()
        right[0::2] = -np.bincount(corner, slope[:, :, 0].ravel(), minlength=problem.count)
        right[1::2] = -np.bincount(corner, slope[:, :, 1].ravel(), minlength=problem.count)
        scale = float(np.abs(np.trace(blocks, axis1=1, axis2=2)).mean() / weights.mean()) * 1e-2
        move = solve(problem.pattern.add_up(blocks, SHIFT * scale * shift), right)
        promise = float(right @ move)
        if not np.isfinite(promise) or promise <= 0.0:
            return points, step
        direction = move.reshape(-1, 2)
        size = min(1.0, SHY * first_flip(metric, points, direction))
        for _ in range(40):
            there = points + size * direction
            after = energy(metric, weights, law, there)
            if after <= before - ARMIJO * size * promise:
                break
            size *= 0.5
        else:
            return points, step
        points, before = there, after
        if size == 1.0 and promise <= tolerance * before + 1e-24:
            return points, step + 1
    return points, steps


def first_flip(metric: Metric, points: FloatArray, move: FloatArray) -> float:
    """Largest step along `move` before the first face loses its area; inf if none does."""
    f: IntArray = metric.faces
    p1, p2 = points[f[:, 1]] - points[f[:, 0]], points[f[:, 2]] - points[f[:, 0]]
    d1, d2 = move[f[:, 1]] - move[f[:, 0]], move[f[:, 2]] - move[f[:, 0]]
    c = _cross(p1, p2)
    b = _cross(p1, d2) + _cross(d1, p2)
    a = _cross(d1, d2)
    inside = b * b - 4.0 * a * c
    root = np.sqrt(np.maximum(inside, 0.0))
    # The root that does not cancel: t = 2 c / (-b + root) is the first crossing from c > 0.
    lower = -b + root
    hit = (inside >= 0.0) & (lower > 0.0)
    times = np.full(len(f), np.inf)
    np.divide(2.0 * c, lower, out=times, where=hit)
    return float(times.min())


def _cross(p: FloatArray, q: FloatArray) -> FloatArray:
    return p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
