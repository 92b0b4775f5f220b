"""One piece drawn for the bench: its print, its joint, slits, holes, front, and where it strains."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.strain import crosses
from unwrap.guide.pens import INK, PAPER, QUIET, Pen, SvgPen
from unwrap.guide.upright import upright
from unwrap.livery.paint import Picture
from unwrap.sheet.marks import slit_mouths
from unwrap.sheet.pictures import coarser
from unwrap.sheet.piece import Piece

# Room round the piece for its arrows and numbers, and the largest drawing, mm on paper.
ROOM = 9.0
WIDEST, HIGHEST = 150.0, 92.0
# Paint is drawn this close to its true shape, mm.
ACCURACY = 0.02
# Dots of pictures to the millimetre of paper.
DOTS = 8.0
# The drawing shows at most this many brush arrows, this far apart on paper, mm.
MOST_ARROWS, ARROWS_APART = 7, 11.0


def piece_drawing(piece: Piece) -> str:
    """An SVG of the piece as it lies on the model, at true size where it fits the page."""
    pen = SvgPen(f"piece {piece.name}")
    draw_piece(piece, pen)
    return pen.finish()


def drawing_size(piece: Piece) -> tuple[float, float, float]:
    """Width and height of a piece's drawing, mm on paper, and its scale."""
    x0, y0, x1, y1 = upright(piece).outline.bounds
    size = np.array([x1 - x0, y1 - y0])
    scale = min(1.0, WIDEST / size[0], HIGHEST / size[1])
    # A piece the size of a fingernail is enlarged until its numbers can be read.
    scale = float(max(scale, min(3.0, 34.0 / size.max())))
    wide, tall = size * scale + 2 * ROOM
    return float(wide), float(tall), scale


def draw_piece(piece: Piece, pen: Pen) -> None:
    """Draw the piece as it lies on the model."""
    _Drawing(upright(piece), pen, *drawing_size(piece)).draw()


