"""Two ways to draw the same lines: into SVG, and onto a PDF canvas. Millimetres, y down."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from typing import Protocol

from PIL import Image
from reportlab.lib.colors import Color
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Picture
from unwrap.sheet.inks import rgb_of
from unwrap.sheet.pictures import png_of

INK, QUIET, PAPER = "#2b2b2e", "#6c6c72", "#ffffff"


class Pen(Protocol):
    """What a drawing needs."""

    def begin(self, wide: float, tall: float) -> None:
        """Start a drawing of a size."""

    def clip(self, rings: Sequence[FloatArray]) -> None:
        """Keep what is drawn until `unclip` inside an area."""

    def unclip(self) -> None:
        """End the last `clip`."""

    def area(
        self, rings: Sequence[FloatArray], fill: str | None, stroke: str | None = None, width: float = 0.25
    ) -> None:
        """Fill or outline an area, even-odd."""

    def picture(self, rings: Sequence[FloatArray], picture: Picture) -> None:
        """Fill an area, even-odd, with a picture that is placed in the drawing."""

    def line(
        self, points: FloatArray, width: float, colour: str = INK, dash: tuple[float, float] | None = None
    ) -> None:
        """Draw a polyline with round ends."""

    def ring(
        self, x: float, y: float, radius: float, width: float, colour: str = INK, fill: str | None = None
    ) -> None:
        """Draw a circle."""

    def text(
        self, x: float, y: float, text: str, size: float, anchor: str = "middle", colour: str = INK
    ) -> None:
        """Write a word; `anchor` is "start", "middle" or "end"."""


class SvgPen:
    """Draws into one SVG element."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._parts: list[str] = []
        self._head = ""
        self._clips = 0

    def begin(self, wide: float, tall: float) -> None:
        """Start the element."""
        self._head = (
            '<svg class="piece" xmlns="http://www.w3.org/2000/svg" '
            f'width="{wide:.1f}mm" height="{tall:.1f}mm" viewBox="0 0 {wide:.2f} {tall:.2f}" '
            f'role="img" aria-label="{escape(self._label)}">'
        )

    def clip(self, rings: Sequence[FloatArray]) -> None:
        """Open a clipped group."""
        name = "".join(c if c.isalnum() else "-" for c in self._label) + f"-{self._clips}"
        self._clips += 1
        self._parts.append(
            f'<clipPath id="{name}"><path d="{_data(rings)}" clip-rule="evenodd"/></clipPath>'
            f'<g clip-path="url(#{name})">'
        )

    def unclip(self) -> None:
        """Close it."""
        self._parts.append("</g>")

    def area(
        self, rings: Sequence[FloatArray], fill: str | None, stroke: str | None = None, width: float = 0.25
    ) -> None:
        """Fill or outline an area."""
        edge = f' stroke="{escape(stroke)}" stroke-width="{width:g}"' if stroke else ""
        self._parts.append(
            f'<path d="{_data(rings)}" fill="{escape(fill or "none")}" fill-rule="evenodd"{edge}/>'
        )

    def picture(self, rings: Sequence[FloatArray], picture: Picture) -> None:
        """Fill an area with a picture."""
        self.clip(rings)
        (a, c, e), (b, d, f) = picture.matrix
        height, width = picture.dots.shape[:2]
        data = base64.b64encode(png_of(picture)).decode("ascii")
        self._parts.append(
            f'<image width="{width}" height="{height}" preserveAspectRatio="none" '
            f'transform="matrix({a:.6g} {b:.6g} {c:.6g} {d:.6g} {e:.4f} {f:.4f})" '
            f'href="data:image/png;base64,{data}"/>'
        )
        self.unclip()

    def line(
        self, points: FloatArray, width: float, colour: str = INK, dash: tuple[float, float] | None = None
    ) -> None:
        """Draw a polyline."""
        dashes = f' stroke-dasharray="{dash[0]:g} {dash[1]:g}"' if dash else ' stroke-linecap="round"'
        d = "M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in points)
        self._parts.append(
            f'<path d="{d}" fill="none" stroke="{escape(colour)}" stroke-width="{width:g}"{dashes}/>'
        )

    def ring(
        self, x: float, y: float, radius: float, width: float, colour: str = INK, fill: str | None = None
    ) -> None:
        """Draw a circle."""
        self._parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{fill or "none"}" '
            f'stroke="{colour}" stroke-width="{width:g}"/>'
        )

    def text(
        self, x: float, y: float, text: str, size: float, anchor: str = "middle", colour: str = INK
    ) -> None:
        """Write a word."""
        self._parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" text-anchor="{anchor}" '
            f'fill="{colour}">{escape(text)}</text>'
        )

    def finish(self) -> str:
        """The whole element."""
        return self._head + "".join(self._parts) + "</svg>"


