"""A piece turned so that it reads as it lies on the model: top upwards, or else front to the left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely.affinity

from unwrap.sheet.piece import Piece


def upright(piece: Piece) -> Piece:
    """The same piece turned in its plane for reading.

    A piece with a top has it upwards; one with only a front has that to the left, as
    in a drawing of the model's left side. Shapes and strains stay as they are.
    """
    if piece.up.any():
        turn = 0.5 * np.pi - np.arctan2(piece.up[1], piece.up[0])
    elif piece.front.any():
        turn = np.pi - np.arctan2(piece.front[1], piece.front[0])
    else:
        return piece
    c, s = float(np.cos(turn)), float(np.sin(turn))
    matrix = np.array([[c, -s, 0.0], [s, c, 0.0]])
    rotation = matrix[:, :2].T
    pierce = piece.pierce.copy()
    pierce[:, :2] = pierce[:, :2] @ rotation
    return replace(
        piece,
        flat=replace(piece.flat, points=piece.flat.points @ rotation),
        outline=shapely.affinity.affine_transform(piece.outline, (c, -s, s, c, 0.0, 0.0)),
        outline_curves=tuple(curve.moved(matrix) for curve in piece.outline_curves),
        paints=tuple(paint.moved(matrix) for paint in piece.paints),
        pierce=pierce,
        slits=tuple(slit @ rotation for slit in piece.slits),
        front=piece.front @ rotation,
        up=piece.up @ rotation,
    )
