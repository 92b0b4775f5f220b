"""What a patch is like at any point of its chart: place on the surface, price of a cut there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator
from scipy.spatial import Delaunay, cKDTree

from unwrap.arrays import FloatArray
from unwrap.relief.curvature import curvature_of
from unwrap.relief.ground import Ground

FORBIDDEN = 1e3  # price of a millimetre through ground to keep clear


@dataclass(frozen=True, eq=False)
class Field:
    """Values over the chart, interpolated between the vertices of a middling copy.

    Places on the surface are interpolated smoothly, so that what depends on them has a slope.

    Parameters
    ----------
    ground : Ground
        The middling copy.
    price : (n,) float64
        Cost of a millimetre of cut at each vertex.
    clear : (n,) bool
        Vertices that no cut may come near.
    """

    ground: Ground
    price: FloatArray
    clear: np.ndarray
    _between: LinearNDInterpolator
    _smooth: CloughTocher2DInterpolator
    _near: cKDTree
    _values: FloatArray

    @classmethod
    def of(cls, ground: Ground, price: FloatArray, clear: np.ndarray) -> Field:
        """Set up over a middling copy."""
        whole = np.where(clear, FORBIDDEN, price)
        slant = _slants(ground)
        larger = np.sqrt(np.linalg.det(np.einsum("nij,nik->njk", slant, slant)))
        scale = 1.0 / np.sqrt(np.maximum(larger, 1e-12))
        bend = np.sqrt(np.abs(curvature_of(ground)))
        values = np.column_stack([ground.surface, whole, slant.reshape(-1, 6), scale, bend])
        triangles = Delaunay(ground.chart)
        between = LinearNDInterpolator(triangles, values)
        smooth = CloughTocher2DInterpolator(triangles, ground.surface, tol=1e-4)
        return cls(ground, price, clear, between, smooth, cKDTree(ground.chart), values)

    def at(self, points: FloatArray) -> FloatArray:
        """(n, 12) surface place, price, (3, 2) derivative of the place by the chart, its scale, the bend."""
        values = self._between(points)
        outside = np.isnan(values[:, 0])
        if outside.any():
            # Points on a curved edge lie a hair outside the chords: run on from the nearest vertex.
            near = self._near.query(points[outside])[1]
            found = self._values[near]
            slant = found[:, 4:10].reshape(-1, 3, 2)
            step = points[outside] - self.ground.chart[near]
            values[outside] = found
            values[outside, :3] += np.einsum("nij,nj->ni", slant, step)
        return values

    def places(self, points: FloatArray) -> FloatArray:
        """(n, 3) places on the surface, mm."""
        found: FloatArray = self._smooth(points)
        outside = np.isnan(found[:, 0])
        if outside.any():
            found[outside] = self.at(points[outside])[:, :3]
        return found

    def slants(self, points: FloatArray, step: float) -> FloatArray:
        """(n, 3, 2) derivative of the place by the chart, over `step` to both sides."""
        n = len(points)
        ways = step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        nudged = (points[None] + ways[:, None]).reshape(-1, 2)
        right, left, up, down = np.split(self.places(nudged), [n, 2 * n, 3 * n])
        return np.stack([right - left, up - down], axis=2) / (2.0 * step)

    def scale(self, points: FloatArray) -> FloatArray:
        """(n,) length in the chart over length on the surface, on average over directions."""
        return self.at(points)[:, 10]

    def bend(self, points: FloatArray) -> FloatArray:
        """(n,) root of the Gaussian curvature's size: one over the radius of a sphere as curved, 1/mm."""
        return self.at(points)[:, 11]

    def costs(self, curves: list[FloatArray]) -> FloatArray:
        """(c,) weighted lengths over the surface of curves with equally many points, mm."""
        if not curves:
            return np.zeros(0)
        points = np.stack(curves)
        places = self.places(points.reshape(-1, 2)).reshape(*points.shape[:2], 3)
        lengths = np.linalg.norm(np.diff(places, axis=1), axis=2)
        if np.ptp(self._values[:, 3]) > 0.0:
            middles = 0.5 * (points[:, 1:] + points[:, :-1])
            lengths *= self.at(middles.reshape(-1, 2))[:, 3].reshape(lengths.shape)
        else:
            lengths *= self._values[0, 3]
        total: FloatArray = lengths.sum(axis=1)
        return total


def _slants(ground: Ground) -> FloatArray:
    """(n, 3, 2) derivative of surface by chart at each vertex, averaged over its faces by area."""
    c, s, f = ground.chart, ground.surface, ground.faces
    plane = np.stack([c[f[:, 1]] - c[f[:, 0]], c[f[:, 2]] - c[f[:, 0]]], axis=2)
    space = np.stack([s[f[:, 1]] - s[f[:, 0]], s[f[:, 2]] - s[f[:, 0]]], axis=2)
    area = np.linalg.det(plane)
    slant = np.einsum("mij,mjk->mik", space, np.linalg.inv(plane)) * area[:, None, None]
    total = np.zeros((len(c), 3, 2))
    weight = np.zeros(len(c))
    for k in range(3):
        np.add.at(total, f[:, k], slant)
        np.add.at(weight, f[:, k], area)
    return total / weight[:, None, None]
