"""From a place on the body to the same place on a flat piece, and back."""

from __future__ import annotations

import numpy as np

from unwrap.body.body import FloatArray
from unwrap.flatten.flat_piece import FlatPiece


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

    def to_flat(self, place: FloatArray) -> tuple[FloatArray, float]:
        """The flat point of a place near the surface, mm, and how far the place is off the surface."""
        weights, face, distance = _nearest(self._surface, place)
        return weights @ self._points[face], distance

    def to_body(self, point: FloatArray) -> tuple[FloatArray, float]:
        """The place on the body of a point on the sheet, mm, and how far the point is off the piece."""
        weights, face, distance = _nearest(self._points, point)
        return weights @ self._surface[face], distance


def _nearest(corners: FloatArray, place: FloatArray) -> tuple[FloatArray, int, float]:
    """Weights, face and distance of the nearest place; every face is tried, as one may be any size."""
    inside = np.clip(barycentric(corners, place), 0.0, None)
    inside /= inside.sum(axis=1, keepdims=True)
    off = np.linalg.norm(np.einsum("kc,kcd->kd", inside, corners) - place, axis=1)
    best = int(np.argmin(off))
    return inside[best], best, float(off[best])


def barycentric(corners: FloatArray, place: FloatArray) -> FloatArray:
    """(k, 3) weights of the foot of a place on k triangles, in the plane or in space."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, place - a
    d00, d01, d11 = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
    d20, d21 = (ap * ab).sum(1), (ap * ac).sum(1)
    area = np.maximum(d00 * d11 - d01 * d01, 1e-30)
    v, w = (d11 * d20 - d01 * d21) / area, (d00 * d21 - d01 * d20) / area
    return np.column_stack([1.0 - v - w, v, w])
