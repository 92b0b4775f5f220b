"""A corner of a line set, and where things on a piece stand on the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.carry import Carry
from unwrap.livery.ground import Ground


@dataclass(frozen=True, eq=False)
class Corner:
    """A square corner of the panel inside the lining's outer edge, with a chart round it.

    Parameters
    ----------
    carry : int
        The piece that it is on.
    ring : tuple of int
        The outline that it is on: piece, part, ring.
    at : (2,) float64
        Where on that piece, mm.
    place : (3,) float64
        Where on the body, mm.
    interior : float
        The angle inside the panel, radians; at an opening the angle on the opening's side.
    side : float
        Length of the panel's side that follows, to the next corner, mm.
    chart : (m, 3, 2) float64
        Ground faces laid flat round it, mm; the corner is the origin.
    sides : (2, 2) float64
        Unit directions in the chart along the two sides, away from the corner.
    opening : bool
        Whether it is a corner of a line set round an opening.
    rounded : float
        How much of each side the region's own edge has rounded away here, mm: the corner is
        then where the sides would meet, and `at` and `place` are on the rounding.
    """

    carry: int
    ring: tuple[int, int, int]
    at: FloatArray
    place: FloatArray
    interior: float
    side: float
    chart: FloatArray
    sides: FloatArray
    opening: bool = False
    rounded: float = 0.0


def places_at(
    ground: Ground, number: int, carry: Carry, points: FloatArray
) -> tuple[int, FloatArray, FloatArray, IntArray]:
    """The ground's face at the first of some points of a piece; and of all: weights, places, flat faces."""
    part, weights, _ = carry.to_part(points)
    mine = (ground.owner == number) & (ground.face == carry.flat.face[part[0]])
    on_face = np.einsum("nc,ncw->nw", weights, carry.part_weights[part])
    place = np.einsum("nc,ncj->nj", weights, carry.on_surface[part])
    return int(np.flatnonzero(mine)[0]), on_face, place, part


def unit(way: FloatArray) -> FloatArray:
    """A direction at length 1; nought stays nought."""
    return way / max(float(np.linalg.norm(way)), 1e-300)
