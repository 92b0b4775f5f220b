"""A sheet: what goes through the printer once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.sheet.piece import Piece


@dataclass(frozen=True)
class NamePlace:
    """Where a name is written: the left end of its base line, mm, its turn, radians, its size, mm."""

    x: float
    y: float
    turn: float
    size: float


@dataclass(frozen=True, eq=False)
class Placement:
    """One copy of a piece on a sheet.

    Parameters
    ----------
    piece : Piece
        What is placed.
    turn : float
        Anticlockwise turn about the piece's origin, radians.
    shift : tuple of float
        Then the move, mm, in the sheet's frame: origin at the lower left corner, y up,
        not mirrored.
    copy : int
        0 for the piece itself, 1, 2, ... for spares.
    name_at : NamePlace or None
        Where its name stands, in the sheet's frame; None leaves it to the marks.
    """

    piece: Piece
    turn: float
    shift: tuple[float, float]
    copy: int = 0
    name_at: NamePlace | None = None

    @property
    def name(self) -> str:
        """The copy's name on the sheet: the piece's own, or `name-2`, `name-3` for spares."""
        return self.piece.name if self.copy == 0 else f"{self.piece.name}-{self.copy + 1}"

    @property
    def matrix(self) -> FloatArray:
        """(2, 3) affine matrix from the piece's plane to the sheet's frame."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        return np.array([[c, -s, self.shift[0]], [s, c, self.shift[1]]])


@dataclass(frozen=True, eq=False)
class Sheet:
    """Pieces placed on one sheet of film; mirroring is left to whoever writes it.

    Parameters
    ----------
    number : int
        1, 2, 3, ...
    width, height : float
        mm.
    placements : tuple of Placement
        The copies on it.
    margin : float
        What the printer cannot reach along each edge, mm.
    """

    number: int
    width: float
    height: float
    placements: tuple[Placement, ...]
    margin: float = 5.0
