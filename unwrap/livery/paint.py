"""What is printed on a flat piece: paints, and the curves that outline them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from unwrap.arrays import FloatArray

Cap = Literal["butt", "round", "square"]
Join = Literal["miter", "round", "bevel"]
PaintKind = Literal["fill", "line", "band", "lettering", "artwork"]


@dataclass(frozen=True, eq=False)
class Curve:
    """One smooth run of cubic Bézier spans in the plane of a piece.

    Parameters
    ----------
    spans : (n, 4, 2) float64
        Control points per span, mm; each span starts where the last one ends. A
        straight span has its inner points at thirds.
    closed : bool
        Whether the last span ends at the first point.
    """

    spans: FloatArray
    closed: bool

    def moved(self, matrix: FloatArray) -> Curve:
        """The curve under a (2, 3) affine matrix, `x' = matrix[:, :2] @ x + matrix[:, 2]`."""
        return replace(self, spans=self.spans @ matrix[:, :2].T + matrix[:, 2])


@dataclass(frozen=True, eq=False)
class Picture:
    """Shading or a photograph as dots in the plane of a piece.

    Parameters
    ----------
    dots : (h, w, 3) uint8
        Red, green, blue; first row at the top.
    matrix : (2, 3) float64
        From columns and rows, counted from the outer corner of the first dot, to mm.
    """

    dots: NDArray[np.uint8]
    matrix: FloatArray

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 3) the dot at each point (n, 2), mm; the nearest one beyond the picture."""
        place = np.linalg.solve(self.matrix[:, :2], (points - self.matrix[:, 2]).T).T
        height, width = self.dots.shape[:2]
        column, row = np.clip(np.floor(place).astype(np.int64), 0, [width - 1, height - 1]).T
        return self.dots[row, column]

    def placed(self, matrix: FloatArray) -> FloatArray:
        """(2, 3) from columns and rows to where a (2, 3) affine matrix takes the piece."""
        shift = matrix[:, :2] @ self.matrix[:, 2] + matrix[:, 2]
        return np.column_stack([matrix[:, :2] @ self.matrix[:, :2], shift])

    def moved(self, matrix: FloatArray) -> Picture:
        """The picture under a (2, 3) affine matrix."""
        return replace(self, matrix=self.placed(np.asarray(matrix)))


@dataclass(frozen=True, eq=False)
class Paint:
    """One printed shape on a flat piece.

    A piece's paints stand in painting order: a later one covers an earlier one, as
    seen on the model. Coordinates are those of `FlatPiece.points`: mm, not mirrored.

    Parameters
    ----------
    kind : str
        "fill", "line", "band", "lettering" or "artwork".
    colour : str
        "#rrggbb".
    area : shapely Polygon or MultiPolygon
        The ground it covers, finely sampled, mm.
    curves : tuple of Curve
        The same ground as few smooth curves (even-odd when closed). Where
        `stroke` is set they are centre lines instead.
    stroke : float or None
        Width on the sheet of a line of constant width, mm.
    label : str
        What it is, for the guide and for a person who edits the sheet: "lining 2: cream 0.35 mm".
    asked_width : float or None
        Width asked for on the model, mm, for lines and bands.
    cap, join : str
        How a stroke ends and turns corners, as in SVG.
    picture : Picture or None
        What fills it instead of the colour, which is then its mean.
    """

    kind: PaintKind
    colour: str
    area: shapely.Geometry
    curves: tuple[Curve, ...] = ()
    stroke: float | None = None
    label: str = ""
    asked_width: float | None = None
    cap: Cap = "butt"
    join: Join = "miter"
    picture: Picture | None = None

    def moved(self, matrix: FloatArray) -> Paint:
        """The paint under a (2, 3) affine matrix that keeps lengths."""
        (a, b, x), (d, e, y) = np.asarray(matrix)
        return replace(
            self,
            area=shapely.affinity.affine_transform(self.area, (a, b, d, e, x, y)),
            curves=tuple(curve.moved(matrix) for curve in self.curves),
            picture=self.picture.moved(matrix) if self.picture else None,
        )
