"""What is written on a sheet beside its pieces: names, arrows, scale bars, slit numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Curve
from unwrap.sheet.curves import straight_curve
from unwrap.sheet.foot import Mark, foot_marks
from unwrap.sheet.layout import placed_shapes
from unwrap.sheet.lettering import text_curves, text_width
from unwrap.sheet.naming import (
    ARROW_HALF,
    ARROW_LIFT,
    ARROW_ROOM,
    SIZES,
    box_at,
    has_tip,
    name_box,
    slit_mouths,
)
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import NamePlace, Placement, Sheet

NUMBER_SIZE = 1.6
# Diameter of the ring that marks the tip of a relief cut, mm.
TIP = 0.3
# Numbers side by side keep this far apart, mm.
APART = 0.9
# Notes keep this clear of paint, mm.
CLEAR = 0.35


def sheet_marks(sheet: Sheet, title: str = "") -> tuple[Mark, ...]:
    """Everything that is written on a sheet.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    title : str
        A line of text for its foot, such as the job's name.

    Returns
    -------
    tuple of Mark
        The sheet's own first, then those of each copy. None touches what is printed
        on a piece.
    """
    taken = [shape.buffer(CLEAR, quad_segs=2) for shape in placed_shapes(sheet)]
    bars = foot_marks(sheet, title)
    inner = shapely.box(sheet.margin, sheet.margin, sheet.width - sheet.margin, sheet.height - sheet.margin)
    ground = _Ground(inner, taken)
    for mark in bars:
        ground.take(_box_of(mark))
    marks = list(bars)
    for placement in sheet.placements:
        marks += _slit_numbers(placement, ground)
    for k, placement in enumerate(sheet.placements):
        marks += _name_marks(placement, taken[k], ground)
    return tuple(marks)


class _Ground:
    """The free ground of a sheet, used up as marks are set down."""

    def __init__(self, inner: shapely.Polygon, taken: Sequence[shapely.Geometry]) -> None:
        self.inner = inner
        self.taken = list(taken)
        self.tree = shapely.STRtree(self.taken)
        self.marks: list[shapely.Geometry] = []

    def is_free(self, box: shapely.Geometry) -> bool:
        return (
            self.inner.contains(box)
            and not any(mark.intersects(box) for mark in self.marks)
            and len(self.tree.query(box, predicate="intersects")) == 0
        )

    def take(self, box: shapely.Geometry) -> None:
        self.marks.append(box)


def _box_of(mark: Mark) -> shapely.Polygon:
    points = np.concatenate([curve.spans.reshape(-1, 2) for curve in mark.curves])
    return shapely.box(*points.min(axis=0), *points.max(axis=0)).buffer(CLEAR, join_style="mitre")


def _arrow(direction: FloatArray, middle: FloatArray, size: float, solid: bool) -> tuple[Curve, ...]:
    """A small arrow through `middle`: a solid head for the front, an open one for the top."""
    along, across = direction, np.array([-direction[1], direction[0]])
    half, head, wide = ARROW_HALF * size, 0.5 * size, 0.23 * size
    tip, tail = middle + half * along, middle - half * along
    neck = tip - head * along
    if solid:
        stem = 0.06
        points = [
            tail + stem * across, tail - stem * across, neck - stem * across, neck - wide * across,
            tip, neck + wide * across, neck + stem * across,
        ]  # fmt: skip
        return (straight_curve(np.array(points), closed=True),)
    shaft = straight_curve(np.array([tail, tip]), closed=False)
    barbs = straight_curve(np.array([neck - wide * across, tip, neck + wide * across]), closed=False)
    return (shaft, barbs)


def _heading(placement: Placement) -> tuple[FloatArray, bool] | None:
    """Where the arrow of a copy points on the sheet, and whether that is the front."""
    piece: Piece = placement.piece
    turn = placement.matrix[:, :2]
    if piece.front.any():
        return turn @ piece.front, True
    if piece.up.any():
        return turn @ piece.up, False
    return None


def _name_marks(placement: Placement, shape: shapely.Geometry, ground: _Ground) -> list[Mark]:
    """The copy's name and arrow, where the layout has kept room or on free ground near by."""
    name, heading = placement.name, _heading(placement)
    arrow = heading is not None
    place = placement.name_at or _free_place(shape, name, arrow, ground)
    if place is None:
        return []
    ground.take(box_at(place, name, arrow))
    marks = [Mark("text", text_curves(name, place.size, (place.x, place.y), place.turn), name, name)]
    if heading is not None:
        along = np.array([np.cos(place.turn), np.sin(place.turn)])
        across = np.array([-along[1], along[0]])
        beside = text_width(name, place.size) + 0.57 * ARROW_ROOM * place.size
        middle = np.array([place.x, place.y]) + beside * along + ARROW_LIFT * place.size * across
        marks.append(_arrow_mark(heading, middle, place.size, name))
    return marks


