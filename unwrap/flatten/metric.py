"""A patch's own metric: the shape of every face, whatever the bending in space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.flatten.flat_piece import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Metric:
    """Every face laid in a plane of its own.

    Corner 0 stands at (0, 0), corner 1 at (base, 0), corner 2 at (foot, height).

    Parameters
    ----------
    faces : (m, 3) int64
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

    def gradients(self) -> FloatArray:
        """(m, 3, 2) gradients of the corners' hat functions in the face's own frame."""
        out = np.empty((len(self.faces), 3, 2))
        slope = self.foot / self.base / self.height
        out[:, 1, 0] = 1.0 / self.base
        out[:, 1, 1] = -slope
        out[:, 2, 0] = 0.0
        out[:, 2, 1] = 1.0 / self.height
        out[:, 0] = -out[:, 1] - out[:, 2]
        return out

    def jacobians(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Entries a, b, c, d (each (m,)) of the linear maps [[a, b], [c, d]], face frame -> sheet."""
        f = self.faces
        first = points[f[:, 1]] - points[f[:, 0]]
        second = points[f[:, 2]] - points[f[:, 0]]
        a = first[:, 0] / self.base
        c = first[:, 1] / self.base
        b = (second[:, 0] - a * self.foot) / self.height
        d = (second[:, 1] - c * self.foot) / self.height
        return a, b, c, d


def metric_of(vertices: FloatArray, faces: IntArray) -> Metric:
    """Metric of the faces as they stand in space.

    Parameters
    ----------
    vertices : (n, 2) or (n, 3) float64
    faces : (m, 3) int64
    """
    p, q, r = (vertices[faces[:, k]] for k in range(3))
    e1, e2 = q - p, r - p
    base = np.linalg.norm(e1, axis=1)
    foot = np.einsum("ij,ij->i", e1, e2) / base
    if vertices.shape[1] == 3:
        double = np.linalg.norm(np.cross(e1, e2), axis=1)
    else:
        double = np.abs(e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0])
    return Metric(faces, base, foot, double / base)
