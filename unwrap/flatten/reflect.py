"""The other side of a body: a flat piece reflected instead of flattened again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unwrap.flatten.flat_piece import FlatPiece

_ACROSS = np.array([1.0, -1.0, 1.0])


def reflect_flat(flat: FlatPiece, middle: float = 0.0) -> FlatPiece:
    """The flat piece of the patch mirrored in the body's middle plane (y -> 2 middle - y).

    Corners keep their numbers and faces their places; only their winding turns round,
    as that of the reflected patch does, so both still wind counter-clockwise.

    Parameters
    ----------
    flat : FlatPiece
        The piece of the side that was flattened.
    middle : float
        y of the middle plane, mm.

    Returns
    -------
    FlatPiece
        The same strains and cuts on the other side.
    """
    shift = np.array([0.0, 2.0 * middle, 0.0])
    return replace(
        flat,
        points=flat.points * [-1.0, 1.0],
        faces=flat.faces[:, ::-1].copy(),
        surface=flat.surface * _ACROSS + shift,
        cuts=tuple(cut * _ACROSS + shift for cut in flat.cuts),
        uncut=None if flat.uncut is None else reflect_flat(flat.uncut, middle),
    )
