"""Fill: the whole ground of a piece in one colour; bleed is added where the piece is finished."""

from __future__ import annotations

from unwrap.livery.carry import Carry
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Paint


def lay_fill(carry: Carry, colour: str) -> Paint:
    """Cover the whole piece with a colour.

    Parameters
    ----------
    carry : Carry
    colour : str
        "#rrggbb".
    """
    area = carry.outline
    return Paint("fill", colour, area, curves_of_area(area), label=f"fill: {colour}")
