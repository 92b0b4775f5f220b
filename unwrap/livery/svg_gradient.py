"""Gradients as steps of flat colour, each too small to see: flat colour is what plates hold.

References
----------
W3C, Scalable Vector Graphics (SVG) 2, chapter "Paint Servers: Gradients, Patterns".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from lxml import etree

from unwrap.arrays import FloatArray
from unwrap.livery.svg_path import parse_transform
from unwrap.livery.svg_style import Rule, colour_of, length_of, style_of

# Levels (of 255) that a colour may change by from step to step: about the least that is
# seen side by side (common practice, no source).
STEP = 6
MOST_STEPS = 64
# The lengths that a gradient is given by, and what they are where it does not say.
FRAMES = {
    "linearGradient": (("x1", "0"), ("y1", "0"), ("x2", "100%"), ("y2", "0")),
    "radialGradient": (("cx", "50%"), ("cy", "50%"), ("r", "50%")),
}
# Far enough beyond any drawing, in lengths of the gradient.
FAR = 1e4
# Sides of the polygon that stands for a quarter of a round step.
QUARTER_SIDES = 32


@dataclass(frozen=True, eq=False)
class Gradient:
    """A shading from colour to colour.

    Parameters
    ----------
    kind : str
        "linearGradient" or "radialGradient".
    matrix : (3, 3) float64
        From the gradient's unit frame to mm in the view: a linear one runs from x = 0 to
        x = 1 square to x, a round one from the origin to the unit circle.
    offsets : (n,) float64
        Rising, 0 to 1.
    colours : (n, 3) float64
        Red, green, blue at the offsets, 0 to 255.
    """

    kind: str
    matrix: FloatArray
    offsets: FloatArray
    colours: FloatArray

    def steps(self, area: shapely.Geometry) -> list[tuple[str, shapely.Geometry]]:
        """Colours and areas, each painted over the one before, so that no gap shows between them."""
        bounds = self._bounds()
        out = []
        for k, (low, high) in enumerate(pairwise(bounds)):
            part = area if k == 0 else shapely.intersection(area, self._beyond(float(low)))
            if part.area > 0:
                out.append((self._colour(0.5 * float(low + high)), part))
        return out

    def _bounds(self) -> FloatArray:
        """Where one step ends and the next begins."""
        bounds = [0.0]
        for a, b, low, high in zip(
            self.offsets[:-1], self.offsets[1:], self.colours[:-1], self.colours[1:], strict=True
        ):
            count = int(np.clip(np.ceil(np.abs(high - low).max() / STEP), 1, MOST_STEPS))
            bounds += np.linspace(a, b, count + 1)[0 if a > bounds[-1] else 1 :].tolist()
        # Before the first stop and after the last the colour is theirs.
        return np.unique(np.concatenate([[-1.0] if self.offsets[0] > 0 else [], bounds, [2.0]]))

    def _colour(self, at: float) -> str:
        red, green, blue = (round(float(np.interp(at, self.offsets, channel))) for channel in self.colours.T)
        return f"#{red:02x}{green:02x}{blue:02x}"

    def _beyond(self, at: float) -> shapely.Geometry:
        """The plane further along the gradient than a share of it."""
        if self.kind == "linearGradient":
            ring = np.array([[at, -FAR], [FAR, -FAR], [FAR, FAR], [at, FAR]])
            return shapely.Polygon(self._moved(ring))
        turn = np.linspace(0, 2 * np.pi, 4 * QUARTER_SIDES, endpoint=False)
        circle = self._moved(max(at, 1e-9) * np.column_stack([np.cos(turn), np.sin(turn)]))
        square = self._moved(FAR * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]))
        return shapely.Polygon(square, [circle])

    def _moved(self, points: FloatArray) -> FloatArray:
        return points @ self.matrix[:2, :2].T + self.matrix[:2, 2]


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
    colours = np.array([[colour >> 16, colour >> 8 & 255, colour & 255] for _, colour in stops], dtype=float)
    return Gradient(kind, matrix @ frame, np.array([offset for offset, _ in stops]), colours)


def linear_frame(start: FloatArray, end: FloatArray) -> FloatArray:
    """Matrix from the unit frame of a linear gradient to that of its two points."""
    way = end - start
    return np.array([[way[0], -way[1], start[0]], [way[1], way[0], start[1]], [0, 0, 1]])


def round_frame(centre: FloatArray, radius: float) -> FloatArray:
    """Matrix from the unit frame of a round gradient to that of its circle."""
    return np.array([[radius, 0, centre[0]], [0, radius, centre[1]], [0, 0, 1]])
