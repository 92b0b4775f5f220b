"""A view drawing as it was read: painted shapes in mm in the frame of the view."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Cap, Join


@dataclass(frozen=True, eq=False)
class Stroke:
    """A drawn stroke's centre lines in the frame of the view (closed where it is), its ends and joins."""

    lines: shapely.Geometry
    cap: Cap
    join: Join


class Shade(Protocol):
    """A fill that changes from place to place: a gradient or a picture."""

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 3) red, green, blue at points (n, 2) of the view, mm."""


@dataclass(frozen=True, eq=False)
class Shape:
    """One painted shape of a drawing.

    Parameters
    ----------
    colour : str
        "#rrggbb".
    area : Polygon or MultiPolygon
        In mm, y up, in the frame of the view.
    label : str
        The element's id, or its kind and number.
    nodes : int
        How many nodes it was drawn with.
    stroke : Stroke or None
        How it was drawn, where it is a stroke that may stay one.
    shade : Shade or None
        What fills it instead of the colour.
    """

    colour: str
    area: shapely.Geometry
    label: str
    nodes: int
    stroke: Stroke | None = None
    shade: Shade | None = None


@dataclass(frozen=True, eq=False)
class Drawing:
    """The shapes in painting order, and sentences about what could not be kept."""

    shapes: tuple[Shape, ...]
    remarks: tuple[str, ...] = field(default=())


def scale(matrix: FloatArray) -> float:
    """What a matrix makes lengths longer by, in the mean."""
    return float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))


def keeps_shape(matrix: FloatArray) -> bool:
    """Whether a matrix turns, moves, reflects and scales alike all round, so that a stroke stays one."""
    square = matrix[:2, :2] @ matrix[:2, :2].T
    return bool(np.abs(square - 0.5 * np.trace(square) * np.eye(2)).max() <= 1e-6 * np.trace(square))


def moved(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Points under a (3, 3) affine matrix."""
    return points @ matrix[:2, :2].T + matrix[:2, 2]
