"""The picture of a body that `look` draws: three sides of it, its surfaces tinted and lettered."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from matplotlib import font_manager
from PIL import Image, ImageDraw, ImageFont

from unwrap.body.body import Body, FloatArray, IntArray
from unwrap.body.rays import Rays
from unwrap.body.render import Hits, cast, coarser, compose, edge_ink, look_along, shade

# Okabe and Ito (2008), a set of colours that stay apart with any colour vision, lightened.
TINTS = np.array(
    [[0.34, 0.71, 0.91], [0.90, 0.62, 0.0], [0.0, 0.62, 0.45], [0.80, 0.47, 0.65], [0.94, 0.89, 0.26],
     [0.0, 0.45, 0.70], [0.84, 0.37, 0.0]]
)  # fmt: skip
PLAIN = np.array([0.80, 0.80, 0.78])
VIEWS = (
    ("front and left", (-1.0, -0.9, -0.65)),
    ("rear and right", (1.0, 0.9, -0.65)),
    ("from below", (-0.8, 0.7, 0.9)),
)
FINER = 2


def draw_body(
    body: Body,
    path: Path | str,
    *,
    labels: IntArray | None = None,
    names: Mapping[int, str] | None = None,
    width: int = 1100,
) -> None:
    """Draw a body from three sides into a PNG.

    Parameters
    ----------
    body : Body
    path : path
        Where to write the PNG.
    labels : (m,) int64 or None
        A number per face, negative for none: faces of one number share a tint.
    names : mapping of int to str or None
        What to write on the faces of a number: a surface's letter.
    width : int
        Pixels of each view.
    """
    rays = Rays(body.vertices, body.faces)
    colour_of_face = face_colours(labels, len(body.faces))
    pictures = []
    for title, direction in VIEWS:
        camera = look_along(body.vertices, direction, width=width)
        if camera.height > 0.8 * width:
            camera = look_along(body.vertices, direction, width=width, height=int(0.8 * width))
        fine = camera.finer(FINER)
        hits = cast(rays, fine)
        light = shade(rays, body.vertices, body.faces, hits, fine)
        ink = edge_ink(body.vertices, body.faces, hits, fine)
        image = Image.fromarray(coarser(compose(colour_of_face[hits.face], light, ink, hits), FINER))
        if labels is not None and names:
            _write_names(image, hits, labels, names)
        pictures.append((title, image))
    _stacked(pictures).save(path)


def face_colours(labels: IntArray | None, count: int) -> FloatArray:
    """(m + 1, 3) tint per face; the last row, also reached by -1, is plain."""
    if labels is None:
        return np.tile(PLAIN, (count + 1, 1))
    tint = 0.72 * TINTS[np.maximum(labels, 0) % len(TINTS)] + 0.28
    return np.vstack([np.where((labels >= 0)[:, None], tint, PLAIN), PLAIN[None]])


def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(font_manager.findfont("DejaVu Sans"), size)


def _write_names(image: Image.Image, hits: Hits, labels: IntArray, names: Mapping[int, str]) -> None:
    """Write each name where most of its faces are seen."""
    draw = ImageDraw.Draw(image)
    font = _font(max(14, image.width // 60))
    shown = np.where(hits.seen, labels[hits.face], -1)[::FINER, ::FINER]
    for label, name in names.items():
        rows, columns = np.nonzero(shown == label)
        if len(rows) < 120:
            continue
        middle = np.argmin((rows - np.median(rows)) ** 2 + (columns - np.median(columns)) ** 2)
        at = (int(columns[middle]), int(rows[middle]))
        draw.text(at, name, font=font, fill="black", anchor="mm", stroke_width=3, stroke_fill="white")


def _stacked(pictures: list[tuple[str, Image.Image]]) -> Image.Image:
    width = max(image.width for _, image in pictures)
    caption = max(24, width // 40)
    sheet = Image.new("RGB", (width, sum(image.height + caption for _, image in pictures)), "white")
    draw, y = ImageDraw.Draw(sheet), 0
    for title, image in pictures:
        draw.text((caption // 2, y + caption // 4), title, font=_font(caption * 5 // 8), fill="#333333")
        sheet.paste(image, (0, y + caption))
        y += image.height + caption
    return sheet
