"""The one typeface of the pictures, which comes with a library that is always there."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib
from PIL import ImageFont


def font_file(bold: bool = False) -> Path:
    """The typeface's file: DejaVu Sans, free to embed."""
    return Path(matplotlib.get_data_path(), "fonts", "ttf", f"DejaVuSans{'-Bold' if bold else ''}.ttf")


@lru_cache(maxsize=32)
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The typeface at a size in pixels."""
    return ImageFont.truetype(str(font_file(bold)), size)
