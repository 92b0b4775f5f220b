"""Letters as outlines: a font's glyphs as areas and smooth curves, in mm."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import shapely
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.textpath import TextPath

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.planar import polygons_of

# Size, in points, at which outlines are taken before they are scaled to mm.
SETTING = 100.0
# Samples per curved span: at 10 mm letters the error is well below 0.01 mm.
PER_SPAN = 12

WEIGHTS = ("light", "normal", "regular", "medium", "bold", "black")


@lru_cache(maxsize=32)
def find_font(font: str, weight: str = "normal") -> str:
    """Path of a font by family name (as installed or as bundled) or by file.

    Raises
    ------
    BadInput
        If there is no such font.
    """
    path = Path(font)
    if path.suffix.lower() in (".ttf", ".otf", ".ttc"):
        if not path.is_file():
            raise BadInput(
                f'lettering: there is no font file "{font}"; give a .ttf or .otf file that is there'
            )
        return str(path)
    try:
        return findfont(FontProperties(family=[font], weight=weight), fallback_to_default=False)
    except ValueError:
        raise BadInput(
            f'lettering: the font "{font}" is not installed; use "DejaVu Sans", which is always there, '
            "or give a .ttf file"
        ) from None


def check_glyphs(text: str, font_path: str, font: str) -> None:
    """Refuse characters that the font does not have."""
    have = get_font(font_path).get_charmap()
    missing = sorted({letter for letter in text if not letter.isspace() and ord(letter) not in have})
    if missing:
        shown = " ".join(missing[:8])
        raise BadInput(
            f'lettering "{text}": the font "{font}" has no {shown}; use another font or other letters'
        )


def letters(
    text: str,
    font: str,
    weight: str,
    height: float | None = None,
    spacing: float = 0.0,
    em: float | None = None,
) -> list[shapely.Geometry]:
    """The letters of a line of text, left to right, each as an area.

    Parameters
    ----------
    text : str
        One line.
    font, weight : str
    height : float or None
        Height of a capital H, mm.
    spacing : float
        Extra space between letters, mm.
    em : float or None
        The font's size instead of the height of its capitals, in any unit.

    Returns
    -------
    list of Polygon or MultiPolygon
        On a base line along x from 0, mm; spaces left out.
    """
    path = find_font(font, weight)
    check_glyphs(text, path, font)
    properties = FontProperties(fname=path)
    if em is not None:
        scale = em / SETTING
    else:
        scale = (height or 0.0) / max(ring[:, 1].max() for ring in _outline("H", properties))
    out = []
    for i, letter in enumerate(text):
        if letter.isspace():
            continue
        # Set with what stands before it, so that kerning is kept.
        rings = _outline(text[: i + 1], properties)[len(_outline(text[:i], properties)) :] if i else None
        rings = rings if rings is not None else _outline(letter, properties)
        moved = [ring * scale + [i * spacing, 0.0] for ring in rings]
        out.append(area_of_rings(moved))
    return out


def advance(text: str, font: str, weight: str, em: float, spacing: float = 0.0) -> float:
    """How far a line of text reaches, blanks at its end included: where the next letter would stand."""
    both = letters(text + "H", font, weight, spacing=spacing, em=em)
    return float(both[-1].bounds[0] - letters("H", font, weight, em=em)[0].bounds[0])


def _outline(text: str, properties: FontProperties) -> list[FloatArray]:
    """Closed rings of a text's outline, sampled, in units of the setting."""
    if not text.strip():
        return []
    path = TextPath((0, 0), text, size=SETTING, prop=properties)
    rings: list[FloatArray] = []
    ring: list[FloatArray] = []
    t = (np.arange(1, PER_SPAN + 1) / PER_SPAN)[:, None]
    for vertices, code in path.iter_segments(curves=True, simplify=False):
        points = vertices.reshape(-1, 2)
        if code == path.MOVETO:
            if len(ring) > 2:
                rings.append(np.array(ring))
            ring = [points[0]]
        elif code == path.LINETO:
            ring.append(points[0])
        elif code == path.CURVE3:
            a, b, c = ring[-1], points[0], points[1]
            ring += list((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c)
        elif code == path.CURVE4:
            a, b, c, d = ring[-1], *points
            ring += list((1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d)
        elif code == path.CLOSEPOLY and len(ring) > 2:
            rings.append(np.array(ring))
            ring = []
    if len(ring) > 2:
        rings.append(np.array(ring))
    return rings


def area_of_rings(rings: list[FloatArray]) -> shapely.Geometry:
    """Area of overlapping rings by the even-odd rule."""
    area: shapely.Geometry = shapely.MultiPolygon()
    for ring in rings:
        polygon = shapely.make_valid(shapely.Polygon(ring))
        area = area.symmetric_difference(polygon)
    return polygons_of(area)
