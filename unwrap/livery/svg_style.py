"""How an SVG element is painted: presentation attributes, style attributes and plain CSS rules.

References
----------
W3C, SVG 2, chapters "Styling" and "Painting"; W3C, Selectors Level 3 (type, class and
id selectors and their descendants; specificity).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lxml import etree
from PIL import ImageColor

INHERITED = {
    "fill": "#000000",
    "fill-rule": "nonzero",
    "clip-rule": "nonzero",
    "stroke": "none",
    "stroke-width": "1",
    "stroke-linecap": "butt",
    "stroke-linejoin": "miter",
    "stroke-miterlimit": "4",
    "stroke-dasharray": "none",
    "stroke-dashoffset": "0",
    "color": "#000000",
    "visibility": "visible",
    "font-family": "DejaVu Sans",
    "font-size": "16",
    "font-weight": "normal",
    "font-style": "normal",
    "letter-spacing": "normal",
    "text-anchor": "start",
}
OWN = ("display", "opacity", "clip-path", "mask", "filter", "fill-opacity", "stroke-opacity", "stop-color")
_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_SIMPLE = re.compile(r"^(?:[\w*-]+)?(?:[.#][\w-]+)*$")

UNITS = {
    "": 1.0,
    "px": 1.0,
    "mm": 96 / 25.4,
    "cm": 960 / 25.4,
    "in": 96.0,
    "pt": 96 / 72,
    "pc": 16.0,
    "q": 24 / 25.4,
}
_LENGTH = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([a-zA-Z%]*)\s*$")


@dataclass(frozen=True)
class Rule:
    """One CSS rule: its selector as simple parts (outermost first) and what it declares."""

    parts: tuple[str, ...]
    weight: tuple[int, int, int, int]
    values: tuple[tuple[str, str], ...]


def read_rules(sheets: list[str]) -> list[Rule]:
    """Rules of plain CSS, weakest first; rules inside @media and the like are left out."""
    rules = []
    text = _COMMENT.sub("", "\n".join(sheets))
    text = re.sub(r"@[^{};]*(;|\{(?:[^{}]*\{[^{}]*\})*[^{}]*\})", "", text)
    for number, (selectors, body) in enumerate(_RULE.findall(text)):
        values = tuple(declarations(body).items())
        for selector in selectors.split(","):
            parts = tuple(selector.split())
            if parts and all(_SIMPLE.match(part) for part in parts):
                joined = " ".join(parts)
                types = sum(bool(re.match(r"[\w-]", part)) for part in parts)
                rules.append(Rule(parts, (joined.count("#"), joined.count("."), types, number), values))
    return sorted(rules, key=lambda rule: rule.weight)


def declarations(body: str) -> dict[str, str]:
    """Property and value pairs of a style attribute or a rule's body."""
    out = {}
    for item in body.split(";"):
        name, colon, value = item.partition(":")
        if colon:
            out[name.strip().lower()] = value.replace("!important", "").strip()
    return out


def style_of(element: etree._Element, parent: dict[str, str], rules: list[Rule]) -> dict[str, str]:
    """What an element is painted with: its parent's style, attributes, rules, then its own style."""
    given: dict[str, str] = {}
    for name in (*INHERITED, *OWN):
        value = element.get(name)
        if value is not None:
            given[name] = value.strip()
    for rule in rules:
        if _matches(element, rule.parts):
            given.update(rule.values)
    given.update(declarations(element.get("style", "")))
    out = {name: parent.get(name, start) for name, start in INHERITED.items()}
    for name, value in given.items():
        if name in INHERITED or name in OWN:
            if value == "inherit":
                value = parent.get(name, INHERITED.get(name, ""))
            out[name] = value
    return out


def _matches(element: etree._Element, parts: tuple[str, ...]) -> bool:
    if not _matches_simple(element, parts[-1]):
        return False
    above = element.getparent()
    for part in reversed(parts[:-1]):
        while above is not None and not _matches_simple(above, part):
            above = above.getparent()
        if above is None:
            return False
        above = above.getparent()
    return True


def _matches_simple(element: etree._Element, part: str) -> bool:
    if not isinstance(element.tag, str):
        return False
    name = re.match(r"[\w*-]*", part)
    kind = name[0] if name else ""
    if kind not in ("", "*") and kind != etree.QName(element).localname:
        return False
    classes = element.get("class", "").split()
    return all(
        (value in classes) if sign == "." else (value == element.get("id"))
        for sign, value in re.findall(r"([.#])([\w-]+)", part)
    )


def colour_of(value: str, current: str = "#000000") -> str | None:
    """A CSS colour as "#rrggbb"; None for none or transparent.

    Raises
    ------
    ValueError
        If it is no colour.
    """
    text = value.strip().lower()
    if text in ("none", "transparent", ""):
        return None
    if text == "currentcolor":
        return colour_of(current)
    text = re.sub(r"rgba?\(([^)]*)\)", lambda m: f"rgb({_three(m[1])})", text)
    red, green, blue = ImageColor.getrgb(text)[:3]
    return f"#{red:02x}{green:02x}{blue:02x}"


def _three(inside: str) -> str:
    return ",".join(re.split(r"[\s,/]+", inside.strip())[:3])


def length_of(value: str | None, default: float = 0.0, whole: float = 0.0) -> float:
    """A length in user units (1 px = 1 unit); per cent are of `whole`.

    Raises
    ------
    ValueError
        If it is no length.
    """
    if value is None or not value.strip():
        return default
    match = _LENGTH.match(value)
    if not match:
        raise ValueError(f"{value!r} is no length")
    number, unit = float(match[1]), match[2].lower()
    if unit == "%":
        return number / 100.0 * whole
    if unit not in UNITS:
        raise ValueError(f"{value!r} has an unknown unit")
    return number * UNITS[unit]
