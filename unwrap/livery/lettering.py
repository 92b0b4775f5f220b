"""Lettering: text laid over the surface, upright, read from outside, never reflected."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import shapely.affinity

from unwrap.errors import BadInput
from unwrap.flatten.flat_piece import FloatArray
from unwrap.livery.carry import Carry, nearest_on
from unwrap.livery.chart import lay_chart
from unwrap.livery.fit import curves_of_area
from unwrap.livery.glyphs import letters
from unwrap.livery.ground import Ground
from unwrap.livery.paint import Paint

# A place further than this from the region (mm) is taken for a slip.
NEAR = 5.0
# Letters are fitted closer than lining: their curves are small.
TOLERANCE = 0.008

ANCHORS = ("left", "middle", "right")


def lay_lettering(
    carry: Carry,
    text: str,
    height: float,
    at: Sequence[float],
    font: str = "DejaVu Sans",
    weight: str = "bold",
    colour: str = "#000000",
    spacing: float = 0.0,
    anchor: str = "middle",
    turn: float = 0.0,
) -> tuple[Paint, ...]:
    """Lay a line of text on a region.

    Upright by the body's up; on a roof or a floor, where that says nothing, the base
    line runs along the body. Sizes are over the surface, and the text always reads from
    left to right as seen from outside.

    Parameters
    ----------
    carry : Carry
    text : str
        One line.
    height : float
        Height of the capitals, mm over the surface.
    at : (3,) sequence of float
        Where it stands, mm; the nearest place of the region is taken.
    font, weight : str
    colour : str
        "#rrggbb".
    spacing : float
        Extra space between letters, mm.
    anchor : str
        What of the text stands at `at`: the "left", "middle" or "right" end of the
        base line raised by half the height.
    turn : float
        Anticlockwise turn as seen from outside, radians.

    Returns
    -------
    tuple of Paint
        One, or none where the text falls off the region.

    Raises
    ------
    BadInput
        If the text is empty, the place is off the region, the font or a letter is
        missing, or the text runs off the region.
    """
    return lay_lettering_over([carry], text, height, at, font, weight, colour, spacing, anchor, turn)[0]


def lay_lettering_over(
    carries: Sequence[Carry],
    text: str,
    height: float,
    at: Sequence[float],
    font: str = "DejaVu Sans",
    weight: str = "bold",
    colour: str = "#000000",
    spacing: float = 0.0,
    anchor: str = "middle",
    turn: float = 0.0,
) -> list[tuple[Paint, ...]]:
    """Lay a line of text over several regions that meet; see `lay_lettering`."""
    ground = Ground(carries)
    where = f'lettering "{text}" on region "{ground.name}"'
    if not text.strip():
        raise BadInput(f"{where}: the text is empty")
    if not height > 0 or not np.isfinite(height):
        raise BadInput(f"{where}: the height is {height!r}; give mm above 0")
    if anchor not in ANCHORS:
        raise BadInput(f'{where}: there is no anchor "{anchor}"; use {", ".join(ANCHORS)}')
    face, weights, off = nearest_on(ground.corners, np.asarray(at, dtype=float).reshape(1, 3))
    if off[0] > NEAR:
        raise BadInput(
            f"{where}: the place {tuple(np.round(at, 2).tolist())} is {off[0]:.1f} mm away from the region; "
            "give a place on it"
        )
    shape = anchored(letters(text, font, weight, height, spacing), height, anchor)
    shape = shapely.affinity.rotate(shape, turn, origin=(0, 0), use_radians=True)
    reach = float(np.hypot(*np.abs(np.array(shape.bounds).reshape(2, 2)).max(axis=0))) + 0.1
    right = reading_direction(ground.normals[face[0]])
    chart = lay_chart(ground, int(face[0]), weights[0], reach, right)
    out: list[tuple[Paint, ...]] = []
    kept = 0.0
    for i, carry in enumerate(ground.carries):
        mine = chart[ground.owner == i]
        area = carry.area_to_flat(shape, mine)
        kept += carry.area_to_chart(area, mine).area if not area.is_empty else 0.0
        paint = Paint("lettering", colour, area, curves_of_area(area, TOLERANCE), label=f"lettering: {text}")
        out.append(() if area.is_empty else (paint,))
    if kept < 0.999 * shape.area:
        lost = 100.0 * (1.0 - kept / shape.area)
        raise BadInput(
            f"{where}: {lost:.0f} % of the text runs off the region; move it, or give a smaller height"
        )
    return out


def reading_direction(normal: FloatArray) -> FloatArray:
    """The way text runs on ground that faces `normal`: to the right as seen from outside."""
    up = np.array([0.0, 0.0, 1.0])
    right = np.cross(up, normal)
    if np.linalg.norm(right) < 0.2:
        return np.array([1.0, 0.0, 0.0])
    return right / np.linalg.norm(right)


def anchored(shapes: Sequence[shapely.Geometry], height: float, anchor: str) -> shapely.Geometry:
    """The letters as one area, placed so that the anchor is at the origin."""
    whole = shapely.union_all(list(shapes))
    left, _, right, _ = whole.bounds
    x = {"left": left, "middle": 0.5 * (left + right), "right": right}[anchor]
    return shapely.affinity.translate(whole, -x, -0.5 * height)
