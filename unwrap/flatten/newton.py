"""Newton's method with a barrier: downhill every step, never through a flip."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.energy import Law, derivatives, energy, forces_of, parts
from unwrap.flatten.fronts import NotDefinite
from unwrap.flatten.metric import Metric, cross
from unwrap.flatten.one_core import on_one_core
from unwrap.flatten.system import System

SHIFT = 1e-10  # share of the mean stiffness put on the diagonal: holds the sheet against sliding
ARMIJO = 1e-4
ROUNDING = 1e-14  # a step this short, on a patch of area 1, moves nothing any more
FAST = 0.1  # steps whose promises fall by this or more converge quadratically
SHY = 0.9  # share of the way to the first flip that a step may go


@dataclass(eq=False)
class Problem:
    """A patch, normalised to total area 1, with everything that Newton's steps share."""

    metric: Metric
    weights: FloatArray
    masses: FloatArray
    system: System

    @classmethod
    def of(cls, metric: Metric, places: FloatArray) -> Problem:
        """Set up for a patch whose vertices stand at `places` (n, d)."""
        areas = metric.areas
        thirds = np.repeat(areas / 3.0, 3)
        masses = np.bincount(metric.faces.ravel(), thirds, len(places)).astype(np.float64)
        return cls(metric, areas, masses, System(metric.faces, places))


@on_one_core
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
        Ends when the next step would promise less than this share of the energy. Near
        the end Newton's steps promise ever smaller shares of each other, so that the next
        one's promise can be told from the last two.
    done : callable, optional
        Ends early when it is true of the points.

    Returns
    -------
    points : (n, 2) float64
    steps : int
        Steps taken.
    """
    metric, weights, system = problem.metric, problem.weights, problem.system
    forces = forces_of(law, weights)
    before = energy(metric, weights, law, points)
    last = before
    for step in range(steps):
        if done is not None and done(points):
            return points, step
        slope, same, pair = derivatives(metric, forces, points)
        right = -system.gather(slope[0])
        stiff = float(same[0].sum() + same[2].sum())
        try:
            move = system.solve(same, pair, SHIFT * stiff * problem.masses, right)
        except NotDefinite:
            return points, step
        promise = float(np.vdot(right, move))
        if not np.isfinite(promise) or promise <= 0.0:
            return points, step
        size = min(1.0, SHY * first_flip(metric, points, move))
        for _ in range(40):
            there = points + size * move
            after = energy(metric, weights, law, there)
            if after <= before - ARMIJO * size * promise:
                break
            size *= 0.5
        else:
            return points, step
        moved = float(np.abs(there - points).max())
        points, before = there, after
        if moved <= ROUNDING or (size == 1.0 and _next(promise, last) <= tolerance * before):
            return points, step + 1
        last = promise
    return points, steps


def _next(promise: float, last: float) -> float:
    """What the next step will promise, from the last two."""
    return promise * (promise / last) if promise <= FAST * last else promise


def first_flip(metric: Metric, points: FloatArray, move: FloatArray) -> float:
    """Largest step along `move` before the first face loses its area; inf if none does."""
    least = np.inf
    for part in parts(len(metric.base)):
        f = metric.faces[part]
        p0, d0 = points[f[:, 0]], move[f[:, 0]]
        p1, p2 = points[f[:, 1]] - p0, points[f[:, 2]] - p0
        d1, d2 = move[f[:, 1]] - d0, move[f[:, 2]] - d0
        c = cross(p1, p2)
        b = cross(p1, d2) + cross(d1, p2)
        a = cross(d1, d2)
        inside = b * b - 4.0 * a * c
        # The root that does not cancel: t = 2 c / (-b + root) is the first crossing from c > 0.
        lower = np.sqrt(np.maximum(inside, 0.0)) - b
        times = np.full(len(f), np.inf)
        np.divide(2.0 * c, lower, out=times, where=(inside >= 0.0) & (lower > 0.0))
        least = min(least, float(times.min()))
    return least
