"""The linear systems over a patch: one pattern, many numbers."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.dissect import dissect
from unwrap.flatten.elimination import Elimination
from unwrap.flatten.fronts import Fronts, NotDefinite


class System:
    """Adds up face matrices over a patch's vertices, factorises the sum, and solves.

    Parameters
    ----------
    faces : (m, 3) int64
    places : (n, d) float64
        Where the vertices are; only for a good order of elimination.

    Attributes
    ----------
    edges : (e, 2) int64
        Every edge once, lower vertex first.
    edge : (3, m) int64
        The edge from corner 0 to 1, 1 to 2 and 2 to 0 of every face.
    """

    def __init__(self, faces: IntArray, places: FloatArray) -> None:
        n = len(places)
        self.faces = faces
        self.count = n
        start, end = faces.T, np.roll(faces, -1, axis=1).T
        self.turned = start > end
        key = np.minimum(start, end) * n + np.maximum(start, end)
        unique, inverse = np.unique(key, return_inverse=True)
        self.edges = np.column_stack([unique // n, unique % n])
        self.edge = inverse.reshape(3, len(faces))
        self.corner = np.ascontiguousarray(faces.T)
        self._elimination = Elimination(dissect(places, self.edges), self.edges)

    def pattern(self, width: int) -> Fronts:
        """The pattern of a matrix with `width` unknowns per vertex."""
        return Fronts(self._elimination, width)

    @cached_property
    def _strain(self) -> tuple[Fronts, IntArray, IntArray]:
        fronts = self.pattern(2)
        every = np.arange(self.count)
        own = fronts.slots(every, every)
        pair = fronts.slots(self.edges[:, 0], self.edges[:, 1]).reshape(-1, 4).T.copy()
        own = np.stack([own[:, 0, 0], own[:, 1, 0], own[:, 1, 1]])
        return fronts, own, pair

    def gather(self, slope: FloatArray) -> FloatArray:
        """(n, 2) sums of the corners' (2, 3, m) slopes."""
        out = np.empty((self.count, 2))
        for axis in (0, 1):
            out[:, axis] = np.bincount(self.corner.ravel(), slope[axis].ravel(), minlength=self.count)
        return out

    def solve(self, same: FloatArray, pair: FloatArray, shift: FloatArray, right: FloatArray) -> FloatArray:
        """Solution for a right side (n, 2), or several (n, 2, c), of the face matrices' sum.

        `same` and `pair` are those of `energy.derivatives`; `shift` (n,) is put on the diagonal.
        Where rounding has left the sum not quite positive definite, the shift is raised until it is.
        """
        fronts, own_slots, pair_slots = self._strain
        numbers = fronts.numbers
        corner, edge = self.corner.ravel(), self.edge.ravel()
        own = [np.bincount(corner, s.ravel(), minlength=self.count) for s in same]
        crossed = np.where(self.turned, pair[2], pair[1]), np.where(self.turned, pair[1], pair[2])
        between = [
            np.bincount(edge, part.ravel(), minlength=len(self.edges))
            for part in (pair[0], *crossed, pair[3])
        ]
        columns = right.reshape(self.count, 2, -1)
        for _ in range(12):
            numbers.fill(0.0)
            numbers[own_slots[0]] = own[0] + shift
            numbers[own_slots[1]] = own[1]
            numbers[own_slots[2]] = own[2] + shift
            for slots, part in zip(pair_slots, between, strict=True):
                numbers[slots] = part
            try:
                return fronts.solve(columns).reshape(right.shape)
            except NotDefinite:
                shift = 100.0 * shift
        raise NotDefinite("the strain system cannot be solved")
