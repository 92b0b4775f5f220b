"""The linear system of a Newton step over a small patch, in a band.

For a few hundred vertices the bookkeeping of a sparse factorisation costs more than
its arithmetic. Numbered so that neighbours lie near each other [1]_, the matrix is a
narrow band that LAPACK factorises in one call.

References
----------
.. [1] E. Cuthill, J. McKee, "Reducing the bandwidth of sparse symmetric matrices",
   Proc. 24th ACM National Conference, 1969 (from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import reverse_cuthill_mckee

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.fronts import NotDefinite


class Band:
    """Adds up face matrices, factorises the sum, and solves; as `unwrap.flatten.system.System`.

    Parameters
    ----------
    faces : (m, 3) int64
    count : int
        Vertices.
    """

    def __init__(self, faces: IntArray, count: int) -> None:
        self.count = count
        self.corner = np.ascontiguousarray(faces.T)
        following = np.roll(self.corner, -1, axis=0)
        rows, columns = self.corner.ravel(), following.ravel()
        graph = coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, count)).tocsr()
        place = np.empty(count, dtype=np.int64)
        place[reverse_cuthill_mckee((graph + graph.T).tocsr(), symmetric_mode=True)] = np.arange(count)
        self.place = place
        first, second = place[self.corner], place[following]
        self.height = 2 * int(np.abs(first - second).max()) + 2
        x, y = 2 * first, 2 * first + 1
        u, v = 2 * second, 2 * second + 1
        self._slots = np.concatenate(
            [self._slot(r, c).ravel() for r, c in ((x, x), (y, x), (y, y), (x, u), (x, v), (y, u), (y, v))]
        )

    def _slot(self, row: IntArray, column: IntArray) -> IntArray:
        low, high = np.minimum(row, column), np.maximum(row, column)
        return (high - low) * (2 * self.count) + low

    def gather(self, slope: FloatArray) -> FloatArray:
        """(n, 2) sums of the corners' (2, 3, m) slopes."""
        corner = self.corner.ravel()
        return np.column_stack([np.bincount(corner, s.ravel(), minlength=self.count) for s in slope])

    def solve(self, same: FloatArray, pair: FloatArray, shift: FloatArray, right: FloatArray) -> FloatArray:
        """(n, 2) solution for a right side (n, 2) of the face matrices' sum.

        `shift` (n,) is put on the diagonal, and raised where need be.
        """
        numbers = np.concatenate([same.ravel(), pair.ravel()])
        band = np.bincount(self._slots, numbers, minlength=self.height * 2 * self.count)
        band = band.reshape(self.height, 2 * self.count)
        held, ordered = np.empty(2 * self.count), np.empty((self.count, 2))
        held[2 * self.place] = held[2 * self.place + 1] = shift
        ordered[self.place] = right
        for _ in range(12):
            shifted = np.array(band, order="F")
            shifted[0] += held
            # LAPACK's own routines: the checks round them cost a third as much as their arithmetic.
            factor, failed = dpbtrf(shifted, lower=1, overwrite_ab=1)
            if failed:
                held = 100.0 * held
                continue
            found, _ = dpbtrs(factor, ordered.reshape(-1, 1), lower=1)
            return np.asarray(found).reshape(-1, 2)[self.place]
        raise NotDefinite("the strain system cannot be solved")
