"""The linear system of a Newton step over a patch: one pattern, many numbers."""

from __future__ import annotations

import numpy as np

from unwrap.flatten.dissect import Dissection, dissect
from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.flatten.fronts import Fronts, NotDefinite


class System:
    """Adds up face matrices over a patch's vertices, factorises the sum, and solves.

    Parameters
    ----------
    faces : (m, 3) int64
    places : (n, d) float64
        Where the vertices are; only for a good order of elimination.
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
        self.dissection: Dissection = dissect(places, self.edges)
        self.fronts = Fronts(self.dissection, self.edges, 2)
        self.corner = np.ascontiguousarray(faces.T)
        every = np.arange(n)
        own = self.fronts.slots(every, every)
        self._own = np.stack([own[:, 0, 0], own[:, 1, 0], own[:, 1, 1]])
        self._pair = self.fronts.slots(self.edges[:, 0], self.edges[:, 1]).reshape(-1, 4).T.copy()
        self._numbers = np.zeros(self.fronts.length)

    def gather(self, slope: FloatArray) -> FloatArray:
        """(n, 2) sums of the corners' (2, 3, m) slopes."""
        out = np.empty((self.count, 2))
        for axis in (0, 1):
            out[:, axis] = np.bincount(self.corner.ravel(), slope[axis].ravel(), minlength=self.count)
        return out

    def factorise(self, same: FloatArray, pair: FloatArray, shift: FloatArray) -> None:
        """Factorise the sum of the face matrices plus `shift` (n,) on the diagonal.

        `same` and `pair` are those of `energy.derivatives`. Where rounding has left the sum
        not quite positive definite, the shift is raised until it is.
        """
        corner, edge = self.corner.ravel(), self.edge.ravel()
        own = np.stack([np.bincount(corner, s.ravel(), minlength=self.count) for s in same])
        crossed = np.where(self.turned, pair[2], pair[1]), np.where(self.turned, pair[1], pair[2])
        between = np.stack(
            [
                np.bincount(edge, part.ravel(), minlength=len(self.edges))
                for part in (pair[0], *crossed, pair[3])
            ]
        )
        for _ in range(12):
            self._numbers.fill(0.0)
            self._numbers[self._own[0]] = own[0] + shift
            self._numbers[self._own[1]] = own[1]
            self._numbers[self._own[2]] = own[2] + shift
            self._numbers[self._pair] = between
            try:
                self.fronts.factorise(self._numbers)
                return
            except NotDefinite:
                shift = 100.0 * shift
        raise NotDefinite("the strain system cannot be solved")

    def solve(self, right: FloatArray) -> FloatArray:
        """(n, 2) solution for a right side (n, 2), with the last factor."""
        return self.fronts.solve(self._numbers, right)
