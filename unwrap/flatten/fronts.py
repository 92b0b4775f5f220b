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

from unwrap.flatten.dissect import Dissection
from unwrap.flatten.flat_piece import FloatArray, IntArray


class NotDefinite(ArithmeticError):
    """The matrix is not positive definite within rounding."""


class Fronts:
    """The pattern of a symmetric matrix over a patch's vertices, ready for numbers.

    Parameters
    ----------
    dissection : Dissection
    edges : (e, 2) int64
        Pairs of vertices with an entry, each pair once; the diagonal is always there.
    width : int
        Unknowns per vertex.
    """

    def __init__(self, dissection: Dissection, edges: IntArray, width: int) -> None:
        self.width = width
        self.order = dissection.order
        self.starts = dissection.starts
        n, groups = len(self.order), len(self.starts) - 1
        self.place = np.empty(n, dtype=np.int64)
        self.place[self.order] = np.arange(n)
        ends = np.sort(self.place[edges], axis=1)
        self._symbolic(ends, dissection.parent, n, groups)
        own = np.diff(self.starts)
        beyond = np.diff(self._beyond_starts)
        d = width
        sizes = np.column_stack([own * own, own * beyond]) * d * d
        self._offsets = np.concatenate([[0], np.cumsum(sizes.ravel())])
        self._dims = np.column_stack([own * d, beyond * d])
        self.numbers = np.zeros(int(self._offsets[-1]))
        self._views = [self._view(g) for g in range(groups)]
        self._room()

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

    def _symbolic(self, ends: IntArray, parent: IntArray, n: int, groups: int) -> None:
        # Later neighbours of each group's own vertices, in one sorted list.
        group_of = np.repeat(np.arange(groups), np.diff(self.starts))
        self._group_of = group_of
        owner = group_of[ends[:, 0]]
        outside = ends[:, 1] >= self.starts[owner + 1]
        key = np.unique(owner[outside] * n + ends[outside, 1])
        firsts = np.searchsorted(key, np.arange(groups + 1) * n)
        later = key % n
        waiting: list[list[IntArray]] = [[] for _ in range(groups)]
        beyond: list[IntArray] = []
        children: list[list[int]] = [[] for _ in range(groups)]
        bounds = self.starts.tolist()
        first = firsts.tolist()
        above = parent.tolist()
        for g in range(groups):
            lists = [later[first[g] : first[g + 1]], *waiting[g]]
            waiting[g] = []
            found = lists[0] if len(lists) == 1 else np.unique(np.concatenate(lists))
            found = found[np.searchsorted(found, bounds[g + 1]) :]
            beyond.append(found)
            if len(found):
                children[above[g]].append(g)
                waiting[above[g]].append(found)
        self._children = children
        self._beyond = beyond
        lengths = np.array([len(b) for b in beyond])
        self._beyond_starts = np.concatenate([[0], np.cumsum(lengths)])
        self._beyond_key = np.concatenate(beyond) + np.repeat(np.arange(groups), lengths) * n
        self._n = n
        self._moves = [self._moves_of(g, above[g], bounds) for g in range(groups)]
        d = self.width
        self._far = [(d * b[:, None] + np.arange(d)).ravel() for b in beyond]

    def _moves_of(
        self, child: int, parent: int, bounds: list[int]
    ) -> list[tuple[int, slice, slice, slice, slice]]:
        """How a child's remainder is added to its parent, run by run.

        Each move: 0 into the parent's own square, 1 into what lies beyond, 2 into its remainder;
        rows and columns there; rows and columns of the child's remainder.
        """
        mine = self._beyond[child]
        if len(mine) == 0:
            return []
        d = self.width
        cut = int(np.searchsorted(mine, bounds[parent + 1]))
        there = np.concatenate(
            [mine[:cut] - bounds[parent], np.searchsorted(self._beyond[parent], mine[cut:])]
        )
        breaks = np.flatnonzero(np.diff(there) != 1) + 1
        marks = sorted({0, cut, len(mine), *breaks.tolist()})
        runs = [
            (slice(a * d, b * d), slice(int(there[a]) * d, int(there[a] + b - a) * d), a >= cut)
            for a, b in pairwise(marks)
        ]
        return [
            (int(down) + int(right), rows, columns, from_rows, from_columns)
            for i, (from_columns, columns, right) in enumerate(runs)
            for from_rows, rows, down in runs[i:]
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
        p, q = self.place[one], self.place[two]
        row, column = np.maximum(p, q), np.minimum(p, q)
        g = self._group_of[column]
        inside = row < self.starts[g + 1]
        local_row = row - self.starts[g]
        far = ~inside
        found = np.searchsorted(self._beyond_key, g[far] * self._n + row[far])
        local_row[far] = found - self._beyond_starts[g[far]]
        base = self._offsets[2 * g + far]
        lead = self._dims[g, far.astype(np.int64)]
        corner = base + local_row * d + (column - self.starts[g]) * d * lead
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

    def factorise(self) -> None:
        """Cholesky factor, in place of the numbers (entries at their `slots`, zero elsewhere).

        Raises
        ------
        NotDefinite
        """
        potrf, trsm, syrk = lapack.dpotrf, blas.dtrsm, blas.dsyrk
        for (own, side), rest, children in zip(self._views, self._rests, self._children, strict=True):
            rest.fill(0.0)
            for c in children:
                block = self._rests[c]
                for matrix, rows, columns, from_rows, from_columns in self._moves[c]:
                    (own, side, rest)[matrix][rows, columns] += block[from_rows, from_columns]
            _, failed = potrf(own, 1, 0, 1)
            if failed:
                raise NotDefinite
            if len(rest):
                trsm(1.0, own, side, 1, 1, 1, 0, 1)
                syrk(-1.0, side, 1.0, rest, 0, 1, 1)

    def solve(self, right: FloatArray) -> FloatArray:
        """Solution for a right side, after `factorise`.

        Parameters
        ----------
        right : (n, width, c) float64
            Right sides, per vertex.
        """
        trsm = blas.dtrsm
        columns = right.shape[2]
        # Right sides one after the other, each in the order of elimination.
        x = np.ascontiguousarray(right[self.order].reshape(-1, columns).T).T
        bounds = (self.starts * self.width).tolist()
        groups = range(len(self._views))
        for g in groups:
            own, side = self._views[g]
            mine = x[bounds[g] : bounds[g + 1]]
            mine[...] = trsm(1.0, own, mine, 0, 1)
            if len(side):
                x[self._far[g]] -= side @ mine
        for g in reversed(groups):
            own, side = self._views[g]
            mine = x[bounds[g] : bounds[g + 1]]
            mine[...] = trsm(1.0, own, mine - side.T @ x[self._far[g]] if len(side) else mine, 0, 1, 1)
        out = np.empty(right.shape)
        out[self.order] = x.reshape(-1, self.width, columns)
        return out
