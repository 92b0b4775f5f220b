"""Lettering: text laid over the surface, upright, read from outside, never reflected."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import shapely.affinity

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.carry import Carry, nearest_on
from unwrap.livery.chart import lay_chart
from unwrap.livery.fit import curves_of_area
from unwrap.livery.glyphs import letters
from unwrap.livery.ground import Ground
from unwrap.livery.paint import Paint
from unwrap.livery.planar import polygons_of

# A place further than this from the region (mm) is taken for a slip.
NEAR = 5.0
# Letters are fitted closer than lining: their curves are small.
TOLERANCE = 0.008
# Less of the letters on the ground than this is text that runs off; needle faces alone take some from it.
HELD = 0.99

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
    outline: tuple[float, str] | None = None,
    shadow: tuple[float, float, str] | None = None,
    arc: float | None = None,
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
    outline : (float, str), optional
        Width in mm and colour of an edge round the letters.
    shadow : (float, float, str), optional
        How far a solid shadow falls to the right and up, mm (below 0: to the left, down),
        and its colour.
    arc : float, optional
        Radius of a base line bent to a circle, mm: above 0 arched, below 0 hanging.

    Returns
    -------
    tuple of Paint
        Shadow, outline and letters, as far as asked for.

    Raises
    ------
    BadInput
        If the text is empty, the place is off the region, the font or a letter is
        missing, or the text runs off the region.
    """
    return lay_lettering_over(
        [carry], text, height, at, font, weight, colour, spacing, anchor, turn, outline, shadow, arc
    )[0]


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
    outline: tuple[float, str] | None = None,
    shadow: tuple[float, float, str] | None = None,
    arc: float | None = None,
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
    glyphs = letters(text, font, weight, height, spacing)
    if arc is not None:
        glyphs = bent(glyphs, arc, height, where)
    shape = anchored(glyphs, height, anchor)
    coats = [(shape, colour, f"lettering: {text}")]
    if outline is not None:
        if not outline[0] > 0:
            raise BadInput(f"{where}: the outline is {outline[0]!r} mm wide; give a width above 0")
        edge = shape.buffer(outline[0], join_style="round", quad_segs=8)
        coats.insert(0, (edge, outline[1], f"lettering outline: {text}"))
    if shadow is not None:
        coats.insert(0, (swept(coats[0][0], shadow[0], shadow[1]), shadow[2], f"lettering shadow: {text}"))
    coats = [
        (shapely.affinity.rotate(area, turn, origin=(0, 0), use_radians=True), shade, label)
        for area, shade, label in coats
    ]
    bounds = np.array([area.bounds for area, _, _ in coats]).reshape(-1, 2)
    reach = float(np.linalg.norm(bounds, axis=1).max()) + 0.1
    right = reading_direction(ground.normals[face[0]])
    chart = lay_chart(ground, int(face[0]), weights[0], reach, right)
    out: list[list[Paint]] = [[] for _ in ground.carries]
    for drawn, shade, label in coats:
        kept = 0.0
        for i, carry in enumerate(ground.carries):
            mine = chart[ground.owner == i]
            area = carry.area_to_flat(drawn, mine)
            if not area.is_empty:
                kept += carry.area_to_chart(area, mine).area
                out[i].append(Paint("lettering", shade, area, curves_of_area(area, TOLERANCE), label=label))
        if kept < HELD * drawn.area:
            lost = 100.0 * (1.0 - kept / drawn.area)
            raise BadInput(
                f"{where}: {lost:.0f} % of the text runs off the region; move it, or give a smaller height"
            )
    return [tuple(paints) for paints in out]


def bent(
    glyphs: Sequence[shapely.Geometry], radius: float, height: float, where: str
) -> list[shapely.Geometry]:
    """Letters set round a circle, each upright on it, the middle of the line at the top (or the bottom).

    Raises
    ------
    BadInput
        If the line is longer than half of the circle, or the circle is smaller than the letters.
    """
    whole = shapely.union_all(list(glyphs))
    left, _, right, _ = whole.bounds
    if abs(radius) < height or right - left > np.pi * abs(radius):
        raise BadInput(
            f"{where}: an arc of {radius:g} mm is too tight for a line {right - left:.1f} mm long; "
            "give a larger radius"
        )
    middle = 0.5 * (left + right)
    out = []
    for glyph in glyphs:
        x = 0.5 * (glyph.bounds[0] + glyph.bounds[2])
        upright = shapely.affinity.translate(glyph, middle - x, 0.0)
        turn = -(x - middle) / radius
        out.append(shapely.affinity.rotate(upright, turn, origin=(middle, -radius), use_radians=True))
    return out


def swept(area: shapely.Geometry, across: float, up: float) -> shapely.Geometry:
    """The ground that an area covers on its way by (across, up)."""
    shift = np.array([across, up])
    parts = [area, shapely.affinity.translate(area, across, up)]
    for polygon in shapely.get_parts(area):
        for ring in (polygon.exterior, *polygon.interiors):
            a = np.asarray(ring.coords)[:-1]
            b = np.roll(a, -1, axis=0)
            quads = shapely.polygons(np.stack([a, b, b + shift, a + shift], axis=1))
            parts += list(quads[shapely.area(quads) > 0])
    return polygons_of(shapely.union_all(parts))


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