class PdfPen:
    """Draws onto a canvas whose origin is the drawing's lower left corner.

    Parameters
    ----------
    canvas : reportlab Canvas
        In points.
    unit : float
        Points per millimetre of the drawing.
    face : str
        Name of a registered typeface.
    """

    def __init__(self, canvas: Canvas, unit: float, face: str) -> None:
        self._canvas = canvas
        self._unit = unit
        self._face = face

    def begin(self, wide: float, tall: float) -> None:
        """Turn the canvas to millimetres with y down."""
        self._canvas.transform(self._unit, 0, 0, -self._unit, 0, tall * self._unit)
        self._canvas.setLineCap(1)

    def clip(self, rings: Sequence[FloatArray]) -> None:
        """Clip until `unclip`."""
        self._canvas.saveState()
        self._canvas.clipPath(self._path(rings), stroke=0, fill=0, fillMode=0)

    def unclip(self) -> None:
        """End it."""
        self._canvas.restoreState()

    def area(
        self, rings: Sequence[FloatArray], fill: str | None, stroke: str | None = None, width: float = 0.25
    ) -> None:
        """Fill or outline an area."""
        if fill:
            self._canvas.setFillColor(_colour(fill))
        if stroke:
            self._canvas.setStrokeColor(_colour(stroke))
            self._canvas.setLineWidth(width)
        self._canvas.drawPath(self._path(rings), stroke=int(bool(stroke)), fill=int(bool(fill)), fillMode=0)

    def picture(self, rings: Sequence[FloatArray], picture: Picture) -> None:
        """Fill an area with a picture."""
        self.clip(rings)
        (a, c, e), (b, d, f) = picture.matrix.tolist()
        height, width = picture.dots.shape[:2]
        self._canvas.transform(a, b, c, d, e, f)
        # An image's first row lies at the top of a frame with y up.
        self._canvas.transform(1, 0, 0, -1, 0, height)
        self._canvas.drawImage(ImageReader(Image.fromarray(picture.dots)), 0, 0, width, height)
        self.unclip()

    def line(
        self, points: FloatArray, width: float, colour: str = INK, dash: tuple[float, float] | None = None
    ) -> None:
        """Draw a polyline."""
        self._canvas.setStrokeColor(_colour(colour))
        self._canvas.setLineWidth(width)
        self._canvas.setLineCap(0 if dash else 1)
        self._canvas.setDash(*dash) if dash else self._canvas.setDash()
        path = self._canvas.beginPath()
        path.moveTo(float(points[0][0]), float(points[0][1]))
        for x, y in points[1:]:
            path.lineTo(float(x), float(y))
        self._canvas.drawPath(path, stroke=1, fill=0)
        self._canvas.setDash()

    def ring(
        self, x: float, y: float, radius: float, width: float, colour: str = INK, fill: str | None = None
    ) -> None:
        """Draw a circle."""
        self._canvas.setStrokeColor(_colour(colour))
        self._canvas.setLineWidth(width)
        if fill:
            self._canvas.setFillColor(_colour(fill))
        self._canvas.circle(float(x), float(y), float(radius), stroke=1, fill=int(bool(fill)))

    def text(
        self, x: float, y: float, text: str, size: float, anchor: str = "middle", colour: str = INK
    ) -> None:
        """Write a word, turned back upright."""
        self._canvas.saveState()
        self._canvas.transform(1, 0, 0, -1, float(x), float(y))
        self._canvas.setFillColor(_colour(colour))
        self._canvas.setFont(self._face, size)
        write = {
            "start": self._canvas.drawString,
            "middle": self._canvas.drawCentredString,
            "end": self._canvas.drawRightString,
        }[anchor]
        write(0, 0, text)
        self._canvas.restoreState()

    def _path(self, rings: Sequence[FloatArray]) -> object:
        path = self._canvas.beginPath()
        for ring in rings:
            path.moveTo(float(ring[0][0]), float(ring[0][1]))
            for x, y in ring[1:]:
                path.lineTo(float(x), float(y))
            path.close()
        return path


def _colour(colour: str) -> Color:
    return Color(*rgb_of(colour))


def _data(rings: Sequence[FloatArray]) -> str:
    return "".join("M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in ring) + "Z" for ring in rings)
