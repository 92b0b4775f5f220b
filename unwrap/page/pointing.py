"""From a place on the body to the same place on a flat piece, and back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.flat_piece import FlatPiece


class Pointing:
    """Both ways between a surface and its flat piece.

    Parameters
    ----------
    flats : sequence of FlatPiece
        The piece, or the parts that a region is shown in.
    """

    def __init__(self, flats: Sequence[FlatPiece]) -> None:
        self._surface = _Triangles(np.concatenate([flat.surface[flat.faces] for flat in flats]))
        self._sheet = _Triangles(np.concatenate([flat.points[flat.faces] for flat in flats]))

    def to_flat(self, place: FloatArray, reach: float) -> tuple[FloatArray, float] | None:
        """The flat point of a place near the surface, mm, and how far it is off; None beyond reach."""
        return self._surface.onto(self._sheet, place, reach)

    def to_body(self, point: FloatArray, reach: float) -> tuple[FloatArray, float] | None:
        """The place on the body of a point on the sheet, mm, and how far it is off; None beyond reach."""
        return self._sheet.onto(self._surface, point, reach)


class _Triangles:
    def __init__(self, corners: FloatArray) -> None:
        self.corners = corners
        # One row an axis, so that each comparison runs along memory.
        self._low = np.ascontiguousarray(corners.min(axis=1).T)
        self._high = np.ascontiguousarray(corners.max(axis=1).T)

    def near(self, place: FloatArray, reach: float) -> IntArray:
        """Triangles whose box comes within reach of a place."""
        chosen = np.ones(len(self.corners), dtype=bool)
        for axis, value in enumerate(place):
            chosen &= (self._low[axis] <= value + reach) & (self._high[axis] >= value - reach)
        return np.flatnonzero(chosen)

    def onto(self, other: _Triangles, place: FloatArray, reach: float) -> tuple[FloatArray, float] | None:
        near = self.near(place, reach)
        if not len(near):
            return None
        inside = np.clip(barycentric(self.corners[near], place), 0.0, None)
        inside /= inside.sum(axis=1, keepdims=True)
        off = np.linalg.norm(np.einsum("kc,kcd->kd", inside, self.corners[near]) - place, axis=1)
        best = int(np.argmin(off))
        if off[best] >= reach:
            return None
        return inside[best] @ other.corners[near[best]], float(off[best])


def barycentric(corners: FloatArray, place: FloatArray) -> FloatArray:
    """(k, 3) weights of the foot of a place on k triangles, in the plane or in space."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, place - a
    d00, d01, d11 = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
    d20, d21 = (ap * ab).sum(1), (ap * ac).sum(1)
    area = np.maximum(d00 * d11 - d01 * d01, 1e-30)
    v, w = (d11 * d20 - d01 * d21) / area, (d00 * d21 - d01 * d20) / area
    return np.column_stack([1.0 - v - w, v, w])
