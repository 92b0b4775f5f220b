"""Gradients of a drawing: which colour they have at a place of the view.

References
----------
W3C, Scalable Vector Graphics (SVG) 2, chapter "Paint Servers: Gradients, Patterns"; the colour of a
round gradient about a focus is that of the largest circle through the place (W3C, HTML Canvas 2D
Context, "createRadialGradient").
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from unwrap.arrays import FloatArray
from unwrap.livery.svg_path import parse_transform
from unwrap.livery.svg_style import Rule, colour_of, length_of, style_of

# The lengths that a gradient is given by, and what they are where it does not say.
FRAMES = {
    "linearGradient": (("x1", "0"), ("y1", "0"), ("x2", "100%"), ("y2", "0")),
    "radialGradient": (("cx", "50%"), ("cy", "50%"), ("r", "50%")),
}
# A focus is held this near to the rim at the most, in radii.
FOCUS_INSIDE = 0.999


@dataclass(frozen=True, eq=False)
class Gradient:
    """A shading from colour to colour.

    Parameters
    ----------
    kind : str
        "linearGradient" or "radialGradient".
    matrix : (3, 3) float64
        From the gradient's unit frame to mm in the view: a linear one runs from x = 0 to
        x = 1 square to x, a round one fills the unit circle.
    offsets : (n,) float64
        Rising, 0 to 1.
    colours : (n, 3) float64
        Red, green, blue at the offsets, 0 to 255.
    spread : str
        "pad", "reflect" or "repeat": what comes before the first stop and after the last.
    focus : (3,) float64
        Where a round one begins in its unit frame, and how large there.
    """

    kind: str
    matrix: FloatArray
    offsets: FloatArray
    colours: FloatArray
    spread: str = "pad"
    focus: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 3) red, green, blue at points (n, 2) of the view, mm."""
        turned: FloatArray = np.linalg.solve(self.matrix[:2, :2], (points - self.matrix[:2, 2]).T).astype(
            float
        )
        share = turned[0] if self.kind == "linearGradient" else self._share_of_circle(turned)
        if self.spread == "repeat":
            share = share - np.floor(share)
        elif self.spread == "reflect":
            share = 1.0 - np.abs(share - 2.0 * np.floor(0.5 * share) - 1.0)
        found = np.stack([np.interp(share, self.offsets, channel) for channel in self.colours.T], axis=-1)
        return np.round(found).astype(np.uint8)

    def _share_of_circle(self, place: FloatArray) -> FloatArray:
        """How far out the circle through each place (2, n) is: 0 the focus, 1 the rim."""
        fx, fy, fr = self.focus
        px, py = place[0] - fx, place[1] - fy
        # |p - t (c - f)| = fr + t (1 - fr), the circles' middles going from the focus to the centre.
        a = fx * fx + fy * fy - (1.0 - fr) ** 2
        b = -px * fx - py * fy + fr * (1.0 - fr)
        c = px * px + py * py - fr * fr
        root = np.sqrt(np.maximum(b * b - a * c, 0.0))
        return (b - root) / a


def stops_of(element: etree._Element, rules: list[Rule]) -> list[tuple[float, int]]:
    """Offsets and colours (0xrrggbb) of a gradient's own stops."""
    out: list[tuple[float, int]] = []
    for stop in element:
        if etree.QName(stop).localname == "stop":
            colour = colour_of(style_of(stop, {}, rules).get("stop-color", "#000000")) or "#ffffff"
            offset = length_of(stop.get("offset"), 0.0, 1.0)
            # An offset that falls back stands where the last one stood.
            offset = min(max(offset, out[-1][0] if out else 0.0), 1.0)
            out.append((offset, int(colour[1:], 16)))
    return out


def gradient_of(
    kind: str, given: Mapping[str, str], stops: list[tuple[float, int]], matrix: FloatArray, box: FloatArray
) -> Gradient:
    """A gradient from its attributes.

    Parameters
    ----------
    kind : str
        "linearGradient" or "radialGradient".
    given : mapping of str to str
        Its attributes, those it takes over included.
    stops : list of (offset, colour)
    matrix : (3, 3) float64
        From the shape's own units to mm in the view.
    box : (n, 2) float64
        Points of the shape, own units: what the gradient's lengths are shares of, unless it says otherwise.

    Raises
    ------
    ValueError
        If a length or a transform cannot be read.
    """
    spread = given.get("spreadMethod", "pad")
    focus = (0.0, 0.0, 0.0)
    in_box = given.get("gradientUnits", "objectBoundingBox") == "objectBoundingBox"
    frame = parse_transform(given.get("gradientTransform"))
    if in_box:
        low, size = box.min(axis=0), np.maximum(np.ptp(box, axis=0), 1e-9)
        frame = np.array([[size[0], 0, low[0]], [0, size[1], low[1]], [0, 0, 1]]) @ frame
    first = FRAMES[kind]
    values = [length_of(given.get(name, start), whole=1.0) for name, start in first]
    if kind == "linearGradient":
        frame = frame @ linear_frame(np.array(values[:2]), np.array(values[2:]))
    else:
        frame = frame @ round_frame(np.array(values[:2]), values[2])
        focus = _focus(given, values)
    colours = np.array([[colour >> 16, colour >> 8 & 255, colour & 255] for _, colour in stops], dtype=float)
    offsets = np.array([offset for offset, _ in stops])
    return Gradient(
        kind, matrix @ frame, offsets, colours, spread if spread in ("reflect", "repeat") else "pad", focus
    )


def _focus(given: Mapping[str, str], circle: list[float]) -> tuple[float, float, float]:
    """A round gradient's focus in the frame of its circle; one beyond the circle is drawn in to it."""
    cx, cy, r = circle
    r = max(r, 1e-12)
    fx, fy = ((length_of(given.get(n), c, whole=1.0) - c) / r for n, c in (("fx", cx), ("fy", cy)))
    fr = min(length_of(given.get("fr"), 0.0, whole=1.0) / r, FOCUS_INSIDE)
    far = float(np.hypot(fx, fy))
    size = min(1.0, (FOCUS_INSIDE - fr) / far) if far > 0 else 1.0
    return fx * size, fy * size, fr


def linear_frame(start: FloatArray, end: FloatArray) -> FloatArray:
    """Matrix from the unit frame of a linear gradient to that of its two points."""
    way = end - start
    return np.array([[way[0], -way[1], start[0]], [way[1], way[0], start[1]], [0, 0, 1]])


def round_frame(centre: FloatArray, radius: float) -> FloatArray:
    """Matrix from the unit frame of a round gradient to that of its circle."""
    return np.array([[radius, 0, centre[0]], [0, radius, centre[1]], [0, 0, 1]])
