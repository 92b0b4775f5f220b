"""One piece drawn for the bench: its print, its joint, slits, holes, front, and where it strains."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray
from unwrap.flatten.strain import crosses
from unwrap.guide.upright import upright
from unwrap.sheet.marks import slit_mouths
from unwrap.sheet.piece import Piece

INK, QUIET = "#2b2b2e", "#6c6c72"
# Room round the piece for its arrows and numbers, and the largest drawing, mm on paper.
ROOM = 9.0
WIDEST, HIGHEST = 82.0, 92.0
# Paint is drawn this close to its true shape, mm.
ACCURACY = 0.02


def piece_drawing(piece: Piece) -> str:
    """An SVG of the piece as it lies on the model, at true size where it fits the page."""
    piece = upright(piece)
    low, high = (np.array(piece.outline.bounds[i : i + 2]) for i in (0, 2))
    size = high - low
    scale = min(1.0, WIDEST / size[0], HIGHEST / size[1])
    # A piece the size of a fingernail is enlarged until its numbers can be read.
    scale = max(scale, min(3.0, 34.0 / max(size)))
    wide, tall = size * scale + 2 * ROOM

    def place(points: FloatArray) -> FloatArray:
        return np.column_stack(
            [(points[:, 0] - low[0]) * scale + ROOM, tall - ROOM - (points[:, 1] - low[1]) * scale]
        )

    parts = [
        f'<svg class="piece" xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}mm" height="{tall:.1f}mm" '
        f'viewBox="0 0 {wide:.2f} {tall:.2f}" role="img" aria-label="piece {escape(piece.name)}">'
    ]
    name = "".join(c if c.isalnum() else "-" for c in piece.name)
    parts.append(
        f'<clipPath id="cut-{name}"><path d="{_area(piece.outline, place)}" clip-rule="evenodd"/></clipPath>'
    )
    parts.append(f'<g clip-path="url(#cut-{name})">')
    for paint in piece.paints:
        shape = shapely.simplify(paint.area, ACCURACY)
        if not shape.is_empty:
            parts.append(
                f'<path d="{_area(shape, place)}" fill="{escape(paint.colour)}" fill-rule="evenodd"/>'
            )
    parts.append("</g>")
    parts.append(f'<path d="{_area(piece.outline, place)}" fill="none" stroke="{INK}" stroke-width="0.25"/>')
    parts.extend(_joints(piece, place))
    parts.extend(_slits(piece, place))
    parts.extend(_holes(piece, place, scale))
    parts.extend(_brushing(piece, place))
    parts.extend(_headings(piece, wide, tall))
    parts.append(_scale_note(scale, wide, tall))
    parts.append("</svg>")
    return "".join(parts)


def _area(shape: shapely.Geometry, place: object) -> str:
    assert callable(place)
    words = []
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon):
            for ring in (part.exterior, *part.interiors):
                points = place(np.asarray(ring.coords)[:-1, :2])
                words.append("M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in points) + "Z")
    return "".join(words)


def _line(points: FloatArray, extra: str = "", width: float = 0.35, colour: str = INK) -> str:
    d = "M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in points)
    return f'<path d="{d}" fill="none" stroke="{colour}" stroke-width="{width}" {extra}/>'


def _haloed(points: FloatArray, extra: str = "", width: float = 0.35) -> list[str]:
    """A line with a white rim, so that it shows on any colour."""
    return [_line(points, extra, width + 0.5, "#fff"), _line(points, extra, width)]


def _joints(piece: Piece, place: object) -> Iterable[str]:
    assert callable(place)
    position = {int(v): i for i, v in enumerate(piece.flat.vertex) if v >= 0}
    for joint in piece.patch.joints:
        for side in (joint.first, joint.second):
            points = piece.flat.points[[position[int(v)] for v in side if int(v) in position]]
            if len(points) > 1:
                yield _line(place(points), 'stroke-dasharray="2.2 1.2"', 0.7)


def _slits(piece: Piece, place: object) -> Iterable[str]:
    assert callable(place)
    for slit in piece.slits:
        yield from _haloed(place(slit), width=0.3)
    for number, (mouth, tip) in enumerate(slit_mouths(piece), start=1):
        ends = place(np.array([mouth, tip]))
        out = ends[0] - ends[1]
        x, y = ends[0] + 3.2 * out / max(float(np.linalg.norm(out)), 1e-9)
        yield _badge(x, y, str(number))


def _badge(x: float, y: float, text: str, radius: float = 2.0) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius}" fill="#fff" stroke="{INK}" stroke-width="0.25"/>'
        + _text(x, y + 0.95, text, 2.7)
    )


def _holes(piece: Piece, place: object, scale: float) -> Iterable[str]:
    assert callable(place)
    if not len(piece.pierce):
        return
    for (x, y), diameter in zip(place(piece.pierce[:, :2]), piece.pierce[:, 2], strict=True):
        r = max(0.5 * diameter * scale, 0.5)
        for colour, width in (("#fff", 0.6), (INK, 0.22)):
            yield (
                f'<path d="M{x - r - 1:.2f},{y:.2f}h{2 * r + 2:.2f}M{x:.2f},{y - r - 1:.2f}v{2 * r + 2:.2f}" '
                f'stroke="{colour}" stroke-width="{width}" fill="none"/>'
                f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}" '
                f'stroke="{colour}" stroke-width="{width}" fill="none"/>'
            )


def _brushing(piece: Piece, place: object, most: int = 7) -> Iterable[str]:
    """Arrows at the places that must stretch or shrink most, spread over the piece."""
    assert callable(place)
    flat = piece.flat
    middles, directions, stretch = crosses(flat.surface, flat.points, flat.faces)
    low, high = flat.film.window
    felt = np.stack(
        [(stretch[:, 0] - 1.0) / max(high - 1.0, 1e-6), (1.0 - stretch[:, 1]) / max(1.0 - low, 1e-6)], axis=1
    )
    # A tenth of the take-up, and three parts in a thousand, are felt under the brush.
    felt[np.abs(stretch - 1.0) < 0.003] = 0.0
    felt[felt < 0.1] = 0.0
    at = place(middles)
    taken: list[FloatArray] = []
    for i in np.argsort(-felt.max(axis=1))[:4000]:
        if felt[i].max() <= 0.0 or len(taken) >= most:
            return
        if any(np.linalg.norm(at[i] - other) < 11.0 for other in taken):
            continue
        taken.append(at[i])
        kind = int(np.argmax(felt[i]))
        way = directions[i, kind] * (1.0, -1.0)
        yield from _double_arrow(at[i], way, grows=kind == 0)


def _double_arrow(at: FloatArray, way: FloatArray, grows: bool, reach: float = 3.6) -> Iterable[str]:
    side = np.array([-way[1], way[0]])
    lines = [np.array([at - reach * way, at + reach * way])]
    for end in (-1.0, 1.0):
        tip = at + end * reach * way * (1.0 if grows else 0.35)
        back = -end if grows else end
        lines += [np.array([tip + 1.2 * back * way + s * 0.8 * side, tip]) for s in (-1.0, 1.0)]
    for colour, width in (("#fff", 1.0), (INK, 0.4)):
        for line in lines:
            yield _line(line, 'stroke-linecap="round"', width, colour)


def _headings(piece: Piece, wide: float, tall: float) -> Iterable[str]:
    for direction, word in ((piece.front, "front"), (piece.up, "top")):
        if not direction.any():
            continue
        way = direction / np.linalg.norm(direction) * (1.0, -1.0)
        # Along the rim of the drawing, on the side that the arrow points to.
        middle = np.array([wide, tall]) / 2
        room = middle - 3.2
        reach = min(room[k] / abs(way[k]) for k in (0, 1) if abs(way[k]) > 1e-9)
        tip = middle + reach * way
        start = tip - 4.5 * way
        side = np.array([-way[1], way[0]])
        head = np.array([tip, tip - 1.9 * way + 0.9 * side, tip - 1.9 * way - 0.9 * side])
        yield _line(np.array([start, tip - way]), width=0.5)
        yield f'<path d="M{"L".join(f"{x:.2f},{y:.2f}" for x, y in head)}Z" fill="{INK}"/>'
        x, y = tip - 2.2 * way + np.array([-side[1] if abs(way[0]) < 0.5 else 0.0, 0.0]) + 2.6 * np.abs(side)
        yield _text(x, y + 0.9, word, 2.6)


def _scale_note(scale: float, wide: float, tall: float) -> str:
    text = "true size" if abs(scale - 1.0) < 1e-9 else f"{scale:.2f} times true size"
    return _text(wide - 1, tall - 1, text, 2.4, "end", QUIET)


def _text(x: float, y: float, text: str, size: float, anchor: str = "middle", colour: str = INK) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}" '
        f'fill="{colour}">{escape(text)}</text>'
    )
