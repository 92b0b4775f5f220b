"""Pictures of the body with every piece in its place and lettered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import (
    binary_dilation,
    distance_transform_edt,
    gaussian_gradient_magnitude,
    uniform_filter,
)

from unwrap.guide.lettering import font
from unwrap.guide.order import Step
from unwrap.guide.proof import Angle
from unwrap.guide.scene import Picture, Scene

ANGLES = (
    Angle("from the left and the front", 38.0, 20.0, 18.0),
    Angle("from the right and the rear", 218.0, 20.0, 18.0),
    Angle("from the right and the front", -38.0, 20.0, 18.0),
    Angle("from the left and the rear", 142.0, 20.0, 18.0),
    Angle("from above", 90.0, 90.0),
    Angle("from below on the left", 60.0, -32.0, 18.0),
    Angle("from below on the right", 240.0, -32.0, 18.0),
)
MOST_VIEWS = 4
# Another view must show this much more of the pieces, in whole pieces.
WORTH_A_VIEW = 0.25
# A picture that was taken for something else serves if it has this share of the pixels across.
LARGE_ENOUGH = 0.8

INK = (43, 43, 46)
# A step in lightness per dot, 0 to 255, that is still plain ground and its shading.
PLAIN = 6.0


@dataclass(frozen=True, eq=False)
class LetteredView:
    """A picture and where it was taken from."""

    title: str
    picture: Image.Image


def lettered_views(
    scene: Scene, steps: Sequence[Step], taken: Mapping[Angle, Picture] | None = None, width: int = 760
) -> tuple[LetteredView, ...]:
    """The fewest views that show all pieces well, each with the letters of what it shows.

    Parameters
    ----------
    scene : Scene
        The body with the pieces of `steps`, in that order.
    steps : sequence of Step
        Pieces and letters.
    taken : mapping of Angle to Picture, optional
        Pictures of the scene that are there already; those large enough serve here too.
    width : int
        Pixels across each view.
    """
    views = []
    for angle in _worth_taking(scene, len(steps)):
        picture = (taken or {}).get(angle)
        if picture is None or picture.piece.shape[1] < LARGE_ENOUGH * width:
            picture = scene.picture(angle.camera(scene.body), width)
        views.append(LetteredView(angle.title, _with_letters(_reduced(picture, width), steps)))
    return tuple(views)


def _reduced(picture: Picture, width: int) -> Picture:
    """The picture with no more pixels across than asked for."""
    rows, columns = picture.piece.shape
    if columns <= width:
        return picture
    height = max(1, round(rows * width / columns))
    small = Image.fromarray(picture.colours).resize((width, height), Image.Resampling.LANCZOS)
    at = np.ix_((np.arange(height) + 0.5) * rows // height, (np.arange(width) + 0.5) * columns // width)
    row, column = (index.astype(np.int64) for index in at)
    return Picture(np.asarray(small), picture.piece[row, column], picture.body[row, column])


def _worth_taking(scene: Scene, count: int) -> list[Angle]:
    if count == 0:
        return list(ANGLES[:2])
    shown = [scene.index(angle.camera(scene.body), 220) for angle in ANGLES]
    seen = np.array([np.bincount(piece[piece >= 0], minlength=count) for piece in shown], dtype=float)
    share = seen / np.maximum(seen.max(axis=0), 1.0)
    # Both long sides are always shown: a modeller wants to see the whole model.
    chosen = [0, 1]
    best = share[:2].max(axis=0)
    while len(chosen) < MOST_VIEWS:
        gain = np.maximum(share - best, 0.0).sum(axis=1)
        first = int(np.argmax(gain))
        if gain[first] < WORTH_A_VIEW:
            break
        chosen.append(first)
        best = np.maximum(best, share[first])
    return [ANGLES[i] for i in sorted(chosen)]


def _with_letters(picture: Picture, steps: Sequence[Step]) -> Image.Image:
    colours = picture.colours.copy()
    rim = np.zeros(picture.piece.shape, dtype=bool)
    for axis in (0, 1):
        step = np.diff(picture.piece, axis=axis) != 0
        rim[tuple(slice(None, -1) if a == axis else slice(None) for a in (0, 1))] |= step
    weight = np.where(binary_dilation(rim)[..., None], 0.55, 0.0)
    colours = (colours * (1 - weight) + np.array(INK) * weight).astype(np.uint8)
    image = Image.fromarray(colours)
    pen = ImageDraw.Draw(image)
    radius = max(9, round(image.width / 42))
    drawn = _drawn_share(picture.colours, radius)
    for i, step in enumerate(steps):
        place = _letter_place(picture.piece == i, drawn, radius)
        # Slivers of a piece seen edge-on are left unlettered; another view shows it.
        if place is None:
            continue
        x, y = place
        pen.ellipse(
            (x - radius, y - radius, x + radius, y + radius),
            fill=(255, 255, 255),
            outline=INK,
            width=max(1, radius // 8),
        )
        pen.text((x, y), step.letter, INK, font(round(1.15 * radius), bold=True), anchor="mm")
    return image


def _drawn_share(colours: np.ndarray, radius: int) -> np.ndarray:
    """How much drawing a letter's disc would hide, at each dot: 0 on plain ground to 1."""
    light = colours.astype(float).mean(axis=2)
    drawn = gaussian_gradient_magnitude(light, 1.0) > PLAIN
    return uniform_filter(drawn.astype(float), size=2 * radius + 1)


def _letter_place(mask: np.ndarray, drawn: np.ndarray, radius: int) -> tuple[int, int] | None:
    """Where a piece's letter hides least of its lettering and lies well inside it: (x, y) or None."""
    rows, columns = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return None
    top, left = int(rows[0]), int(columns[0])
    part = slice(top, rows[-1] + 1), slice(left, columns[-1] + 1)
    depth = distance_transform_edt(np.pad(mask[part], 1))[1:-1, 1:-1]
    if depth.max() < 0.25 * radius:
        return None
    inside = depth >= min(radius, depth.max())
    # Among places as plain as each other the one deepest inside is the easiest to read.
    score = np.where(inside, drawn[part] - 0.1 * np.minimum(depth / (4 * radius), 1.0), np.inf)
    y, x = np.unravel_index(int(np.argmin(score)), score.shape)
    return left + int(x), top + int(y)
