"""What is printed on a piece, as a picture that can be looked up point by point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Paint, Picture
from unwrap.sheet.inks import rgb_of

# A piece of 300 x 100 mm at 25 dots a millimetre; finer would only cost memory.
MOST_DOTS = 20_000_000


@dataclass(frozen=True, eq=False)
class Printed:
    """A piece's print as dots.

    Parameters
    ----------
    dots : (h, w, 4) uint8
        Red, green, blue and cover (0 bare film, 255 printed), first row at the top.
    left, top : float
        The piece's coordinates at the outer corner of the first dot, mm.
    per_mm : float
        Dots per millimetre.
    """

    dots: NDArray[np.uint8]
    left: float
    top: float
    per_mm: float

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 4) colour and cover at flat points (n, 2), mm; bare film outside."""
        column = np.floor((points[:, 0] - self.left) * self.per_mm).astype(np.int64)
        row = np.floor((self.top - points[:, 1]) * self.per_mm).astype(np.int64)
        height, width = self.dots.shape[:2]
        inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
        found = np.zeros((len(points), 4), dtype=np.uint8)
        found[inside] = self.dots[row[inside], column[inside]]
        return found


def print_dots(
    paints: Sequence[Paint], points: FloatArray, per_mm: float, cuts: Sequence[FloatArray] = ()
) -> Printed:
    """Lay a piece's paints down in dots, in painting order.

    Parameters
    ----------
    paints : sequence of Paint
        In painting order.
    points : (n, 2) float64
        The piece's flat points, mm: the ground that is looked up later.
    per_mm : float
        Dots per millimetre wanted; lowered where the picture would grow too large.
    cuts : sequence of (k, 2) float64 arrays
        Slits, drawn as hairlines a dot wide, mm.
    """
    low, high = points.min(axis=0) - 0.5, points.max(axis=0) + 0.5
    size = high - low
    per_mm = min(per_mm, float(np.sqrt(MOST_DOTS / (size[0] * size[1]))))
    width, height = (max(1, int(np.ceil(side * per_mm))) for side in size)
    picture = Image.new("RGBA", (width, height), (0, 0, 0, 0))
    left, top = float(low[0]), float(high[1])
    for paint in paints:
        red, green, blue = rgb(paint.colour)
        for part in shapely.get_parts(paint.area):
            if isinstance(part, shapely.Polygon) and not part.is_empty:
                _lay(picture, part, (red, green, blue, 255), left, top, per_mm, paint.picture)
    if cuts:
        pen = ImageDraw.Draw(picture)
        for cut in cuts:
            corners = [(float((x - left) * per_mm), float((top - y) * per_mm)) for x, y in cut]
            pen.line(corners, fill=(40, 40, 40, 255), width=max(1, round(0.06 * per_mm)))
    return Printed(np.asarray(picture), left, top, per_mm)


def rgb(colour: str) -> tuple[int, int, int]:
    """A paint's colour as three numbers from 0 to 255."""
    red, green, blue = (round(255 * part) for part in rgb_of(colour))
    return red, green, blue


def _lay(
    picture: Image.Image,
    part: shapely.Polygon,
    ink: tuple[int, int, int, int],
    left: float,
    top: float,
    per_mm: float,
    shading: Picture | None = None,
) -> None:
    """Lay one polygon with its holes, touching no more of the picture than it covers."""
    x0, y0, x1, y1 = part.bounds
    column, row = int((x0 - left) * per_mm) - 1, int((top - y1) * per_mm) - 1
    width, height = int((x1 - x0) * per_mm) + 4, int((y1 - y0) * per_mm) + 4
    stencil = Image.new("1", (width, height), 0)
    pen = ImageDraw.Draw(stencil)
    for ring, value in ((part.exterior, 1), *((hole, 0) for hole in part.interiors)):
        # The pen fills from dot centre to dot centre: half a dot off the rim.
        corners = (np.asarray(ring.coords)[:, :2] - (left, top)) * (per_mm, -per_mm) - (column, row) - 0.5
        pen.polygon([(float(x), float(y)) for x, y in corners], fill=value)
    if shading is None:
        picture.paste(ink, (column, row), stencil)
        return
    across, down = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    places = np.column_stack([(across.ravel() + column), -(down.ravel() + row)]) / per_mm + (left, top)
    dots = Image.fromarray(shading.at(places).reshape(height, width, 3)).convert("RGBA")
    picture.paste(dots, (column, row), stencil)
