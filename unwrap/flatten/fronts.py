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
        self.length = int(self._offsets[-1])
        self._dims = np.column_stack([own * d, beyond * d])

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
        self._runs = [self._runs_of(g, above[g], bounds) for g in range(groups)]

    def _runs_of(self, child: int, parent: int, bounds: list[int]) -> list[tuple[int, int, int, int]]:
        """Where a child's remainder goes: (from, to, start in the parent, 0 own or 1 beyond)."""
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
        runs = []
        for a, b in zip(marks[:-1], marks[1:], strict=True):
            runs.append((a * d, b * d, int(there[a]) * d, 0 if a < cut else 1))
        return runs

    def slots(self, one: IntArray, two: IntArray) -> tuple[IntArray, IntArray]:
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

    def factorise(self, numbers: FloatArray) -> None:
        """Cholesky factor, in place of the numbers.

        Parameters
        ----------
        numbers : (length,) float64
            Entries at their `slots`, zero elsewhere. Overwritten by the factor.

        Raises
        ------
        NotDefinite
        """
        offsets = self._offsets.tolist()
        dims = self._dims.tolist()
        handed: list[FloatArray | None] = [None] * len(dims)
        for g, (k, r) in enumerate(dims):
            o = offsets[2 * g]
            own = numbers[o : o + k * k].reshape((k, k), order="F")
            o = offsets[2 * g + 1]
            side = numbers[o : o + k * r].reshape((r, k), order="F")
            rest = np.empty((r, r), order="F")
            rest.fill(0.0)
            for c in self._children[g]:
                self._take(own, side, rest, handed[c], self._runs[c])
                handed[c] = None
            _, failed = lapack.dpotrf(own, lower=1, clean=0, overwrite_a=1)
            if failed:
                raise NotDefinite
            if r:
                blas.dtrsm(1.0, own, side, side=1, lower=1, trans_a=1, overwrite_b=1)
                blas.dsyrk(-1.0, side, beta=1.0, c=rest, lower=1, overwrite_c=1)
                handed[g] = rest

    @staticmethod
    def _take(
        own: FloatArray,
        side: FloatArray,
        rest: FloatArray,
        block: FloatArray | None,
        runs: list[tuple[int, int, int, int]],
    ) -> None:
        assert block is not None
        for i, (c0, c1, column, where) in enumerate(runs):
            width = column + c1 - c0
            for r0, r1, row, down in runs[i:]:
                part = block[r0:r1, c0:c1]
                if where:
                    rest[row : row + r1 - r0, column:width] += part
                elif down:
                    side[row : row + r1 - r0, column:width] += part
                else:
                    own[row : row + r1 - r0, column:width] += part

    def solve(self, factor: FloatArray, right: FloatArray) -> FloatArray:
        """Solution for a right side.

        Parameters
        ----------
        factor : (length,) float64
            From `factorise`.
        right : (n, width) or (n, width, c) float64
            One or several right sides, per vertex.
        """
        several = right.ndim == 3
        x = right[self.order]
        x = np.ascontiguousarray(x if several else x[:, :, None])
        columns = x.shape[2]
        offsets = self._offsets.tolist()
        dims = self._dims.tolist()
        starts = self.starts.tolist()
        for g, (k, r) in enumerate(dims):
            o = offsets[2 * g]
            own = factor[o : o + k * k].reshape((k, k), order="F")
            mine = x[starts[g] : starts[g + 1]]
            y = blas.dtrsm(1.0, own, mine.reshape(k, columns), lower=1)
            mine[...] = y.reshape(mine.shape)
            if r:
                o = offsets[2 * g + 1]
                side = factor[o : o + k * r].reshape((r, k), order="F")
                x[self._beyond[g]] -= (side @ y).reshape(-1, self.width, columns)
        for g in range(len(dims) - 1, -1, -1):
            k, r = dims[g]
            o = offsets[2 * g]
            own = factor[o : o + k * k].reshape((k, k), order="F")
            mine = x[starts[g] : starts[g + 1]]
            y = mine.reshape(k, columns)
            if r:
                o = offsets[2 * g + 1]
                side = factor[o : o + k * r].reshape((r, k), order="F")
                y = y - side.T @ x[self._beyond[g]].reshape(r, columns)
            mine[...] = blas.dtrsm(1.0, own, y, lower=1, trans_a=1).reshape(mine.shape)
        out = np.empty_like(x)
        out[self.order] = x
        return out if several else out[:, :, 0]
