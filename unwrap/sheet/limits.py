"""What the printer may not manage: too much ink in one place, fine lines of several inks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from unwrap.livery.paint import Paint
from unwrap.sheet.inks import Press, tints_of, wanted_tints
from unwrap.sheet.piece import Piece
from unwrap.sheet.plates import PICTURE, visible_paints

# An ink fainter than this does not show when it lands beside its line.
SHOWS_ASIDE = 0.1
# A sum of tints is not over its limit by rounding alone.
ROUNDING = 1e-6


@dataclass(frozen=True)
class OverLimit:
    """A colour that asks for more ink than the limit.

    Parameters
    ----------
    piece : str
        The piece that it is on.
    colour : str
        "#rrggbb".
    total : float
        The sum of the tints that it asks for, 3.0 = 300 %.
    area : float
        How much of the piece it covers, mm^2.
    at : tuple of float
        A place inside it, on the piece, mm.
    """

    piece: str
    colour: str
    total: float
    area: float
    at: tuple[float, float]


def over_limit(pieces: Sequence[Piece], press: Press) -> tuple[OverLimit, ...]:
    """Where the livery asks for more ink than the printer's limit, largest ground first.

    The plates themselves hold to the limit; this says where they had to. Pictures are held to it
    dot by dot without a word.
    """
    places = []
    for piece in pieces:
        for _, colour, area in visible_paints(piece):
            if colour == PICTURE:
                continue
            total = sum(wanted_tints(colour, press))
            if total > press.limit + ROUNDING:
                spot = area.representative_point()
                places.append(OverLimit(piece.name, colour, total, float(area.area), (spot.x, spot.y)))
    return tuple(sorted(places, key=lambda place: (-place.area, place.piece, place.colour)))


def press_remarks(pieces: Sequence[Piece], press: Press) -> tuple[str, ...]:
    """What the user should know about the livery on this printer, one sentence each.

    Parameters
    ----------
    pieces : sequence of Piece
        All that is printed.
    press : Press
        The printer.

    Returns
    -------
    tuple of str
        Colours that were held to the coverage limit, with the pieces and places; and
        lines finer than `Press.least_built` in more than one ink, by colour.
    """
    remarks = []
    by_colour: dict[str, list[OverLimit]] = {}
    for place in over_limit(pieces, press):
        by_colour.setdefault(place.colour, []).append(place)
    for colour, places in by_colour.items():
        where = ", ".join(
            f"{place.piece} at ({place.at[0]:.0f}, {place.at[1]:.0f}) mm" for place in _one_per_piece(places)
        )
        remarks.append(
            f"{colour} wants {places[0].total:.0%} of ink, held to the limit of {press.limit:.0%}: {where}."
        )
    fine: dict[str, dict[str, list[float]]] = {}
    for piece in pieces:
        for paint in piece.paints:
            width = line_width(paint)
            inks = sum(tint >= SHOWS_ASIDE for tint in tints_of(paint.colour, press))
            if width is not None and inks > 1 and width < press.least_built - ROUNDING:
                fine.setdefault(paint.colour, {}).setdefault(piece.name, []).append(width)
    for colour, found in fine.items():
        widths = sorted(width for some in found.values() for width in some)
        span = " to ".join(dict.fromkeys(f"{width:.2f}" for width in (widths[0], widths[-1])))
        remarks.append(
            f"{colour} is built of several inks, in lines {span} mm wide on {', '.join(found)}; below "
            f"{press.least_built:.2f} mm the inks can land side by side: widen them or choose a purer colour."
        )
    return tuple(remarks)


def _one_per_piece(places: Sequence[OverLimit]) -> list[OverLimit]:
    largest: dict[str, OverLimit] = {}
    for place in places:
        largest.setdefault(place.piece, place)
    return list(largest.values())


def line_width(paint: Paint) -> float | None:
    """How wide the lines of a paint are, mm: None for a fill or artwork.

    A line knows its width; for lettering it is the mean width of the strokes, twice the
    area over the length of the edges, exact for long even strokes.
    """
    if paint.kind not in ("line", "band", "lettering"):
        return None
    if paint.stroke is not None:
        return paint.stroke
    if paint.asked_width is not None and paint.kind != "lettering":
        return paint.asked_width
    return float(2.0 * paint.area.area / paint.area.length) if paint.area.length > 0 else None
