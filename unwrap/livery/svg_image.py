"""Pictures embedded in a drawing.

References
----------
W3C, SVG 2, chapters "Embedded Content" and "Coordinate Systems" (preserveAspectRatio).
"""

from __future__ import annotations

import base64
import binascii
import io
import warnings
from dataclasses import dataclass

import numpy as np
import shapely
from lxml import etree
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from unwrap.arrays import FloatArray
from unwrap.livery.drawing import scale
from unwrap.livery.planar import polygons_of
from unwrap.livery.svg_file import HREFS
from unwrap.livery.svg_notes import Notes

# More dots than this are refused.
MOST_DOTS = 40_000_000
# Dots finer than this per mm in the view are taken together: more than is printed.
FINEST = 48.0
# Dots less covered than this (of 255) are bare.
BARE = 128
ALIGN = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


@dataclass(frozen=True, eq=False)
class Photograph:
    """An embedded picture where it lies in the view.

    Parameters
    ----------
    dots : (h, w, 3) uint8
        First row at the top.
    matrix : (3, 3) float64
        From columns and rows to mm in the view.
    """

    dots: NDArray[np.uint8]
    matrix: FloatArray

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 3) red, green, blue at points (n, 2) of the view, mm: straight between the dots' middles."""
        place = np.linalg.solve(self.matrix[:2, :2], (points - self.matrix[:2, 2]).T) - 0.5
        height, width = self.dots.shape[:2]
        x, y = np.clip(place[0], 0, width - 1), np.clip(place[1], 0, height - 1)
        left, top = np.minimum(x.astype(np.int64), width - 2), np.minimum(y.astype(np.int64), height - 2)
        left, top = np.maximum(left, 0), np.maximum(top, 0)
        right, below = np.minimum(left + 1, width - 1), np.minimum(top + 1, height - 1)
        u, v = (x - left)[:, None], (y - top)[:, None]
        upper = (1 - u) * self.dots[top, left] + u * self.dots[top, right]
        lower = (1 - u) * self.dots[below, left] + u * self.dots[below, right]
        return np.round((1 - v) * upper + v * lower).astype(np.uint8)


def read_image(
    notes: Notes, element: etree._Element, matrix: FloatArray
) -> tuple[Photograph, shapely.Geometry] | None:
    """An embedded picture and the ground that it covers in the view, mm; None where there is none.

    Parameters
    ----------
    notes : Notes
    element : lxml element
        An <image>.
    matrix : (3, 3) float64
        From its user units to mm in the view.

    Raises
    ------
    BadInput
        If its data cannot be read or it has too many dots.
    """
    picture = _opened(notes, element)
    x, y = notes.length(element, "x"), notes.length(element, "y")
    size = np.array(picture.size, dtype=float)
    width = notes.length(element, "width", 0.0)
    height = notes.length(element, "height", 0.0)
    if width <= 0 and height <= 0:
        width, height = size
    width, height = width or height * size[0] / size[1], height or width * size[1] / size[0]
    room = np.array([width, height])
    each, shift = _fitted(element.get("preserveAspectRatio", "xMidYMid meet"), size, room)
    placed = matrix @ np.array([[each[0], 0, x + shift[0]], [0, each[1], y + shift[1]], [0, 0, 1]])
    if abs(np.linalg.det(placed[:2, :2])) < 1e-12:
        return None
    corners = np.array([[0, 0], [size[0], 0], size, [0, size[1]]])
    frame = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    ground = shapely.intersection(
        shapely.Polygon(corners @ placed[:2, :2].T + placed[:2, 2]),
        shapely.Polygon(frame @ matrix[:2, :2].T + matrix[:2, 2]),
    )
    fewer = max(int(1.0 / (scale(placed) * FINEST)), 1)
    picture = picture.reduce(fewer) if fewer > 1 else picture
    per = np.diag([*(size / picture.size), 1.0])
    placed = placed @ per
    dots = np.asarray(picture)
    if (dots[..., 3] < BARE).any():
        covered = _covered(dots[..., 3] >= BARE)
        flat = shapely.get_coordinates(covered) @ placed[:2, :2].T + placed[:2, 2]
        ground = polygons_of(shapely.intersection(ground, shapely.set_coordinates(covered, flat).buffer(0.0)))
    return Photograph(dots[..., :3].copy(), placed), ground


def _opened(notes: Notes, element: etree._Element) -> Image.Image:
    """The embedded picture with its cover."""
    href = next((element.get(name) for name in HREFS if element.get(name)), "") or ""
    kind, comma, data = href.partition(",")
    if not comma or ";base64" not in kind:
        raise notes.refusal(element, "has no picture in it; embed one as PNG or JPEG")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(base64.b64decode(data)), formats=("PNG", "JPEG"))
            if picture.width * picture.height > MOST_DOTS:
                raise notes.refusal(
                    element,
                    f"has a picture of {picture.width} x {picture.height} dots; make it smaller, "
                    f"{MOST_DOTS // 1_000_000} million dots at the most",
                )
            return picture.convert("RGBA")
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise notes.refusal(element, "has a picture of far too many dots; make it smaller") from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, binascii.Error):
        raise notes.refusal(
            element, "has a picture that cannot be read; embed it again as PNG or JPEG"
        ) from None


def _fitted(wish: str, size: FloatArray, room: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Units per dot along and down, and where the picture begins in its frame."""
    words = wish.replace("defer", "").split() or ["xMidYMid"]
    each = room / size
    if words[0] == "none":
        return each, np.zeros(2)
    both = float(each.max() if "slice" in words else each.min())
    align = np.array([ALIGN.get(words[0][1:4], 0.5), ALIGN.get(words[0][5:8], 0.5)])
    return np.array([both, both]), align * (room - both * size)


def _covered(mask: NDArray[np.bool_]) -> shapely.Geometry:
    """The ground of a mask's dots, in columns and rows, its steps smoothed to half a dot."""
    boxes = []
    for row, line in enumerate(np.pad(mask, ((0, 0), (1, 1))).astype(np.int8)):
        turns = np.flatnonzero(np.diff(line))
        boxes.append(shapely.box(turns[::2], row, turns[1::2], row + 1))
    whole = shapely.union_all(np.concatenate(boxes), grid_size=1.0)
    return polygons_of(shapely.simplify(whole, 0.75))
