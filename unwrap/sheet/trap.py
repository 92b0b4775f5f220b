"""Trapping: neighbouring colours overlap a little, so that a misprint shows no gap."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import shapely

from unwrap.sheet.inks import LEAST_TINT, Press, Tints, hold, luminance, tints_of
from unwrap.sheet.piece import Piece
from unwrap.sheet.plates import PICTURE, polygons_in, visible_paints


@dataclass(frozen=True, eq=False)
class Tinted:
    """Ground that is printed with one mixture of inks: an area, mm, and its tints."""

    area: shapely.Geometry
    tints: Tints


@lru_cache(maxsize=128)
def traps_of(piece: Piece, press: Press) -> tuple[Tinted, ...]:
    """The overlaps between the colours of a piece.

    Parameters
    ----------
    piece : Piece
        The piece.
    press : Press
        Its registration is how wide the overlaps are.

    Returns
    -------
    tuple of Tinted
        Ground to be printed over the piece's paints. Where two colours border on each
        other, the lighter one runs into the darker one by the registration and the
        strip takes the more of each ink. The darker edge is the one that the eye sees,
        so lines neither gain nor lose width: a fill runs on under a dark line, and a
        light line runs on over a dark fill.

    Notes
    -----
    White paint has no ink of its own to spread; it stands on the white plate, which is
    whole underneath.
    """
    if press.registration <= 0 or not piece.paints:
        return ()
    grounds: dict[str, list[shapely.Geometry]] = {}
    for _, colour, area in visible_paints(piece):
        if colour == PICTURE:
            # Neighbours of many colours have no one darker side to run under.
            continue
        grounds.setdefault(colour, []).append(area)
    united = {colour: shapely.union_all(areas) for colour, areas in grounds.items()}
    # Lightest first; the colour's name decides between two that are equally light.
    colours = sorted(united, key=lambda colour: (-luminance(colour), colour))
    if len(colours) < 2:
        return ()
    grounds_of = [united[colour] for colour in colours]
    tints = [tints_of(colour, press) for colour in colours]
    spread = [ground.buffer(press.registration, quad_segs=4) for ground in grounds_of]
    tree = shapely.STRtree(grounds_of)
    pairs = tree.query(spread, predicate="intersects").T
    traps = []
    for light, dark in sorted((int(a), int(b)) for a, b in pairs if a < b):
        both = _more_of_each(tints[light], tints[dark])
        gain = max(more - own for more, own in zip(both, tints[dark], strict=True))
        if sum(tints[light]) < LEAST_TINT or gain < LEAST_TINT:
            continue
        strip = polygons_in(spread[light].intersection(grounds_of[dark]))
        if not strip.is_empty:
            traps.append(Tinted(strip, hold(both, press.limit)))
    return tuple(traps)


def _more_of_each(one: Tints, two: Tints) -> Tints:
    cyan, magenta, yellow, black = (max(a, b) for a, b in zip(one, two, strict=True))
    return cyan, magenta, yellow, black
