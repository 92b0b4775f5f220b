"""Where a piece's name and its slits' numbers stand: in an opening or under the piece, and at the mouths."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.sheet.lettering import text_width
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import NamePlace

SIZES = (2.2, 1.8, 1.4)
# Room beside the name for the arrow, and half the arrow's length, in sizes of the type.
ARROW_ROOM, ARROW_HALF = 1.55, 0.6
# Where the arrow's middle stands above the base line, in sizes: halfway up the small letters.
ARROW_LIFT = 0.36
# Clear ground between notes and paint, mm.
CLEAR = 0.4
# How far a slit's number reaches from its mouth, and half of what it takes up, mm.
NUMBER_REACH = 1.1
# How finely places under a piece are tried, mm.
STEP = 0.5


def slit_mouths(piece: Piece) -> list[tuple[FloatArray, FloatArray]]:
    """(mouth, tip) of every relief cut and fitting slit on the piece, mm, relief cuts first."""
    found = []
    flat = piece.flat
    for cut in flat.cuts:
        ends = []
        for end in (cut[0], cut[-1]):
            away = np.linalg.norm(flat.surface - end, axis=1)
            near = away <= away.min() + 1e-6
            ends.append(flat.points[near].mean(axis=0))
        found.append((ends[0], ends[1]))
    for slit in piece.slits:
        if not any(np.linalg.norm(slit[-1] - tip) < 0.05 for _, tip in found):
            found.append((slit[0], slit[-1]))
    return found


def has_tip(flat: FlatPiece, cut: FloatArray) -> bool:
    """Whether a relief cut ends inside the piece; else it runs through to another edge."""
    away = np.linalg.norm(flat.surface - cut[-1], axis=1)
    return int((away <= away.min() + 1e-6).sum()) == 1


def name_box(name: str, size: float, arrow: bool) -> tuple[float, float, float, float]:
    """(x0, y0, x1, y1) of a name with its arrow, mm, from the left end of its base line."""
    high = ARROW_LIFT + ARROW_HALF if arrow else 0.8
    wide = text_width(name, size) + (ARROW_ROOM * size if arrow else 0.0)
    return -0.3, -0.25 * size, wide + 0.3, high * size


def place_name(printed: shapely.Geometry, name: str, arrow: bool) -> NamePlace:
    """Find the place for a name that costs least film.

    Parameters
    ----------
    printed : Polygon or MultiPolygon
        What the piece prints, standing upright, mm.
    name : str
        What to write.
    arrow : bool
        Whether an arrow stands beside it.

    Returns
    -------
    NamePlace
        Level. In the middle of an opening that holds it: that film is cut away. Else
        under the piece, where its lower edge leaves most room, and further left where
        that makes no difference. Names wider than the piece are written smaller.
    """
    left, low, right, high = printed.bounds
    wide = right - left
    fitting = [size for size in SIZES if _width(name, size, arrow) <= wide]
    size = fitting[0] if fitting else SIZES[-1]
    for opening in _openings(printed):
        for larger in SIZES:
            x0, y0, x1, y1 = name_box(name, larger, arrow)
            middle = opening.envelope.centroid
            at = (middle.x - (x0 + x1) / 2, middle.y - (y0 + y1) / 2)
            if opening.buffer(-CLEAR).contains(shapely.box(at[0] + x0, at[1] + y0, at[0] + x1, at[1] + y1)):
                return NamePlace(at[0], at[1], 0.0, larger)
    x0, y0, x1, y1 = name_box(name, size, arrow)
    starts = left - x0 + np.arange(0.0, max(wide - (x1 - x0), 0.0) + STEP / 2, STEP)
    strips = shapely.box(starts + x0, low - 1.0, starts + x1, high + 1.0)
    under = shapely.bounds(shapely.intersection(printed, strips))[:, 1]
    under = np.where(np.isnan(under), low, under)
    best = int(np.argmax(np.round(under / STEP)))
    return NamePlace(float(starts[best]), float(under[best] - CLEAR - y1), 0.0, size)


def turned_place(place: NamePlace, name: str, arrow: bool, turn: float, x: float, y: float) -> NamePlace:
    """The place after the piece was turned (radians) and moved, reading from the foot or the right."""
    x0, y0, x1, y1 = name_box(name, place.size, arrow)
    c, s = np.cos(turn), np.sin(turn)
    whole = place.turn + turn
    middle = np.array([place.x + (x0 + x1) / 2, place.y + (y0 + y1) / 2])
    middle = np.array([[c, -s], [s, c]]) @ middle + (x, y)
    # A name may not stand on its head, nor read downwards.
    whole = float((whole + np.pi / 2 - 1e-6) % np.pi - np.pi / 2 + 1e-6)
    c, s = np.cos(whole), np.sin(whole)
    at = middle - np.array([[c, -s], [s, c]]) @ np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return NamePlace(float(at[0]), float(at[1]), whole, place.size)


def box_at(place: NamePlace, name: str, arrow: bool) -> shapely.Polygon:
    """The ground that a name takes, mm."""
    x0, y0, x1, y1 = name_box(name, place.size, arrow)
    c, s = np.cos(place.turn), np.sin(place.turn)
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return shapely.Polygon(corners @ np.array([[c, s], [-s, c]]) + (place.x, place.y))


def _width(name: str, size: float, arrow: bool) -> float:
    x0, _, x1, _ = name_box(name, size, arrow)
    return x1 - x0


def _openings(printed: shapely.Geometry) -> list[shapely.Polygon]:
    rings = [
        ring for part in shapely.get_parts(printed) if part.geom_type == "Polygon" for ring in part.interiors
    ]
    return sorted((shapely.Polygon(ring) for ring in rings), key=lambda opening: -opening.area)


def number_ground(piece: Piece) -> shapely.Geometry:
    """Room for a number outside the mouth of every slit, on the piece, mm."""
    spots = []
    for mouth, tip in slit_mouths(piece):
        out = (mouth - tip) / max(float(np.linalg.norm(mouth - tip)), 1e-9)
        spots.append(shapely.Point(mouth + NUMBER_REACH * out).buffer(NUMBER_REACH, quad_segs=2))
    return shapely.union_all(spots)
