"""Lay pieces on as few sheets as can be, by their true shapes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.affinity

from unwrap.sheet.naming import turned_place
from unwrap.sheet.nest import nest_in_strip
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.standing import Copy, copies_of, fits, has_heading, printed_shape

# Room kept for the scale bars and the line of text, mm: at the foot and at the left.
FOOT, SIDE = 7.0, 6.0
# Free turning has to save this share of the length to be worth a sheet that looks untidy,
# and is not tried where square-on pieces already cover this much of the strip.
WORTH_TURNING = 0.03
WELL_COVERED = 0.8
# Share of a sheet that a first choice of pieces may fill, the most that nesting is ever
# hoped to fill, and how many of the pieces left over are tried, one by one, in the gaps.
FIRST_CHOICE, MOST_HOPED = 0.86, 0.95
LATE_COMERS = 4


def lay_out(
    pieces: Sequence[Piece],
    width: float,
    height: float,
    margin: float = 5.0,
    gap: float = 3.0,
    *,
    grain: bool = False,
    in_hand: Sequence[tuple[float, float]] = (),
    effort: float = 1.0,
) -> tuple[Sheet, ...]:
    """Place every piece and its spares on sheets.

    Parameters
    ----------
    pieces : sequence of Piece
        What to place; names must be unique.
    width, height : float
        Size of a new sheet, mm.
    margin : float
        What the printer cannot reach along each edge, mm.
    gap : float
        Least distance between what is printed of two pieces, mm.
    grain : bool
        True where the film must keep its direction: pieces then stand as they are or
        upside down. Otherwise they turn.
    in_hand : sequence of (width, height)
        Sheets already begun, to be used up first, mm.
    effort : float
        How much work to spend on the nesting, 1.0 = ordinary.

    Returns
    -------
    tuple of Sheet
        The same for the same input. Pieces stand from the top of each sheet downwards,
        so that what is left over is one strip across its foot.

    Raises
    ------
    BadInput
        If a piece is larger than the sheet.
    """
    if not pieces:
        return ()
    sizes = [*in_hand, (width, height)]
    rooms = [(w - 2 * margin - SIDE, h - 2 * margin - FOOT) for w, h in sizes]
    left = [copy for piece in pieces for copy in copies_of(piece, rooms, gap, grain)]
    left.sort(key=lambda copy: (-copy.shape.area, copy.key))
    order = {piece.name: k for k, piece in enumerate(pieces)}
    sheets: list[Sheet] = []
    while left:
        last = len(sizes) == 1
        size, room = (sizes[0], rooms[0]) if last else (sizes.pop(0), rooms.pop(0))
        fitting = [copy for copy in left if fits(copy, room, gap, grain)]
        if not fitting and not last:
            continue
        if not fitting:
            # Only a sheet in hand had room for it, and that one is full.
            stood = copies_of(left[0].piece, rooms, gap, grain)
            fitting = [copy for copy in stood if copy.key == left[0].key]
        placed = _fill_sheet(fitting, room, gap, grain, effort)
        placements = [_placement(copy, turn, x, y, size[1], margin, gap) for copy, turn, x, y in placed]
        placements.sort(key=lambda place: (order[place.piece.name], place.copy))
        sheets.append(Sheet(len(sheets) + 1, size[0], size[1], tuple(placements), margin))
        used = {copy.key for copy, *_ in placed}
        left = [copy for copy in left if copy.key not in used]
    for sheet in sheets:
        check_sheet(sheet, gap)
    return tuple(sheets)


def _fill_sheet(
    copies: list[Copy], room: tuple[float, float], gap: float, grain: bool, effort: float
) -> list[tuple[Copy, float, float, float]]:
    """Place as many copies as the sheet takes: (copy, turn, x, y), from the upper left corner of the room."""
    across, along = room[0] + gap, room[1] + gap
    if _area(copies) <= MOST_HOPED * across * along:
        length, placed = _nest(copies, across, grain, effort)
        if length <= along:
            return placed
    chosen: list[Copy] = []
    for copy in copies:
        if _area([*chosen, copy]) <= FIRST_CHOICE * across * along or not chosen:
            chosen.append(copy)
    length, placed = _nest(chosen, across, grain, effort, enough=along)
    if length > along:
        # What the strip puts beyond the sheet's end is left for the next sheet.
        placed = [place for place in placed if _reach(place) <= along]
        if not placed:
            _, placed = _nest(chosen[:1], across, grain, effort, enough=along)
        chosen = [place[0] for place in placed]
    names = {copy.key for copy in chosen}
    free = MOST_HOPED * across * along - _area(chosen)
    late = [copy for copy in copies if copy.key not in names and copy.shape.area <= free]
    for copy in late[:LATE_COMERS]:
        length, trial = _nest([*chosen, copy], across, grain, 0.5 * effort, enough=along)
        if length <= along:
            chosen, placed = [*chosen, copy], trial
    return placed


def _area(copies: Sequence[Copy]) -> float:
    return float(sum(copy.shape.area for copy in copies))


def _reach(place: tuple[Copy, float, float, float]) -> float:
    copy, turn, _, y = place
    turned = shapely.affinity.rotate(copy.shape, turn, origin=(0, 0), use_radians=True)
    return -(turned.bounds[1] + y)


def _nest(
    copies: list[Copy], across: float, grain: bool, effort: float, enough: float = 0.0
) -> tuple[float, list[tuple[Copy, float, float, float]]]:
    """Nest in a strip that runs down the sheet; a strip's x is down, its y is to the right."""
    shapes = {copy.key: [(x, y) for x, y in copy.shape.exterior.coords[:-1]] for copy in copies}
    square_on = [90.0, 270.0] if grain else [0.0, 90.0, 180.0, 270.0]
    length, places = nest_in_strip(shapes, across, square_on, effort, enough)
    if not grain and length > enough and _area(copies) < WELL_COVERED * length * across:
        free_length, free_places = nest_in_strip(shapes, across, None, effort, enough)
        if free_length <= (1.0 - WORTH_TURNING) * length or free_length <= enough < length:
            length, places = free_length, free_places
    by_key = {copy.key: copy for copy in copies}
    placed = [(by_key[p.name], np.radians(p.turn) - np.pi / 2, p.y, -p.x) for p in places]
    return length, placed