class _Drawing:
    """A drawing under way."""

    def __init__(self, piece: Piece, pen: Pen, wide: float, tall: float, scale: float) -> None:
        self.piece, self.pen = piece, pen
        self.wide, self.tall, self.scale = wide, tall, scale
        self.low = np.array(piece.outline.bounds[:2])

    def draw(self) -> None:
        """Everything, from the print up."""
        pen, outline = self.pen, self._rings(self.piece.outline)
        pen.begin(self.wide, self.tall)
        pen.clip(outline)
        for paint in self.piece.paints:
            rings = self._rings(shapely.simplify(paint.area, ACCURACY))
            if rings and paint.picture is not None:
                pen.picture(rings, self._shown(paint.picture))
            elif rings:
                pen.area(rings, paint.colour)
        pen.unclip()
        pen.area(outline, None, INK, 0.25)
        self._joints()
        self._slits()
        self._holes()
        self._brushing()
        self._headings()
        true = abs(self.scale - 1.0) < 1e-9
        note = "true size" if true else f"{self.scale:.2f} times true size"
        pen.text(self.wide - 1.0, self.tall - 1.0, note, 2.4, "end", QUIET)

    def _place(self, points: FloatArray) -> FloatArray:
        """From the piece's plane to the drawing."""
        x = (points[:, 0] - self.low[0]) * self.scale + ROOM
        return np.column_stack([x, self.tall - ROOM - (points[:, 1] - self.low[1]) * self.scale])

    def _shown(self, picture: Picture) -> Picture:
        """A picture on the piece as one in the drawing, no finer than the page shows it."""
        (x, y), s = self.low, self.scale
        in_drawing = np.array([[s, 0.0, ROOM - s * x], [0.0, -s, self.tall - ROOM + s * y]])
        return coarser(picture.moved(in_drawing), DOTS)

    def _rings(self, shape: shapely.Geometry) -> list[FloatArray]:
        return [
            self._place(np.asarray(ring.coords)[:-1, :2])
            for part in shapely.get_parts(shape)
            if isinstance(part, shapely.Polygon) and not part.is_empty
            for ring in (part.exterior, *part.interiors)
        ]

    def _haloed(self, points: FloatArray, width: float) -> None:
        """A line with a white rim, so that it shows on any colour."""
        self.pen.line(points, width + 0.5, PAPER)
        self.pen.line(points, width, INK)

    def _joints(self) -> None:
        flat = self.piece.flat
        position = {int(v): i for i, v in enumerate(flat.vertex) if v >= 0}
        for joint in self.piece.patch.joints:
            for side in (joint.first, joint.second):
                points = flat.points[[position[int(v)] for v in side if int(v) in position]]
                if len(points) > 1:
                    self.pen.line(self._place(points), 0.7, INK, (2.2, 1.2))

    def _slits(self) -> None:
        for slit in self.piece.slits:
            self._haloed(self._place(slit), 0.3)
        taken: list[FloatArray] = []
        for number, (mouth, tip) in enumerate(slit_mouths(self.piece), start=1):
            ends = self._place(np.array([mouth, tip]))
            out = (ends[0] - ends[1]) / max(float(np.linalg.norm(ends[0] - ends[1])), 1e-9)
            aside = np.array([-out[1], out[0]])
            # Where slits begin side by side, their numbers move along the edge.
            places = [ends[0] + 3.2 * out + shift * aside for shift in (0.0, 4.4, -4.4, 8.8, -8.8)]
            free = (p for p in places if all(np.linalg.norm(p - other) > 4.2 for other in taken))
            taken.append(next(free, places[0]))
            x, y = taken[-1]
            self.pen.ring(x, y, 2.0, 0.25, INK, PAPER)
            self.pen.text(x, y + 0.95, str(number), 2.7)

    def _holes(self) -> None:
        for (x, y), diameter in zip(
            self._place(self.piece.pierce[:, :2]), self.piece.pierce[:, 2], strict=True
        ):
            r = max(0.5 * diameter * self.scale, 0.5)
            for colour, width in ((PAPER, 0.6), (INK, 0.22)):
                self.pen.line(np.array([[x - r - 1, y], [x + r + 1, y]]), width, colour)
                self.pen.line(np.array([[x, y - r - 1], [x, y + r + 1]]), width, colour)
                self.pen.ring(x, y, r, width, colour)

    def _brushing(self) -> None:
        """Arrows at the places that must stretch or shrink most, spread over the piece."""
        flat = self.piece.flat
        middles, directions, stretch = crosses(flat.surface, flat.points, flat.faces)
        low, high = flat.film.window
        felt = np.stack(
            [(stretch[:, 0] - 1.0) / max(high - 1.0, 1e-6), (1.0 - stretch[:, 1]) / max(1.0 - low, 1e-6)],
            axis=1,
        )
        # Three parts in a thousand, and a tenth of the take-up, are felt under the brush.
        felt[np.abs(stretch - 1.0) < 0.003] = 0.0
        felt[felt < 0.1] = 0.0
        at = self._place(middles)
        taken: list[FloatArray] = []
        for i in np.argsort(-felt.max(axis=1))[:4000]:
            if felt[i].max() <= 0.0 or len(taken) >= MOST_ARROWS:
                return
            if all(np.linalg.norm(at[i] - other) >= ARROWS_APART for other in taken):
                taken.append(at[i])
                kind = int(np.argmax(felt[i]))
                self._double_arrow(at[i], directions[i, kind] * (1.0, -1.0), grows=kind == 0)

    def _double_arrow(self, at: FloatArray, way: FloatArray, *, grows: bool, reach: float = 3.6) -> None:
        """Heads outward where the film must grow, inward where it must shrink."""
        side = np.array([-way[1], way[0]])
        lines = [np.array([at - reach * way, at + reach * way])]
        for end in (-1.0, 1.0):
            tip = at + end * reach * way * (1.0 if grows else 0.35)
            back = -end if grows else end
            lines += [np.array([tip + 1.2 * back * way + s * 0.8 * side, tip]) for s in (-1.0, 1.0)]
        for colour, width in ((PAPER, 1.0), (INK, 0.4)):
            for line in lines:
                self.pen.line(line, width, colour)

    def _headings(self) -> None:
        """Arrows to the front and the top at the rim of the drawing, on the side they point to."""
        middle = np.array([self.wide, self.tall]) / 2
        for direction, word in ((self.piece.front, "front"), (self.piece.up, "top")):
            if not direction.any():
                continue
            way = direction / np.linalg.norm(direction) * (1.0, -1.0)
            room = middle - 1.6
            reach = min(room[k] / abs(way[k]) for k in (0, 1) if abs(way[k]) > 1e-9)
            tip = middle + reach * way
            side = np.array([-way[1], way[0]])
            self.pen.line(np.array([tip - 4.8 * way, tip - way]), 0.5)
            back = tip - 2.0 * way
            self.pen.area([np.array([tip, back + 0.9 * side, back - 0.9 * side])], INK)
            level = abs(way[0]) > abs(way[1])
            x, y = tip - 2.4 * way + (np.array([0.0, 3.2]) if level else np.array([4.2, 0.9]))
            self.pen.text(x, y, word, 2.6)
