"""The proof: pictures of the body with the printed pieces laid back on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from unwrap.body.body import Body
from unwrap.guide.camera import Camera, aim
from unwrap.guide.lettering import font
from unwrap.guide.scene import Picture, Scene
from unwrap.sheet.piece import Piece

PAPER = (255, 255, 255)
INK = (70, 70, 74)


@dataclass(frozen=True)
class Angle:
    """A place to look from, whatever it is called: degrees round from the front and up from the horizon."""

    title: str = field(compare=False)
    azimuth: float
    elevation: float
    lens: float | None = None

    def camera(self, body: Body) -> Camera:
        """A camera that takes in the whole body, with room for a shadow under it."""
        size = float(np.linalg.norm(body.size))
        air = (0.02 if self.lens is None else 0.045) * size
        foot = 0.035 * size if self.lens is not None else 0.0
        return aim(body.vertices, self.azimuth, self.elevation, lens=self.lens, air=air, foot=foot)


MAIN = Angle("", 38.0, 20.0, 18.0)
# The straight-on views share the body's height, so in one row they share its scale too.
ROWS = (
    (
        Angle("left", 90.0, 0.0),
        Angle("front", 0.0, 0.0),
        Angle("right", -90.0, 0.0),
        Angle("rear", 180.0, 0.0),
    ),
    (Angle("from above", 90.0, 90.0), Angle("right and rear", 218.0, 20.0, 18.0)),
)


def draw_proof(
    body: Body, pieces: Sequence[Piece], path: str | Path, *, title: str = "", width: int = 1600
) -> tuple[Scene, dict[Angle, Picture]]:
    """Draw the proof as a PNG.

    Parameters
    ----------
    body : Body
        The shell, shown in primer grey.
    pieces : sequence of Piece
        What lies on it, in its printed colours; slits show as hairlines.
    path : str or Path
        Where to write the picture.
    title : str
        Set under the large picture; the body's name where it is empty.
    width : int
        Pixels.

    Returns
    -------
    scene : Scene
        What was drawn, for more pictures of it.
    taken : dict of Angle to Picture
        The pictures on the proof.
    """
    margin, gap = round(0.03 * width), round(0.02 * width)
    inner = width - 2 * margin
    main = MAIN.camera(body)
    main_width = round(min(inner, 0.56 * width * main.aspect))
    scene = Scene(body, pieces, per_mm=_dots_per_mm(main, main_width))
    caption = max(13, round(width / 120))
    taken = {MAIN: scene.picture(main, main_width)}
    placed = [(MAIN, (width - main_width) // 2, margin, "")]
    y: float = margin + len(taken[MAIN].piece) + 2 * caption
    name_at = (margin, y - caption)
    y += 2 * caption
    for row in ROWS:
        cameras = [angle.camera(body) for angle in row]
        height = (inner - gap * (len(row) - 1)) / sum(camera.aspect for camera in cameras)
        height = min(height, 0.3 * width)
        row_width = height * sum(camera.aspect for camera in cameras) + gap * (len(row) - 1)
        x = (width - row_width) / 2
        for angle, camera in zip(row, cameras, strict=True):
            across = max(1, round(height * camera.aspect))
            taken[angle] = scene.picture(camera, across)
            placed.append((angle, round(x), round(y), angle.title))
            x += across + gap
        y += height + 3 * caption
    sheet = Image.new("RGB", (width, round(y + margin / 2)), PAPER)
    pen = ImageDraw.Draw(sheet)
    for angle, left, top, label in placed:
        view = Image.fromarray(taken[angle].colours)
        sheet.paste(view, (left, top))
        middle = (left + view.width / 2, top + view.height + 0.4 * caption)
        pen.text(middle, label, INK, font(caption), anchor="mt")
    pen.text(name_at, title or body.name, INK, font(round(1.5 * caption), bold=True), anchor="ls")
    sheet.save(path, format="PNG")
    return scene, taken


def _dots_per_mm(camera: Camera, width: int) -> float:
    """Dots for the print that are half as large as the picture's pixels."""
    left, _, right, _ = camera.frame
    return 2.2 * width / (right - left)
