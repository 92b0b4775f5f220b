"""A patch's own metric: the shape of every face, whatever the bending in space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Metric:
    """Every face laid in a plane of its own, on its longest side.

    Corner 0 stands at (0, 0), corner 1 at (base, 0), corner 2 at (foot, height); the
    longest side as base keeps needles as exact as their corners are.

    Parameters
    ----------
    faces : (m, 3) int64
        The input's faces in their order, each turned so that its longest side comes first.
    base, foot, height : (m,) float64
        Any unit; > 0 for base and height.
    """

    faces: IntArray
    base: FloatArray
    foot: FloatArray
    height: FloatArray

    @property
    def areas(self) -> FloatArray:
        """(m,) face areas."""
        return 0.5 * self.base * self.height


def metric_of(vertices: FloatArray, faces: IntArray) -> Metric:
    """Metric of the faces as they stand in space.

    Parameters
    ----------
    vertices : (n, 2) or (n, 3) float64
    faces : (m, 3) int64
    """
    corners = vertices[faces]
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    turned = np.take_along_axis(faces, (np.argmax(sides, axis=1)[:, None] + np.arange(3)) % 3, axis=1)
    p, q, r = (vertices[turned[:, k]] for k in range(3))
    e1, e2 = q - p, r - p
    base = np.linalg.norm(e1, axis=1)
    foot = np.einsum("ij,ij->i", e1, e2) / base
    if vertices.shape[1] == 3:
        double = np.linalg.norm(np.cross(e1, e2), axis=1)
    else:
        double = np.abs(e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0])
    return Metric(turned, base, foot, double / base)


def cross(p: FloatArray, q: FloatArray) -> FloatArray:
    """(...,) cross products of plane vectors (..., 2): above 0 where q lies to the left of p."""
    return np.asarray(p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0])
