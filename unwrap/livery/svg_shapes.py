"""The shapes of a drawing as sampled runs: paths, rectangles, circles, lines and text."""

from __future__ import annotations

import re

import numpy as np
import shapely
from lxml import etree

from unwrap.livery.glyphs import letters
from unwrap.livery.svg_path import NUMBER, Run, ellipse, parse_path, rectangle
from unwrap.livery.svg_style import Rule, length_of, style_of

SHAPES = ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text")
FAMILIES = {"sans-serif": "DejaVu Sans", "serif": "DejaVu Serif", "monospace": "DejaVu Sans Mono"}
BOLD = ("bold", "bolder", "600", "700", "800", "900")


def runs_of(
    element: etree._Element, kind: str, style: dict[str, str], rules: list[Rule], tolerance: float
) -> list[Run]:
    """Sampled runs of a shape, in its own units.

    Parameters
    ----------
    element : lxml element
    kind : str
        One of `SHAPES`.
    style : dict of str to str
        What it is painted with.
    rules : list of Rule
        For the parts of a text.
    tolerance : float
        How far a curve may be from its chords, own units.

    Raises
    ------
    ValueError
        If it cannot be read.
    BadInput
        If a font or a letter is missing.
    """
    if kind == "path":
        return parse_path(element.get("d", ""), tolerance)
    if kind == "text":
        return _text(element, style, rules)
    if kind in ("polyline", "polygon", "line"):
        return _polyline(element, kind)
    if kind == "rect":
        rx, ry = element.get("rx"), element.get("ry")
        x, y, width, height = (length_of(element.get(name)) for name in ("x", "y", "width", "height"))
        return rectangle(x, y, width, height, length_of(rx or ry), length_of(ry or rx), tolerance)
    cx, cy = length_of(element.get("cx")), length_of(element.get("cy"))
    if kind == "circle":
        r = length_of(element.get("r"))
        return ellipse(cx, cy, r, r, tolerance)
    return ellipse(cx, cy, length_of(element.get("rx")), length_of(element.get("ry")), tolerance)


def _polyline(element: etree._Element, kind: str) -> list[Run]:
    if kind == "line":
        x1, y1, x2, y2 = (length_of(element.get(name)) for name in ("x1", "y1", "x2", "y2"))
        return [Run(np.array([[x1, y1], [x2, y2]]), False, 2)]
    values = np.array([float(v) for v in re.findall(NUMBER, element.get("points", ""))])
    points = values[: len(values) // 2 * 2].reshape(-1, 2)
    return [Run(points, kind == "polygon", len(points))] if len(points) > 1 else []


def _text(element: etree._Element, style: dict[str, str], rules: list[Rule]) -> list[Run]:
    """Plain text as outlines in its font, one line per element or tspan."""
    runs: list[Run] = []
    start = [length_of(element.get("x")), length_of(element.get("y"))]
    lines = [(element, element.text or "", style)]
    for child in element:
        lines.append((child, child.text or "", style_of(child, style, rules)))
    for part, text, how in lines:
        text = " ".join(text.split())
        if not text:
            continue
        x, y = length_of(part.get("x"), start[0]), length_of(part.get("y"), start[1])
        family = how["font-family"].split(",")[0].strip(" '\"")
        weight = "bold" if how["font-weight"] in BOLD else "normal"
        areas = letters(text, FAMILIES.get(family, family), weight, em=length_of(how["font-size"]))
        whole = shapely.union_all(areas)
        shift = {"middle": 0.5, "end": 1.0}.get(how["text-anchor"], 0.0) * whole.bounds[2]
        for polygon in shapely.get_parts(whole):
            for ring in (polygon.exterior, *polygon.interiors):
                points = np.asarray(ring.coords)[:-1] * [1.0, -1.0] + [x - shift, y]
                runs.append(Run(points, True, max(len(points) // 6, 4)))
    return runs
