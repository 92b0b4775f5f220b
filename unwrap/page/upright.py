"""Turn a piece as a person would hold it: the body's top up, or its front to the left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely.affinity

from unwrap.arrays import FloatArray
from unwrap.sheet.piece import Piece


def upright(piece: Piece) -> Piece:
    """The piece turned in its plane, with everything that is printed on it.

    Parameters
    ----------
    piece : Piece
        As it was finished, at any angle.
    """
    matrix = _turn(piece)
    turn = matrix[:, :2].T
    (a, b, x), (d, e, y) = matrix
    return replace(
        piece,
        flat=replace(piece.flat, points=piece.flat.points @ turn),
        outline=shapely.affinity.affine_transform(piece.outline, (a, b, d, e, x, y)),
        outline_curves=tuple(curve.moved(matrix) for curve in piece.outline_curves),
        paints=tuple(paint.moved(matrix) for paint in piece.paints),
        pierce=np.column_stack([piece.pierce[:, :2] @ turn, piece.pierce[:, 2:]]),
        slits=tuple(slit @ turn for slit in piece.slits),
        front=piece.front @ turn,
        up=piece.up @ turn,
    )


def _turn(piece: Piece) -> FloatArray:
    """(2, 3) matrix of a turn about the origin."""
    if np.linalg.norm(piece.up) > 0:
        angle = np.pi / 2 - np.arctan2(piece.up[1], piece.up[0])
    elif np.linalg.norm(piece.front) > 0:
        angle = np.pi - np.arctan2(piece.front[1], piece.front[0])
    else:
        angle = 0.0
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0]])
