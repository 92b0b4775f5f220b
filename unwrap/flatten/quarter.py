"""Every face parted in four like ones: the same surface with more freedom for its flat shapes."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray


def quartered(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The mesh with a new vertex in the middle of every edge; the surface stays what it is.

    Parameters
    ----------
    vertices : (n, d) float64
    faces : (m, 3) int64

    Returns
    -------
    vertices : (n + e, d) float64
        The given ones first.
    faces : (4 m, 3) int64
    """
    n = len(vertices)
    start, end = faces, np.roll(faces, -1, axis=1)
    edge, side = np.unique(np.minimum(start, end) * n + np.maximum(start, end), return_inverse=True)
    middle = n + side.reshape(-1, 3)
    corners = [np.column_stack([faces[:, k], middle[:, k], middle[:, k - 1]]) for k in range(3)]
    more = 0.5 * (vertices[edge // n] + vertices[edge % n])
    return np.concatenate([vertices, more]), np.concatenate([*corners, middle])
