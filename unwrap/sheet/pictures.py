"""Pictures and shadings in the files: as PNG for drawings, as process inks for plates."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from unwrap.livery.paint import Picture
from unwrap.sheet.inks import LUMINANCE, Press, linear_light

# How many dots' tints are worked out at once.
AT_ONCE = 1_000_000


@lru_cache(maxsize=64)
def png_of(picture: Picture) -> bytes:
    """The dots as a PNG file, the same every time."""
    out = io.BytesIO()
    Image.fromarray(picture.dots).save(out, "PNG", optimize=False)
    return out.getvalue()


def coarser(picture: Picture, per_mm: float) -> Picture:
    """The picture with no more dots to the millimetre than `per_mm`: enough for a screen."""
    height, width = picture.dots.shape[:2]
    share = min(per_mm * float(np.sqrt(abs(np.linalg.det(picture.matrix[:, :2])))), 1.0)
    size = max(round(width * share), 1), max(round(height * share), 1)
    if size == (width, height):
        return picture
    dots = np.asarray(Image.fromarray(picture.dots).resize(size, Image.Resampling.BOX))
    grown = np.diag([width / size[0], height / size[1]])
    return Picture(dots, np.column_stack([picture.matrix[:, :2] @ grown, picture.matrix[:, 2]]))


def tints_of_dots(dots: NDArray[np.uint8], press: Press) -> NDArray[np.uint8]:
    """Cyan, magenta, yellow and black for every dot, as `unwrap.sheet.inks.tints_of` has them.

    Parameters
    ----------
    dots : (..., 3) uint8
        Red, green, blue.
    press : Press

    Returns
    -------
    (..., 4) uint8
        255 is full ink.
    """
    flat = dots.reshape(-1, 3)
    out = np.empty((len(flat), 4), dtype=np.uint8)
    for start in range(0, len(flat), AT_ONCE):
        out[start : start + AT_ONCE] = _tints(flat[start : start + AT_ONCE] / 255.0, press)
    return out.reshape(*dots.shape[:-1], 4)


def _tints(colours: NDArray[np.float64], press: Press) -> NDArray[np.uint8]:
    tints = np.zeros((len(colours), 4))
    if not press.has_colour:
        tints[:, 3] = 1.0 - linear_light(colours) @ LUMINANCE
    else:
        ink = 1.0 - colours
        black = ink.min(axis=1, keepdims=True) if press.has_black else np.zeros((len(ink), 1))
        share = np.where(black < 1.0, 1.0 - black, 1.0)
        tints[:, :3] = (ink - black) / share
        tints[:, 3:] = black
    total = tints.sum(axis=1, keepdims=True)
    tints *= np.minimum(1.0, press.limit / np.maximum(total, 1e-9))
    return np.round(255.0 * tints).astype(np.uint8)
