"""Outlines in SVG: path data and basic shapes to sampled runs, and transforms to matrices.

References
----------
W3C, Scalable Vector Graphics (SVG) 2, chapters "Paths", "Basic Shapes" and
"Coordinate Systems, Transformations and Units"; elliptical arcs by its appendix
"Elliptical arc implementation notes" (end points to centre).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_TOKEN = re.compile(rf"([MmZzLlHhVvCcSsQqTtAa])|({NUMBER})")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
# Largest number of samples of one curved span.
MOST_SAMPLES = 400


@dataclass(frozen=True, eq=False)
class Run:
    """One sampled subpath.

    Parameters
    ----------
    points : (n, 2) float64
        In the element's own units; a closed run does not repeat its first point.
    closed : bool
    nodes : int
        How many nodes it was drawn with.
    """

    points: FloatArray
    closed: bool
    nodes: int


def parse_path(data: str, tolerance: float) -> list[Run]:
    """Sample path data so that no curve is further than `tolerance` (own units) from its chords.

    Raises
    ------
    ValueError
        Where the data cannot be read.
    """
    return _Pen(tolerance).draw(data)


class _Pen:
    """Follows path data, command by command."""

    def __init__(self, tolerance: float) -> None:
        self.tolerance = tolerance
        self.runs: list[Run] = []
        self.points: list[FloatArray] = []
        self.nodes = 0
        self.at = np.zeros(2)
        self.start = np.zeros(2)
        self.control: FloatArray | None = None
        self.last = ""

    def draw(self, data: str) -> list[Run]:
        command = ""
        arguments: list[float] = []
        rest = _TOKEN.sub("", data).replace(",", " ").strip()
        if rest:
            raise ValueError(f"there is {rest[:12]!r} in the path data")
        for letter, number in _TOKEN.findall(_split_flags(data)):
            if letter:
                self._check(command, arguments)
                command, arguments = letter, []
                if letter in "Zz":
                    self._close()
            else:
                if not command or command in "Zz":
                    raise ValueError("a number stands where a command should")
                arguments.append(float(number))
                if len(arguments) == _ARGUMENTS[command.upper()]:
                    self._do(command, np.array(arguments))
                    arguments = []
                    # Further pairs after a move are lines.
                    command = {"M": "L", "m": "l"}.get(command, command)
        self._check(command, arguments)
        self._end(False)
        return self.runs

    def _check(self, command: str, arguments: list[float]) -> None:
        if arguments:
            raise ValueError(f"command {command} has too few numbers")

    def _close(self) -> None:
        self._end(True)
        self.at = self.start
        self.last = "Z"

    def _end(self, closed: bool) -> None:
        if len(self.points) > 1:
            points = np.array(self.points)
            if closed and np.allclose(points[0], points[-1], atol=1e-9, rtol=0):
                points = points[:-1]
            self.runs.append(Run(points, closed, max(self.nodes, 1)))
        self.points, self.nodes = [], 0

    def _do(self, command: str, a: FloatArray) -> None:
        kind = command.upper()
        base = self.at if command.islower() else np.zeros(2)
        if kind == "M":
            self._end(False)
            self.at = self.start = a + base
            self.points, self.nodes = [self.at], 1
        else:
            if not self.points:
                if self.last == "":
                    raise ValueError("the path does not begin with a move")
                self.points, self.nodes = [self.at], 1
            self._span(kind, a, base)
            self.nodes += 1
        self.last = kind

    def _span(self, kind: str, a: FloatArray, base: FloatArray) -> None:
        control = None
        if kind == "L":
            self._add([a + base])
        elif kind == "H":
            self._add([np.array([a[0] + base[0], self.at[1]])])
        elif kind == "V":
            self._add([np.array([self.at[0], a[0] + base[1]])])
        elif kind in "CS":
            if kind == "C":
                first, second, end = a[:2] + base, a[2:4] + base, a[4:] + base
            else:
                first = (
                    2 * self.at - self.control if self.last in "CS" and self.control is not None else self.at
                )
                second, end = a[:2] + base, a[2:] + base
            self._add(_cubic(self.at, first, second, end, self.tolerance))
            control = second
        elif kind in "QT":
            if kind == "Q":
                middle, end = a[:2] + base, a[2:] + base
            else:
                middle = (
                    2 * self.at - self.control if self.last in "QT" and self.control is not None else self.at
                )
                end = a + base
            first, second = self.at + 2 / 3 * (middle - self.at), end + 2 / 3 * (middle - end)
            self._add(_cubic(self.at, first, second, end, self.tolerance))
            control = middle
        else:
            self._add(_arc(self.at, a, a[5:] + base, self.tolerance))
        self.control = control

    def _add(self, points: list[FloatArray] | FloatArray) -> None:
        self.points += list(points)
        self.at = self.points[-1]


def _split_flags(data: str) -> str:
    """Arc flags may stand without a space after them ("a1 1 0 0110 10"): put spaces between."""
    if "a" not in data and "A" not in data:
        return data
    comma = r"\s*,?\s*"
    arc = comma.join(["", *[f"({NUMBER})"] * 3, "([01])", "([01])", *[f"({NUMBER})"] * 2])
    pattern = re.compile(rf"([Aa])((?:{arc})+)")
    one = re.compile(arc)
    return pattern.sub(
        lambda m: m[1] + " " + " ".join(" ".join(x.groups()) for x in one.finditer(m[2])), data
    )


def _cubic(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray, tolerance: float) -> FloatArray:
    """Samples of a cubic without its first point; chords within the tolerance (Wang's bound)."""
    bend = max(np.linalg.norm(a - 2 * b + c), np.linalg.norm(b - 2 * c + d))
    count = int(np.clip(np.ceil(np.sqrt(0.75 * bend / tolerance)), 1, MOST_SAMPLES))
    t = (np.arange(1, count + 1) / count)[:, None]
    s = 1 - t
    return s**3 * a + 3 * s * s * t * b + 3 * s * t * t * c + t**3 * d


def _arc(start: FloatArray, a: FloatArray, end: FloatArray, tolerance: float) -> FloatArray:
    rx, ry = abs(float(a[0])), abs(float(a[1]))
    if rx == 0 or ry == 0 or np.allclose(start, end, atol=1e-12):
        return end[None]
    turn = np.radians(a[2])
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    p = axes @ (start - end) / 2
    lack = (p[0] / rx) ** 2 + (p[1] / ry) ** 2
    if lack > 1:
        rx, ry = rx * np.sqrt(lack), ry * np.sqrt(lack)
    under = (rx * ry) ** 2 - (rx * p[1]) ** 2 - (ry * p[0]) ** 2
    size = np.sqrt(max(under, 0.0) / ((rx * p[1]) ** 2 + (ry * p[0]) ** 2))
    sign = -1.0 if bool(a[3]) == bool(a[4]) else 1.0
    centre = sign * size * np.array([rx * p[1] / ry, -ry * p[0] / rx])
    first = np.arctan2((p[1] - centre[1]) / ry, (p[0] - centre[0]) / rx)
    last = np.arctan2((-p[1] - centre[1]) / ry, (-p[0] - centre[0]) / rx)
    sweep = last - first
    if a[4] and sweep < 0:
        sweep += 2 * np.pi
    if not a[4] and sweep > 0:
        sweep -= 2 * np.pi
    points = _around(rx, ry, first, sweep, tolerance)[1:] + centre
    out = points @ axes + 0.5 * (start + end)
    out[-1] = end
    return out


def _around(rx: float, ry: float, first: float, sweep: float, tolerance: float) -> FloatArray:
    """Points on an ellipse about the origin, both ends included."""
    step = 2 * np.arccos(np.clip(1 - tolerance / max(rx, ry), -1.0, 1.0)) or 0.1
    count = int(np.clip(np.ceil(abs(sweep) / step), 4, MOST_SAMPLES))
    angle = first + sweep * np.arange(count + 1) / count
    return np.column_stack([rx * np.cos(angle), ry * np.sin(angle)])


def ellipse(cx: float, cy: float, rx: float, ry: float, tolerance: float) -> list[Run]:
    """A whole ellipse as one closed run of four nodes."""
    if rx <= 0 or ry <= 0:
        return []
    return [Run(_around(rx, ry, 0.0, 2 * np.pi, tolerance)[:-1] + np.array([cx, cy]), True, 4)]


def rectangle(
    x: float, y: float, width: float, height: float, rx: float, ry: float, tolerance: float
) -> list[Run]:
    """A rectangle, its corners rounded where rx and ry are above 0."""
    if width <= 0 or height <= 0:
        return []
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    if rx <= 0 or ry <= 0:
        corners = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
        return [Run(np.array(corners, dtype=float), True, 4)]
    parts = [
        _around(rx, ry, quarter * np.pi / 2, np.pi / 2, tolerance) + np.array([cx, cy])
        for quarter, (cx, cy) in enumerate(
            [
                (x + width - rx, y + height - ry),
                (x + rx, y + height - ry),
                (x + rx, y + ry),
                (x + width - rx, y + ry),
            ]
        )
    ]
    return [Run(np.concatenate(parts), True, 8)]


_TRANSFORM = re.compile(r"\s*,?\s*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^)]*)\)")


def parse_transform(text: str | None) -> FloatArray:
    """(3, 3) matrix of a transform list.

    Raises
    ------
    ValueError
        Where it cannot be read.
    """
    out = np.eye(3)
    if not text or text.strip() in ("", "none"):
        return out
    at = 0
    while match := _TRANSFORM.match(text, at):
        at = match.end()
        values = [float(v) for v in re.findall(NUMBER, match[2])]
        out = out @ _matrix(match[1], values)
    if text[at:].strip():
        raise ValueError(f"transform {text[at:].strip()[:24]!r}")
    return out


def _matrix(kind: str, v: list[float]) -> FloatArray:
    if kind == "matrix" and len(v) == 6:
        return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0, 0, 1]])
    if kind == "translate" and len(v) in (1, 2):
        return np.array([[1, 0, v[0]], [0, 1, v[1] if len(v) > 1 else 0.0], [0, 0, 1]])
    if kind == "scale" and len(v) in (1, 2):
        return np.diag([v[0], v[-1], 1.0])
    if kind == "rotate" and len(v) in (1, 3):
        c, s = np.cos(np.radians(v[0])), np.sin(np.radians(v[0]))
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        if len(v) == 1:
            return turn
        return _matrix("translate", v[1:]) @ turn @ _matrix("translate", [-v[1], -v[2]])
    if kind in ("skewX", "skewY") and len(v) == 1:
        slope = np.tan(np.radians(v[0]))
        return np.array(
            [[1, slope, 0], [0, 1, 0], [0, 0, 1]]
            if kind == "skewX"
            else [[1, 0, 0], [slope, 1, 0], [0, 0, 1]]
        )
    raise ValueError(f"transform {kind} with {len(v)} numbers")
