"""A piece: one flat decal shape with everything that is printed on it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.paint import Curve, Paint
from unwrap.regions.region import Patch


@dataclass(frozen=True, eq=False)
class Piece:
    """One decal, ready to be placed on a sheet. All coordinates mm, not mirrored, seen from outside.

    Parameters
    ----------
    name : str
        Its name on the sheet and in the report; unique within a job.
    region : str
        The job's region that it covers.
    patch : Patch
        The surface that it goes on.
    flat : FlatPiece
        That surface laid flat.
    outline : shapely Polygon
        Where to cut, with its openings as holes and opened slits as notches.
    outline_curves : tuple of Curve
        The outline as few smooth closed curves.
    paints : tuple of Paint
        What is printed, in painting order, bleed included.
    pierce : (p, 3) float64
        Piercing marks: x, y, diameter.
    fitted : int
        How many of them, the last ones, are cut out for parts that are on the model already.
    slits : tuple of (n, 2) float64 arrays
        Fitting slits and closed relief cuts to slit along, from the edge inwards.
    front, up : (2,) float64
        Unit directions of the body's front (+x) and top (+z) on the piece; zero where
        the piece has none (a roof has no up).
    spares : int
        How many extra copies to print.
    under : tuple of str
        Names of the pieces under whose edge this one runs on: parts of one region.
    """

    name: str
    region: str
    patch: Patch
    flat: FlatPiece
    outline: shapely.Polygon
    outline_curves: tuple[Curve, ...] = ()
    paints: tuple[Paint, ...] = ()
    pierce: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    fitted: int = 0
    slits: tuple[FloatArray, ...] = ()
    front: FloatArray = field(default_factory=lambda: np.zeros(2))
    up: FloatArray = field(default_factory=lambda: np.zeros(2))
    spares: int = 0
    under: tuple[str, ...] = ()
