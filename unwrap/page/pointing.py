"""From a place on the body to the same place on a flat piece, and back."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from unwrap.body.body import FloatArray
from unwrap.flatten.flat_piece import FlatPiece

# Faces whose middles are nearest, among which the place is looked for: long triangles have far middles.
_TRIED = 60


class Pointing:
    """Both ways between a surface and its flat piece.

    Parameters
    ----------
    flat : FlatPiece
        The piece.
    """

    def __init__(self, flat: FlatPiece) -> None:
        self.flat = flat
        self._surface = flat.surface[flat.faces]
        self._points = flat.points[flat.faces]
        self._surface_tree = cKDTree(self._surface.mean(axis=1))
        self._flat_tree = cKDTree(self._points.mean(axis=1))

    def to_flat(self, place: FloatArray) -> tuple[FloatArray, float]:
        """The flat point of a place near the surface, mm, and how far the place is off the surface."""
        weights, face, distance = _nearest(self._surface, self._surface_tree, place)
        return weights @ self._points[face], distance

    def to_body(self, point: FloatArray) -> tuple[FloatArray, float]:
        """The place on the body of a point on the sheet, mm, and how far the point is off the piece."""
        weights, face, distance = _nearest(self._points, self._flat_tree, point)
        return weights @ self._surface[face], distance


def _nearest(corners: FloatArray, tree: cKDTree, place: FloatArray) -> tuple[FloatArray, int, float]:
    near = np.atleast_1d(tree.query(place, k=min(_TRIED, len(corners)))[1])
    weights = barycentric(corners[near], place)
    inside = np.clip(weights, 0.0, None)
    inside /= inside.sum(axis=1, keepdims=True)
    off = np.linalg.norm(np.einsum("kc,kcd->kd", inside, corners[near]) - place, axis=1)
    best = int(np.argmin(off))
    return inside[best], int(near[best]), float(off[best])


def barycentric(corners: FloatArray, place: FloatArray) -> FloatArray:
    """(k, 3) weights of the foot of a place on k triangles, in the plane or in space."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, place - a
    d00, d01, d11 = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
    d20, d21 = (ap * ab).sum(1), (ap * ac).sum(1)
    area = np.maximum(d00 * d11 - d01 * d01, 1e-30)
    v, w = (d11 * d20 - d01 * d21) / area, (d00 * d21 - d01 * d20) / area
    return np.column_stack([1.0 - v - w, v, w])
