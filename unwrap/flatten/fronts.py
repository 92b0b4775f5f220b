"""A sparse Cholesky factorisation by dense fronts, on top of LAPACK.

Every group of the dissection gathers its own equations and what its children hand
up in one dense matrix, eliminates its own unknowns, and hands the remainder to
its parent [1]_. All index work is done once per patch; the numbers of a Newton
step run through LAPACK and BLAS alone.

References
----------
.. [1] I. Duff, J. Reid, "The multifrontal solution of indefinite sparse symmetric
   linear equations", ACM TOMS 9, 1983 (from memory).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.linalg import blas, lapack

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.elimination import Elimination


class NotDefinite(ArithmeticError):
    """The matrix is not positive definite within rounding."""


class Fronts:
    """The pattern of a symmetric matrix over a patch's vertices, ready for numbers.

    Parameters
    ----------
    elimination : Elimination
    width : int
        Unknowns per vertex.
    """

    def __init__(self, elimination: Elimination, width: int) -> None:
        self.width = d = width
        self._plan = elimination
        self._children = elimination.children
        own = np.diff(elimination.starts)
        beyond = np.diff(elimination.beyond_starts)
        sizes = np.column_stack([own * own, own * beyond]) * d * d
        self._offsets = np.concatenate([[0], np.cumsum(sizes.ravel())])
        self._dims = np.column_stack([own * d, beyond * d])
        # Not zeroed here: memory handed out already zeroed comes in small pages, ten times as slow.
        self.numbers = np.empty(int(self._offsets[-1]))
        self._views = [self._view(g) for g in range(len(own))]
        self._far = [(d * b[:, None] + np.arange(d)).ravel() for b in elimination.beyond]
        self._room()
        self._sums = [
            [pair for c in children for pair in self._sums_of(g, c, elimination.runs[c])]
            for g, children in enumerate(elimination.children)
        ]

    def _view(self, g: int) -> tuple[FloatArray, FloatArray]:
        """A group's own square and what lies beyond it, as Fortran matrices."""
        (k, r), first, middle = self._dims[g].tolist(), self._offsets[2 * g], self._offsets[2 * g + 1]
        own = self.numbers[first:middle].reshape((k, k), order="F")
        return own, self.numbers[middle : middle + k * r].reshape((r, k), order="F")

    def _room(self) -> None:
        """Room for the remainders: two stacks, which generations use by turns."""
        depth = np.zeros(len(self._dims), dtype=np.int64)
        for g in range(len(self._dims) - 1, -1, -1):
            for c in self._children[g]:
                depth[c] = depth[g] + 1
        top, most = [0, 0], [0, 0]
        spots = []
        sizes = (self._dims[:, 1] ** 2).tolist()
        for g, deep in enumerate((depth % 2).tolist()):
            spots.append((deep, top[deep]))
            top[deep] += sizes[g]
            most[deep] = max(most[deep], top[deep])
            top[1 - deep] -= sum(sizes[c] for c in self._children[g])
        stacks = [np.empty(size) for size in most]
        self._rests = [
            stacks[deep][at : at + size].reshape((r, r), order="F")
            for (deep, at), size, r in zip(spots, sizes, self._dims[:, 1].tolist(), strict=True)
        ]

    def _sums_of(
        self, parent: int, child: int, runs: list[tuple[int, int, int, bool]]
    ) -> list[tuple[FloatArray, FloatArray]]:
        """What of a child's remainder is added to what of its parent, run by run."""
        d = self.width
        there = (*self._views[parent], self._rests[parent])
        block = self._rests[child]
        wide = [
            (slice(a * d, b * d), slice(start * d, (start + b - a) * d), far) for a, b, start, far in runs
        ]
        # Neither beyond the parent: its own square; one: what lies beyond; both: its remainder.
        return [
            (there[down + right][rows, columns], block[from_rows, from_columns])
            for i, (from_columns, columns, right) in enumerate(wide)
            for from_rows, rows, down in wide[i:]
        ]

    def slots(self, one: IntArray, two: IntArray) -> IntArray:
        """Where the block of two vertices stands in the numbers' array.

        Parameters
        ----------
        one, two : (p,) int64
            Vertices that share an edge, or the same vertex twice.

        Returns
        -------
        slots : (p, width, width) int64
            Place of entry (a of `one`, b of `two`). For `one` = `two`, entries above the diagonal
            are given the place of the one below.
        """
        d = self.width
        plan = self._plan
        p, q = plan.place[one], plan.place[two]
        row, column = np.maximum(p, q), np.minimum(p, q)
        g = plan.group[column]
        far = row >= plan.starts[g + 1]
        local_row = row - plan.starts[g]
        local_row[far] = plan.row_beyond(g[far], row[far])
        base = self._offsets[2 * g + far]
        lead = self._dims[g, far.astype(np.int64)]
        corner = base + local_row * d + (column - plan.starts[g]) * d * lead
        out = np.empty((len(p), d, d), dtype=np.int64)
        swapped = p < q
        for a in range(d):
            for b in range(d):
                down = np.where(swapped, b, a)
                right = np.where(swapped, a, b)
                same = p == q
                down, right = (
                    np.where(same, np.maximum(a, b), down),
                    np.where(same, np.minimum(a, b), right),
                )
                out[:, a, b] = corner + down + right * lead
        return out

    def solve(self, right: FloatArray) -> FloatArray:
        """Solution for one or more right sides; the numbers are used up.

        The numbers stand at their `slots`, with zero everywhere else. Each right side is worked
        on as soon as a front is factorised, while that is still in the processor's cache.

        Parameters
        ----------
        right : (n, width, c) float64
            Right sides, per vertex.

        Returns
        -------
        (n, width, c) float64

        Raises
        ------
        NotDefinite
        """
        potrf, trsm, syrk = lapack.dpotrf, blas.dtrsm, blas.dsyrk
        add = np.add
        columns = right.shape[2]
        # Right sides one after the other, each in the order of elimination.
        x = np.ascontiguousarray(right[self._plan.order].reshape(-1, columns).T).T
        bounds = (self._plan.starts * self.width).tolist()
        runs = [slice(first, last) for first, last in pairwise(bounds)]
        for (own, side), rest, sums, far, run in zip(
            self._views, self._rests, self._sums, self._far, runs, strict=True
        ):
            rest.fill(0.0)
            for there, part in sums:
                add(there, part, there)
            _, failed = potrf(own, 1, 0, 1)
            if failed:
                raise NotDefinite
            x[run] = mine = trsm(1.0, own, x[run], 0, 1)
            if len(rest):
                trsm(1.0, own, side, 1, 1, 1, 0, 1)
                syrk(-1.0, side, 1.0, rest, 0, 1, 1)
                x[far] -= side @ mine
        for (own, side), far, run in zip(
            reversed(self._views), reversed(self._far), reversed(runs), strict=True
        ):
            mine = x[run] - side.T @ x[far] if len(far) else x[run]
            x[run] = trsm(1.0, own, mine, 0, 1, 1)
        out = np.empty(right.shape)
        out[self._plan.order] = x.reshape(-1, self.width, columns)
        return out
