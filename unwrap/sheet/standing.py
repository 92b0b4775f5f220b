"""How a piece stands on a sheet before it is placed, and whether it fits at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.affinity

from unwrap.errors import BadInput
from unwrap.sheet.naming import CLEAR, box_at, number_ground, place_name
from unwrap.sheet.piece import Piece
from unwrap.sheet.plates import offset
from unwrap.sheet.sheet import NamePlace, Placement
from unwrap.sheet.smallest_box import smallest_box

# Shapes are handed to the nesting as coarser ones that contain them, mm.
COARSENESS = 0.15
# What single precision in the nesting may cost, mm.
SLACK = 0.02
# A piece stands as on the body where its box is no more than this many times its smallest.
WORTH_STANDING = 1.08

Room = tuple[float, float]


@dataclass(frozen=True)
class Copy:
    """A copy of a piece that is to be placed.

    Parameters
    ----------
    key : str
        Unique among all copies.
    piece, copy
        As in `Placement`.
    turn : float
        By how much it was turned to stand straight, radians.
    shape : shapely Polygon
        What it needs when it stands so: all that it prints, half the gap round that,
        and its name, mm.
    name_at : NamePlace or None
        Where its name stands then; None where there was no room to keep.
    """

    key: str
    piece: Piece
    copy: int
    turn: float
    shape: shapely.Polygon
    name_at: NamePlace | None

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the shape, mm."""
        x0, y0, x1, y1 = self.shape.bounds
        return x1 - x0, y1 - y0


def printed_shape(piece: Piece) -> shapely.Geometry:
    """All that a piece puts on the sheet: its outline and the bleed beyond it."""
    return shapely.union_all([piece.outline, *(paint.area for paint in piece.paints)])


def has_heading(piece: Piece) -> bool:
    """Whether a piece has a front or a top to point an arrow at."""
    return bool(piece.front.any() or piece.up.any())


def copies_of(piece: Piece, rooms: Sequence[Room], gap: float, grain: bool) -> list[Copy]:
    """A piece and its spares, standing so that they fit one of the rooms.

    Parameters
    ----------
    piece : Piece
        The piece.
    rooms : sequence of (width, height)
        What the sheets have room for, mm; the last is that of a new sheet.
    gap : float
        Least distance between what is printed of two pieces, mm.
    grain : bool
        Whether pieces must stand as on the body or upside down.

    Returns
    -------
    list of Copy
        Standing as on the body or in their smallest box, with their names; where that
        is too large without the name, or aslant.

    Raises
    ------
    BadInput
        If the piece fits in no way.
    """
    turn = _upright_turn(piece, grain)
    printed = printed_shape(piece)
    bare = _standing(piece, 0, printed, turn, gap)
    copies = [
        _with_name(replace(bare, copy=k, key=f"{piece.name}/{k}"), printed, gap)
        for k in range(piece.spares + 1)
    ]
    if any(fits(copies[0], room, gap, grain) for room in rooms):
        return copies
    slants = [0.0] if grain else [0.0, *(sign * np.radians(k) for k in range(1, 45) for sign in (1, -1))]
    for slant in slants:
        tried = _standing(piece, 0, printed, turn + slant, gap)
        if any(fits(tried, room, gap, grain) for room in rooms):
            return [replace(tried, copy=k, key=f"{piece.name}/{k}") for k in range(piece.spares + 1)]
    raise BadInput(_too_large(bare, rooms[-1], gap, grain))


def fits(copy: Copy, room: Room, gap: float, grain: bool) -> bool:
    """Whether a copy fits a room as it stands, or turned by a right angle."""
    w, h = copy.size
    room_w, room_h = room[0] + gap, room[1] + gap
    return (w <= room_w and h <= room_h) or (not grain and h <= room_w and w <= room_h)


def _upright_turn(piece: Piece, grain: bool) -> float:
    """The turn that makes a piece stand as on the body, or else straight in its smallest box.

    Standing as on the body, its top or its front's left hand upwards, is easiest to
    read, and is a must where the film has a grain; it is given up where the box round
    the piece would become much larger by it.
    """
    printed = printed_shape(piece)
    upright = piece.up if piece.up.any() else np.array([-piece.front[1], piece.front[0]])
    box = smallest_box(printed)
    turn = -box.slant
    if upright.any():
        lean = np.pi / 2 - float(np.arctan2(upright[1], upright[0]))
        if grain or _turned(printed, lean).envelope.area <= WORTH_STANDING * box.area:
            return lean
        turn += float(np.round((lean - turn) / (np.pi / 2)) * np.pi / 2)
    return turn


def _turned(shape: shapely.Geometry, turn: float) -> shapely.Geometry:
    return shapely.affinity.rotate(shape, turn, origin=(0, 0), use_radians=True)


def _standing(piece: Piece, copy: int, printed: shapely.Geometry, turn: float, gap: float) -> Copy:
    shape = _nesting_shape(_turned(printed, turn), None, gap)
    return Copy(f"{piece.name}/{copy}", piece, copy, turn, shape, None)


def _with_name(copy: Copy, printed: shapely.Geometry, gap: float) -> Copy:
    name = Placement(copy.piece, 0.0, (0.0, 0.0), copy.copy).name
    arrow = has_heading(copy.piece)
    turned = _turned(printed, copy.turn)
    numbers = _turned(number_ground(copy.piece), copy.turn)
    name_at = place_name(turned.union(numbers), name, arrow)
    notes = box_at(name_at, name, arrow).union(numbers)
    return replace(copy, name_at=name_at, shape=_nesting_shape(turned, notes, gap))


def _nesting_shape(printed: shapely.Geometry, notes: shapely.Geometry | None, gap: float) -> shapely.Polygon:
    """A coarse polygon round a printed shape, half the gap and its notes; openings are given up."""
    grown = offset(printed, gap / 2 + SLACK, mitre_limit=1.5)
    if notes is not None:
        # As far as paint is, or notes beside the margin would run into it.
        grown = grown.union(notes.buffer(max(CLEAR, gap / 2) + SLACK, join_style="mitre"))
    solid = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(grown)])
    if solid.geom_type != "Polygon":
        solid = solid.convex_hull
    coarse = offset(solid.simplify(COARSENESS), COARSENESS, mitre_limit=1.5)
    coarse = shapely.Polygon(coarse.exterior).simplify(COARSENESS / 20)
    return shapely.intersection(coarse, solid.envelope)


def _too_large(copy: Copy, room: Room, gap: float, grain: bool) -> str:
    w, h = (side - gap - 2 * SLACK for side in copy.size)
    if min(room) <= 0:
        return "the sheet has no room left inside its margins and beside its scale bars; use a larger sheet."
    turned = (
        "; it would fit turned by a right angle, which the film's grain rules out"
        if grain and h <= room[0] and w <= room[1]
        else ""
    )
    return (
        f"piece {copy.piece.name!r} is {w:.1f} x {h:.1f} mm with its bleed and the sheet has room for "
        f"{room[0]:.1f} x {room[1]:.1f} mm inside its margins{turned}; use a larger sheet or part the region "
        "in two with `within`."
    )