def _placement(
    copy: Copy, turn: float, x: float, y: float, height: float, margin: float, gap: float
) -> Placement:
    whole = float((copy.turn + turn + np.pi) % (2 * np.pi) - np.pi)
    x, y = x + margin + SIDE - gap / 2, y + height - margin + gap / 2
    place = Placement(copy.piece, whole, (x, y), copy.copy)
    if copy.name_at is None:
        return place
    name_at = turned_place(copy.name_at, place.name, has_heading(copy.piece), turn, x, y)
    return replace(place, name_at=name_at)


def check_sheet(sheet: Sheet, gap: float) -> None:
    """Check a sheet exactly, in double precision.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    gap : float
        Least distance between what is printed of two pieces, mm.

    Raises
    ------
    RuntimeError
        If pieces come nearer to each other than `gap`, or run into the margin.
    """
    shapes = placed_shapes(sheet)
    inner = shapely.box(sheet.margin, sheet.margin, sheet.width - sheet.margin, sheet.height - sheet.margin)
    for place, shape in zip(sheet.placements, shapes, strict=True):
        if not inner.contains(shape):
            raise RuntimeError(f"sheet {sheet.number}: piece {place.piece.name} runs into the margin")
    tree = shapely.STRtree(shapes)
    first, second = tree.query(shapes, predicate="dwithin", distance=gap - 1e-6)
    for a, b in zip(first, second, strict=True):
        if a < b:
            names = " and ".join(sheet.placements[k].piece.name for k in (a, b))
            raise RuntimeError(f"sheet {sheet.number}: pieces {names} come nearer than {gap} mm")


def placed_shapes(sheet: Sheet) -> list[shapely.Geometry]:
    """What each placement prints, bleed included, in the sheet's frame."""
    shapes = []
    for place in sheet.placements:
        (a, b, x), (d, e, y) = place.matrix
        shapes.append(shapely.affinity.affine_transform(printed_shape(place.piece), (a, b, d, e, x, y)))
    return shapes


def coverage(sheet: Sheet) -> float:
    """Area of the pieces over the area of the strip of the sheet that they use up, 0 to 1.

    The strip runs right across the printable width, from the top of the printable
    area down to the lowest point of a piece: what is below it can be cut off and used
    again.
    """
    shapes = placed_shapes(sheet)
    lowest = min(shape.bounds[1] for shape in shapes)
    used = (sheet.width - 2 * sheet.margin) * (sheet.height - sheet.margin - lowest)
    return float(sum(place.piece.outline.area for place in sheet.placements) / used)
