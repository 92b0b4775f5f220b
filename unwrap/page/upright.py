"""Pieces as a person would hold them: the body's top up, or its front to the left; parts side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely.affinity

from unwrap.arrays import FloatArray
from unwrap.sheet.piece import Piece

# Between parts of one region that are shown side by side: a share of their height.
APART = 0.12


def upright(piece: Piece) -> Piece:
    """The piece turned in its plane, with everything that is printed on it.

    Parameters
    ----------
    piece : Piece
        As it was finished, at any angle.
    """
    return _moved(piece, _turn(piece))


def beside(pieces: Sequence[Piece]) -> tuple[Piece, ...]:
    """Pieces in a row from left to right, none over another."""
    out: list[Piece] = []
    for piece in pieces:
        left, bottom, _, top = piece.outline.bounds
        if out:
            _, level, right, high = out[-1].outline.bounds
            apart = APART * max(high - level, top - bottom)
            shift = np.array([right + apart - left, 0.5 * (level + high - bottom - top)])
            piece = _moved(piece, np.column_stack([np.eye(2), shift]))
        out.append(piece)
    return tuple(out)


def _moved(piece: Piece, matrix: FloatArray) -> Piece:
    """A piece turned and shifted in its plane by a (2, 3) matrix."""
    turn, shift = matrix[:, :2].T, matrix[:, 2]
    (a, b, x), (d, e, y) = matrix
    return replace(
        piece,
        flat=replace(piece.flat, points=piece.flat.points @ turn + shift),
        outline=shapely.affinity.affine_transform(piece.outline, (a, b, d, e, x, y)),
        outline_curves=tuple(curve.moved(matrix) for curve in piece.outline_curves),
        paints=tuple(paint.moved(matrix) for paint in piece.paints),
        pierce=np.column_stack([piece.pierce[:, :2] @ turn + shift, piece.pierce[:, 2:]]),
        slits=tuple(slit @ turn + shift for slit in piece.slits),
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
