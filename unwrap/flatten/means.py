"""Values over a patch in weighted means of their neighbours: the scalar systems of a first shape."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.metric import Metric
from unwrap.flatten.one_core import on_one_core
from unwrap.flatten.system import System

# Kept between these: an even triangle's weight is about 0.58, and heavy ones would tie needles to each other.
LEAST, MOST = 0.05, 5.0


def edge_weights(metric: Metric, system: System) -> FloatArray:
    """(e,) half the cotangents of the angles that face each edge, kept positive."""
    base, foot, height = metric.base, metric.foot, metric.height
    facing = np.stack(
        [(foot * (foot - base) + height**2) / (base * height), foot / height, (base - foot) / height]
    )
    total = np.bincount(system.edge.ravel(), 0.5 * facing.ravel(), minlength=len(system.edges))
    return np.clip(total, LEAST, MOST)


class Means:
    """Solves sum over edges of weight * (x_i - x_j) = right_i, some of the values being held.

    Parameters
    ----------
    system : System
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self._fronts = system.pattern(1)
        every = np.arange(system.count)
        self._own = self._fronts.slots(every, every).ravel()
        self._pair = self._fronts.slots(system.edges[:, 0], system.edges[:, 1]).ravel()

    @on_one_core
    def solve(
        self,
        weights: FloatArray,
        held: np.ndarray,
        values: FloatArray,
        *,
        extra: FloatArray | float = 0.0,
        right: FloatArray | float = 0.0,
    ) -> FloatArray:
        """Values of all vertices.

        Parameters
        ----------
        weights : (e,) float64
            Per edge, > 0.
        held : (n,) bool
            Vertices whose value is given; at least one unless `extra` is.
        values : (n, c) float64
            The values of those held; elsewhere 0.
        extra : (n,) float64
            On the diagonal, >= 0.
        right : (n, c) float64
            Right side.

        Returns
        -------
        (n, c) float64
        """
        one, two = self.system.edges.T
        count = self.system.count
        own = np.bincount(one, weights, count) + np.bincount(two, weights, count) + extra
        total = right + np.zeros_like(values)
        for near, far in ((one, two), (two, one)):
            at_held = np.flatnonzero(held[far] & ~held[near])
            pull = weights[at_held, None] * values[far[at_held]]
            for c in range(values.shape[1]):
                total[:, c] += np.bincount(near[at_held], pull[:, c], count)
        own[held] = 1.0
        total[held] = values[held]
        numbers = self._fronts.numbers
        numbers.fill(0.0)
        numbers[self._own] = own
        numbers[self._pair] = np.where(held[one] | held[two], 0.0, -weights)
        return self._fronts.solve(total[:, None, :])[:, 0]
