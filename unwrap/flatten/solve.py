"""The sparse linear systems: one pattern, analysed once, many values."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from unwrap.flatten.flat_piece import FloatArray, IntArray


class Pattern:
    """Adds up 6 x 6 face matrices into one sparse matrix, quickly and repeatedly."""

    def __init__(self, faces: IntArray, count: int) -> None:
        dofs = (2 * faces[:, :, None] + np.arange(2)).reshape(len(faces), 6)
        rows = np.repeat(dofs, 6, axis=1).ravel()
        columns = np.tile(dofs, (1, 6)).ravel()
        self.size = 2 * count
        key = columns * self.size + rows
        unique, self.slot = np.unique(key, return_inverse=True)
        self.rows = (unique % self.size).astype(np.int32)
        self.starts = np.searchsorted(unique, np.arange(self.size + 1) * self.size).astype(np.int32)
        self.diagonal = np.searchsorted(unique, np.arange(self.size) * (self.size + 1))

    def add_up(self, blocks: FloatArray, shift: FloatArray) -> csc_matrix:
        """Sum of the face matrices (m, 6, 6), plus `shift` on the diagonal."""
        data: FloatArray = np.bincount(self.slot, weights=blocks.ravel(), minlength=len(self.rows))
        data[self.diagonal] += shift
        return csc_matrix((data, self.rows, self.starts), shape=(self.size, self.size))


def solve(matrix: csc_matrix, right: FloatArray) -> FloatArray:
    """Solution of a symmetric positive definite system."""
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return factor.solve(right)
