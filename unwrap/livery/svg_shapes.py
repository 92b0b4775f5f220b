"""The shapes of a drawing as sampled runs: paths, rectangles, circles, lines and text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from lxml import etree

from unwrap.livery.glyphs import advance, letters
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


@dataclass
class _Span:
    """A bit of text in one style; `x` and `y` where it is placed anew."""

    text: str
    style: dict[str, str]
    x: float | None
    y: float | None
    dx: float
    dy: float


def _text(element: etree._Element, style: dict[str, str], rules: list[Rule]) -> list[Run]:
    """Text as outlines in its fonts, flowing on from part to part."""
    spans = _joined_spaces(_spans(element, style, rules))
    runs: list[Run] = []
    x = y = 0.0
    chunk: list[tuple[list[shapely.Geometry], float]] = []
    anchor, start = "start", 0.0

    def finish() -> None:
        shift = {"middle": 0.5, "end": 1.0}.get(anchor, 0.0) * (x - start)
        for areas, down in chunk:
            for polygon in shapely.get_parts(shapely.union_all(areas)):
                for ring in (polygon.exterior, *polygon.interiors):
                    points = np.asarray(ring.coords)[:-1] * [1.0, -1.0] + [-shift, down]
                    runs.append(Run(points, True, max(len(points) // 6, 4)))

    for span in spans:
        if span.x is not None:
            finish()
            chunk, x, start, anchor = [], span.x, span.x, span.style["text-anchor"]
        y = (span.y if span.y is not None else y) + span.dy
        x += span.dx
        how = _set_in(span.style)
        areas = [shapely.affinity.translate(letter, x) for letter in letters(span.text, **how)]
        chunk.append((areas, y))
        x += advance(span.text, **how)
    finish()
    return runs


def _set_in(style: dict[str, str]) -> dict[str, Any]:
    family = style["font-family"].split(",")[0].strip(" '\"")
    if style["font-style"] not in ("normal", ""):
        raise ValueError(f"its letters are {style['font-style']}; turn the text to outlines")
    spacing = style["letter-spacing"]
    return {
        "font": FAMILIES.get(family, family),
        "weight": "bold" if style["font-weight"] in BOLD else "normal",
        "em": length_of(style["font-size"]),
        "spacing": 0.0 if spacing == "normal" else length_of(spacing),
    }


def _spans(element: etree._Element, style: dict[str, str], rules: list[Rule]) -> list[_Span]:
    """The bits of a text in turn; each letter by itself where places are given letter by letter."""
    kind = etree.QName(element).localname
    if kind == "textPath":
        raise ValueError("its text runs along a path; turn it to outlines")
    given = {name: _lengths(element.get(name)) for name in ("x", "y", "dx", "dy")}
    if kind == "text":
        given["x"], given["y"] = given["x"] or [0.0], given["y"] or [0.0]
    text = element.text or ""
    letters_placed = max(map(len, given.values()))
    bits = [*text[: letters_placed - 1], text[letters_placed - 1 :]] if letters_placed > 1 else [text]
    out = [
        _Span(
            bit,
            style,
            _nth(given["x"], i),
            _nth(given["y"], i),
            _nth(given["dx"], i) or 0.0,
            _nth(given["dy"], i) or 0.0,
        )
        for i, bit in enumerate(bits)
    ]
    for child in element:
        out += _spans(child, style_of(child, style, rules), rules)
        if child.tail:
            out.append(_Span(child.tail, style, None, None, 0.0, 0.0))
    return out


def _lengths(value: str | None) -> list[float]:
    return [length_of(item) for item in re.split(r"[\s,]+", (value or "").strip()) if item]


def _nth(values: list[float], i: int) -> float | None:
    return values[i] if i < len(values) else None


def _joined_spaces(spans: list[_Span]) -> list[_Span]:
    """Runs of blanks as one, none where the text or a new place begins, nor at the end."""
    blank = True
    for span in spans:
        blank = blank or span.x is not None
        text = re.sub(r"\s+", " ", span.text)
        span.text = text.lstrip() if blank else text
        blank = span.text.endswith(" ") or (blank and not span.text)
    if spans:
        spans[-1].text = spans[-1].text.rstrip()
    return spans
