"""The picture of a body that `look` draws: three sides of it, its surfaces tinted and lettered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.camera import Camera, PixelArray, cast, cast_finer, look_along, repeated
from unwrap.body.render import changing, coloured, corner_normals, edge_ink, shade, toned

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
INK = "#333333"
# How hard a PNG is packed: a tenth larger than by the usual 6, in less than half the time.
QUICK = 3


@dataclass(frozen=True, eq=False)
class Shot:
    """A body taken from one side, before it is coloured.

    Parameters
    ----------
    title : str
    camera : Camera
        Of the finished picture.
    face : (h, w) int32
        The face that each pixel shows, `FINER` times as many each way as the camera's; -1 for the ground.
    tone : (h, w) float32
        Its brightness, lines drawn.
    """

    title: str
    camera: Camera
    face: NDArray[np.int32]
    tone: PixelArray


def take_shots(body: Body, *, width: int = 900) -> list[Shot]:
    """The body from each of the `VIEWS`, each `width` pixels wide."""
    smooth = corner_normals(body.vertices, body.faces)
    return [take_shot(body, *view, smooth, width=width) for view in VIEWS]


def take_shot(
    body: Body, title: str, direction: tuple[float, float, float], smooth: FloatArray, *, width: int = 900
) -> Shot:
    """The body seen along a direction; `smooth` are its `corner_normals`."""
    camera = look_along(body.vertices, direction, width=width, height=int(0.8 * width), margin=0.06)
    hits = cast(body.rays, camera)
    light = shade(body.rays, body.vertices, body.faces, hits, camera, smooth=smooth)
    wanted = changing(body.normals, hits, camera)
    face, depth = cast_finer(body.rays, hits, camera, FINER, wanted)
    among = repeated(wanted, FINER)
    ink = edge_ink(body.normals, face, depth, camera.finer(FINER), among=among)
    return Shot(title, camera, face.astype(np.int32), toned(repeated(light, FINER), ink))


def draw_body(
    body: Body,
    shots: Iterable[Shot],
    path: Path | str,
    *,
    labels: IntArray | None = None,
    names: Mapping[int, str] | None = None,
) -> None:
    """Draw a body from several sides into a PNG, with its axes and its size.

    Parameters
    ----------
    body : Body
    shots : iterable of Shot
        From `take_shots`.
    path : path
        Where to write the PNG.
    labels : (m,) int64 or None
        A number per face, negative for none: faces of one number share a tint.
    names : mapping of int to str or None
        What to write on the faces of a number, the most important first: a surface's
        letter. A name that would cover an earlier one is left away.
    """
    tint = face_colours(labels, len(body.faces))
    pictures = []
    for shot in shots:
        image = Image.fromarray(coloured(shot.face, shot.tone, tint, FINER))
        if labels is not None and names:
            _write_names(image, shot.face, labels, names)
        _draw_axes(image, shot.camera)
        title = ImageDraw.Draw(image)
        title.text(
            (image.width // 60, image.width // 60), shot.title, font=_font(image.width // 45), fill=INK
        )
        pictures.append(image)
    pictures.append(_facts(body, pictures[0].size))
    _in_rows(pictures).save(path, compress_level=QUICK)


def face_colours(labels: IntArray | None, count: int) -> PixelArray:
    """(m, 3) float32 tint per face."""
    plain = np.tile(PLAIN, (count, 1))
    if labels is not None:
        named = np.flatnonzero(labels >= 0)
        plain[named] = 0.62 * TINTS[labels[named] % len(TINTS)] + 0.38
    return plain.astype(np.float32)


def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(_plain_font(), max(size, 8))


@cache
def _plain_font() -> str:
    """The file of DejaVu Sans, which matplotlib brings along: to import it takes longer than to draw."""
    package = find_spec("matplotlib")
    if package is not None and package.origin is not None:
        file = Path(package.origin).parent / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"
        if file.is_file():
            return str(file)
    from matplotlib import font_manager  # put elsewhere by some that hand it on

    return font_manager.findfont("DejaVu Sans")


def _write_names(
    image: Image.Image, face: NDArray[np.int32], labels: IntArray, names: Mapping[int, str]
) -> None:
    """Write each name in the middle of the largest room that its faces have in the picture."""
    draw = ImageDraw.Draw(image)
    font = _font(image.width // 50)
    step = 3 * FINER
    face = face[::step, ::step]
    shown = np.where(face >= 0, labels[face], -1)
    boxes = ndimage.find_objects(shown + 1)
    taken: list[tuple[float, float, float, float]] = []
    for label, name in names.items():
        box = boxes[label] if label < len(boxes) else None
        if box is None or np.count_nonzero(shown[box] == label) < 12:
            continue
        room = ndimage.distance_transform_edt(np.pad(shown[box] == label, 1))[1:-1, 1:-1]
        row, column = np.unravel_index(np.argmax(room), room.shape)
        down, along = float(row + box[0].start), float(column + box[1].start)
        at = (along * step / FINER, down * step / FINER)
        left, top, right, bottom = draw.textbbox(at, name, font=font, anchor="mm", stroke_width=3)
        # The list names the largest first: a small one that finds no room is left away.
        if any(left < r and l < right and top < b and t < bottom for l, t, r, b in taken):
            continue
        taken.append((left, top, right, bottom))
        draw.text(at, name, font=font, fill="black", anchor="mm", stroke_width=3, stroke_fill="white")


def _draw_axes(image: Image.Image, camera: Camera) -> None:
    """Arrows to the front, the left and the top in the lower right corner."""
    draw = ImageDraw.Draw(image)
    unit = image.width / 18
    origin = np.array([image.width - 2.0 * unit, image.height - 1.6 * unit])
    for name, axis in (("front", (1, 0, 0)), ("left", (0, 1, 0)), ("up", (0, 0, 1))):
        across, upward = float(np.dot(axis, camera.right)), float(np.dot(axis, camera.up))
        tip = origin + unit * np.array([across, -upward])
        draw.line([*origin, *tip], fill=INK, width=max(1, image.width // 450))
        along = (tip - origin) / max(float(np.linalg.norm(tip - origin)), 1e-9)
        beside = np.array([-along[1], along[0]])
        head = 0.12 * unit
        draw.polygon(
            [tuple(tip + 1.2 * head * along), tuple(tip - head * along + 0.7 * head * beside),
             tuple(tip - head * along - 0.7 * head * beside)],
            fill=INK,
        )  # fmt: skip
        draw.text(
            tuple(tip + 0.42 * unit * along), name, font=_font(image.width // 60), fill=INK, anchor="mm"
        )


def _facts(body: Body, size: tuple[int, int]) -> Image.Image:
    sheet = Image.new("RGB", size, "white")
    draw = ImageDraw.Draw(sheet)
    length, wide, high = body.size
    lines = [
        body.name,
        f"{length:.1f} mm long (front to rear)",
        f"{wide:.1f} mm wide",
        f"{high:.1f} mm high",
        f"{len(body.faces)} faces",
    ]
    step = size[0] // 28
    for k, line in enumerate(lines):
        draw.text((2 * step, (2 + 1.4 * k) * step), line, font=_font(size[0] // 38), fill=INK)
    return sheet


def _in_rows(pictures: list[Image.Image]) -> Image.Image:
    width, height = pictures[0].size
    sheet = Image.new("RGB", (2 * width, height * ((len(pictures) + 1) // 2)), "white")
    for k, image in enumerate(pictures):
        sheet.paste(image, (width * (k % 2), height * (k // 2)))
    return sheet
