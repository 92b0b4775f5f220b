"""Lay pieces on as few sheets as can be, by their true shapes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity

from unwrap.errors import BadInput
from unwrap.sheet.nest import nest_in_strip
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Placement, Sheet

# Shapes are handed to the nesting as coarser ones that contain them, mm.
COARSENESS = 0.15
# What single precision in the nesting may cost, mm.
SLACK = 0.02
# Room kept for the scale bars and the line of text, mm: at the foot and at the left.
FOOT, SIDE = 7.0, 6.0
# Free turning has to save this share of the length to be worth a sheet that looks untidy,
# and is not tried where square-on pieces already cover this much of the strip.
WORTH_TURNING = 0.03
WELL_COVERED = 0.8
# Share of a sheet that a first choice of pieces may fill, the most that nesting is ever
# hoped to fill, and how many of the pieces left over are tried, one by one, in the gaps.
FIRST_CHOICE, MOST_HOPED = 0.8, 0.95
LATE_COMERS = 4


@dataclass(frozen=True)
class _Copy:
    """One thing to place: a copy of a piece, turned to stand straight, and its shape with half the gap."""

    key: str
    piece: Piece
    copy: int
    turn: float
    shape: shapely.Polygon


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
    left = [_straightened(piece, copy, gap, grain) for piece in pieces for copy in range(piece.spares + 1)]
    left.sort(key=lambda copy: (-copy.shape.area, copy.key))
    rooms = [
        (size, (size[0] - 2 * margin - SIDE, size[1] - 2 * margin - FOOT))
        for size in (*in_hand, (width, height))
    ]
    for copy in left:
        if not any(_fits(copy, room, gap, grain) for _, room in rooms):
            raise BadInput(_too_large(copy, rooms[-1][1], gap, grain))
    sheets: list[Sheet] = []
    while left:
        size, room = rooms.pop(0) if len(rooms) > 1 else rooms[0]
        fitting = [copy for copy in left if _fits(copy, room, gap, grain)]
        if not fitting:
            if len(rooms) > 1 or size != (width, height):
                continue
            raise BadInput(_too_large(left[0], room, gap, grain))
        placed = _fill_sheet(fitting, room, gap, grain, effort)
        placements = [_placement(copy, turn, x, y, size[1], margin, gap) for copy, turn, x, y in placed]
        order = {piece.name: k for k, piece in enumerate(pieces)}
        placements.sort(key=lambda place: (order[place.piece.name], place.copy))
        sheets.append(Sheet(len(sheets) + 1, size[0], size[1], tuple(placements), margin))
        used = {copy.key for copy, *_ in placed}
        left = [copy for copy in left if copy.key not in used]
    for sheet in sheets:
        check_sheet(sheet, gap)
    return tuple(sheets)


def printed_shape(piece: Piece) -> shapely.Geometry:
    """All that a piece puts on the sheet: its outline and the bleed beyond it."""
    shapes = [piece.outline, *(paint.area for paint in piece.paints)]
    return shapely.unary_union(shapes)


def _straightened(piece: Piece, copy: int, gap: float, grain: bool) -> _Copy:
    """Turn a piece to stand straight, and its top upwards as nearly as that goes.

    Straight is as its body stands where the film has a grain, and by its smallest box
    otherwise: that is what nests well and looks tidy.
    """
    printed = printed_shape(piece)
    upright = piece.up if piece.up.any() else np.array([-piece.front[1], piece.front[0]])
    lean = np.pi / 2 - float(np.arctan2(upright[1], upright[0])) if upright.any() else None
    box = np.asarray(printed.minimum_rotated_rectangle.exterior.coords)
    turn = -float(np.arctan2(*(box[1] - box[0])[::-1]))
    if lean is not None:
        turn = lean if grain else turn + float(np.round((lean - turn) / (np.pi / 2)) * np.pi / 2)
    turn = float((turn + np.pi) % (2 * np.pi) - np.pi)
    turned = shapely.affinity.rotate(printed, turn, origin=(0, 0), use_radians=True)
    return _Copy(f"{piece.name}/{copy}", piece, copy, turn, _nesting_shape(turned, gap))


def _nesting_shape(printed: shapely.Geometry, gap: float) -> shapely.Polygon:
    """A coarse polygon round a printed shape and half the gap; openings are given up."""
    grown = printed.buffer(gap / 2 + SLACK, join_style="mitre", mitre_limit=1.5)
    solid = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(grown)])
    if solid.geom_type != "Polygon":
        solid = solid.convex_hull
    coarse = solid.simplify(COARSENESS).buffer(COARSENESS, join_style="mitre", mitre_limit=1.5)
    coarse = shapely.Polygon(coarse.exterior).simplify(COARSENESS / 20)
    return shapely.intersection(coarse, solid.envelope)


def _size(copy: _Copy) -> tuple[float, float]:
    x0, y0, x1, y1 = copy.shape.bounds
    return x1 - x0, y1 - y0


def _fits(copy: _Copy, room: tuple[float, float], gap: float, grain: bool) -> bool:
    w, h = _size(copy)
    room_w, room_h = room[0] + gap, room[1] + gap
    return (w <= room_w and h <= room_h) or (not grain and h <= room_w and w <= room_h)


def _too_large(copy: _Copy, room: tuple[float, float], gap: float, grain: bool) -> str:
    w, h = (side - gap - 2 * SLACK for side in _size(copy))
    turned = (
        "; it would fit turned by a right angle, which the film's grain rules out"
        if grain and h <= room[0] and w <= room[1]
        else ""
    )
    return (
        f"piece {copy.piece.name!r} is {w:.1f} x {h:.1f} mm with its bleed and the sheet has room for "
        f"{room[0]:.1f} x {room[1]:.1f} mm inside its margins{turned}; use a larger sheet or part the region "
        "in two with `within`"
    )


def _fill_sheet(
    copies: list[_Copy], room: tuple[float, float], gap: float, grain: bool, effort: float
) -> list[tuple[_Copy, float, float, float]]:
    """Place as many copies as the sheet takes: (copy, turn, x, y), from the upper left corner of the room."""
    across, along = room[0] + gap, room[1] + gap
    if _area(copies) <= MOST_HOPED * across * along:
        length, placed = _nest(copies, across, grain, effort)
        if length <= along:
            return placed
    chosen: list[_Copy] = []
    for copy in copies:
        if _area([*chosen, copy]) <= FIRST_CHOICE * across * along or not chosen:
            chosen.append(copy)
    length, placed = _nest(chosen, across, grain, effort, enough=along)
    if length > along:
        # What the strip puts beyond the sheet's end is left for the next sheet.
        chosen = [place[0] for place in placed if _reach(place) <= along] or chosen[:1]
        length, placed = _nest(chosen, across, grain, effort, enough=along)
    names = {copy.key for copy in chosen}
    free = MOST_HOPED * across * along - _area(chosen)
    late = [copy for copy in copies if copy.key not in names and copy.shape.area <= free]
    for copy in late[:LATE_COMERS]:
        length, trial = _nest([*chosen, copy], across, grain, 0.5 * effort, enough=along)
        if length <= along:
            chosen, placed = [*chosen, copy], trial
    return placed


def _area(copies: Sequence[_Copy]) -> float:
    return float(sum(copy.shape.area for copy in copies))


def _reach(place: tuple[_Copy, float, float, float]) -> float:
    copy, turn, _, y = place
    turned = shapely.affinity.rotate(copy.shape, turn, origin=(0, 0), use_radians=True)
    return -(turned.bounds[1] + y)


def _nest(
    copies: list[_Copy], across: float, grain: bool, effort: float, enough: float = 0.0
) -> tuple[float, list[tuple[_Copy, float, float, float]]]:
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
    copy: _Copy, turn: float, x: float, y: float, height: float, margin: float, gap: float
) -> Placement:
    whole = float((copy.turn + turn + np.pi) % (2 * np.pi) - np.pi)
    return Placement(
        copy.piece, whole, (x + margin + SIDE - gap / 2, y + height - margin + gap / 2), copy.copy
    )


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