def _arrow_mark(heading: tuple[FloatArray, bool], middle: FloatArray, size: float, name: str) -> Mark:
    direction, is_front = heading
    says = "arrow to the front" if is_front else "arrow to the top"
    return Mark("solid" if is_front else "rule", _arrow(direction, middle, size, is_front), says, name)


def _free_place(shape: shapely.Geometry, name: str, arrow: bool, ground: _Ground) -> NamePlace | None:
    """A free place for a name near a shape: level first, then upright, then smaller."""
    for size in SIZES:
        _, low, _, high = name_box(name, size, arrow)
        for distance in (0.1, 1.0, 2.5, 6.0, 12.0, 30.0, 70.0):
            ring = shape.buffer(distance).boundary
            count = int(np.clip(ring.length, 16, 160))
            places = shapely.get_coordinates(
                shapely.line_interpolate_point(ring, np.linspace(0, 1, count), normalized=True)
            )
            for turn in (0.0, np.pi / 2):
                along = np.array([np.cos(turn), np.sin(turn)])
                across = np.array([-along[1], along[0]])
                # Below the piece reads best, then above; its left end first.
                for place in places[np.lexsort([places @ along, np.round(places @ across, 1)])]:
                    for lift in (-high, -low):
                        x, y = place + lift * across
                        found = NamePlace(float(x), float(y), turn, size)
                        if ground.is_free(box_at(found, name, arrow)):
                            return found
    return None


def _slit_numbers(placement: Placement, ground: _Ground) -> list[Mark]:
    """A number at the mouth of every slit, outside the piece, in the order of the guide."""
    marks: list[Mark] = []
    matrix = placement.matrix
    for number, (mouth, tip) in enumerate(slit_mouths(placement.piece), start=1):
        out = matrix[:, :2] @ (mouth - tip)
        found = _beside(matrix[:, :2] @ mouth + matrix[:, 2], out, str(number), ground)
        if found is not None:
            curves = text_curves(str(number), found.size, (found.x, found.y))
            marks.append(Mark("text", curves, f"slit {number}", placement.name))
    return marks


def _beside(mouth: FloatArray, out: FloatArray, text: str, ground: _Ground) -> NamePlace | None:
    """The nearest free place for a number outside a mouth: straight out of it, then to the sides."""
    heading = float(np.arctan2(out[1], out[0]))
    for distance in (0.9, 1.3, 1.8, 2.5, 3.5):
        for size in (NUMBER_SIZE, 0.75 * NUMBER_SIZE):
            width, tall = text_width(text, size), 0.73 * size
            for aside in np.radians((0, 25, -25, 50, -50, 75, -75)):
                middle = mouth + distance * np.array([np.cos(heading + aside), np.sin(heading + aside)])
                x, y = middle - np.array([width, tall]) / 2
                box = shapely.box(x - 0.1, y - 0.1, x + width + 0.1, y + tall + 0.1)
                if ground.is_free(box):
                    # Two numbers side by side would read as one.
                    ground.take(shapely.box(x - APART, y - 0.1, x + width + APART, y + tall + 0.1))
                    return NamePlace(float(x), float(y), 0.0, size)
    return None


def crop_curves(piece: Piece) -> tuple[Curve, ...]:
    """Where a piece is cut: its outline, its closed slits, a ring at each slit's tip, its pierced holes."""
    slits = tuple(straight_curve(slit, closed=False) for slit in piece.slits)
    # Pierced, the ring keeps the slit from running on (common practice, no source).
    cuts = piece.flat.cuts
    ends = [tip for _, tip in slit_mouths(piece)[: len(cuts)]]
    tips = [(*tip, TIP) for tip, cut in zip(ends, cuts, strict=True) if has_tip(piece.flat, cut)]
    holes = tuple(
        curve
        for x, y, diameter in [*tips, *piece.pierce]
        for curve in curves_of_area(shapely.Point(x, y).buffer(diameter / 2, quad_segs=12))
    )
    return (*piece.outline_curves, *slits, *holes)
