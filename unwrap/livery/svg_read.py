"""Read what was drawn into a view drawing's livery group, as flat coloured areas."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity
from lxml import etree

from unwrap.errors import BadInput
from unwrap.flatten.flat_piece import FloatArray
from unwrap.livery.glyphs import letters
from unwrap.livery.outlines import area_by_rule, stroke_area
from unwrap.livery.svg_file import HREFS, REFERENCE, open_drawing
from unwrap.livery.svg_path import NUMBER, Run, ellipse, parse_path, parse_transform, rectangle
from unwrap.livery.svg_style import Rule, colour_of, length_of, read_rules, style_of

DEEPEST = 40
# How far a sampled curve may be from the drawn one, mm.
TOLERANCE = 0.003
GROUP = "livery"

_SHAPES = ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text")
_CONTAINERS = ("svg", "g", "a", "switch")


@dataclass(frozen=True, eq=False)
class Shape:
    """One painted shape of a drawing.

    Parameters
    ----------
    colour : str
        "#rrggbb".
    area : Polygon or MultiPolygon
        In mm, y up, in the frame of the view.
    label : str
        The element's id, or its kind and number.
    nodes : int
        How many nodes it was drawn with.
    """

    colour: str
    area: shapely.Geometry
    label: str
    nodes: int


@dataclass(frozen=True, eq=False)
class Drawing:
    """The shapes in painting order, and sentences about what could not be kept."""

    shapes: tuple[Shape, ...]
    remarks: tuple[str, ...] = field(default=())


def read_drawing(path: Path | str, outline: tuple[float, float, float, float] | None = None) -> Drawing:
    """Read the livery group of a view drawing.

    Parameters
    ----------
    path : path
        An SVG file.
    outline : (4,) tuple of float or None
        Bounds of the view's outline, mm, y up. Where the file still has its `outline`
        group, the drawing is placed by it, so that it does not matter where a program
        has put the page's origin.

    Returns
    -------
    Drawing

    Raises
    ------
    BadInput
        If the file is missing, too large, no SVG, has scripts, entities or references to
        other files, has no livery group, or a shape in it cannot be read.
    """
    path = Path(path)
    return _Reader(path, open_drawing(path)).read(outline)


class _Reader:
    """Walks one drawing."""

    def __init__(self, path: Path, root: etree._Element) -> None:
        self.name = path.name
        self.root = root
        self.by_id = {e.get("id"): e for e in root.iter() if e.get("id")}
        kinds = [(etree.QName(e).localname, e.text or "") for e in root.iter()]
        self.rules: list[Rule] = read_rules([text for kind, text in kinds if kind == "style"])
        self.remarks: list[str] = []
        self.shapes: list[Shape] = []
        self.unit = self._mm_per_unit()
        self.count = 0
        self.bounds: list[FloatArray] = []

    def read(self, outline: tuple[float, float, float, float] | None) -> Drawing:
        group = self.by_id.get(GROUP)
        if group is None:
            raise BadInput(
                f'artwork "{self.name}": the drawing has no group called {GROUP}; '
                "draw in that group of a view drawing"
            )
        placing = self._placing(outline)
        self._walk(self.root, placing, {}, None, False, 0)
        if not self.shapes:
            self.remarks.append(f'artwork "{self.name}": nothing is drawn in the group {GROUP}.')
        return Drawing(tuple(self.shapes), tuple(dict.fromkeys(self.remarks)))

    def _mm_per_unit(self) -> float:
        box = re.findall(NUMBER, self.root.get("viewBox", ""))
        width = self.root.get("width", "")
        try:
            size = length_of(width) if "%" not in width else 0.0
        except ValueError:
            size = 0.0
        if len(box) == 4 and float(box[2]) > 0 and size > 0:
            return size * 25.4 / 96 / float(box[2])
        return 25.4 / 96

    def _placing(self, outline: tuple[float, float, float, float] | None) -> FloatArray:
        """Matrix from the file's user units to mm in the view, y up."""
        plain = np.diag([self.unit, -self.unit, 1.0])
        group = self.by_id.get("outline")
        if outline is None or group is None:
            return plain
        self.bounds = []
        self._walk(self.root, plain, {}, None, False, 0, gather=group)
        if not self.bounds:
            return plain
        points = np.concatenate(self.bounds)
        low, high = points.min(axis=0), points.max(axis=0)
        wanted = np.array(outline).reshape(2, 2)
        size, right = high - low, wanted[1] - wanted[0]
        if np.abs(size / np.maximum(right, 1e-9) - 1.0).max() > 0.01:
            raise BadInput(
                f'artwork "{self.name}": its outline measures {size[0]:.1f} x {size[1]:.1f} mm but this view '
                f"of the body {right[0]:.1f} x {right[1]:.1f} mm; it was scaled, or drawn for another view"
            )
        shift = wanted.mean(axis=0) - 0.5 * (low + high)
        return np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]]) @ plain

    def _walk(
        self,
        element: etree._Element,
        matrix: FloatArray,
        style: dict[str, str],
        clip: shapely.Geometry | None,
        inside: bool,
        depth: int,
        gather: etree._Element | None = None,
    ) -> None:
        kind = etree.QName(element).localname
        if depth > DEEPEST:
            raise BadInput(
                f'artwork "{self.name}": groups or uses are nested too deeply (or in a ring); simplify it'
            )
        if kind not in (*_CONTAINERS, *_SHAPES, "use", "symbol", "image"):
            return
        style = style_of(element, style, self.rules)
        if style.get("display") == "none":
            return
        here = matrix @ self._transform(element)
        inside = inside or (element is gather if gather is not None else element.get("id") == GROUP)
        if not inside and kind in (*_SHAPES, "image"):
            return
        if inside and gather is None:
            clip = self._clipped(clip, element, style, here)
            for name in ("mask", "filter"):
                if style.get(name, "none") != "none":
                    self._remark(element, f"its {name} is left out")
        if kind == "use":
            self._use(element, here, style, clip, inside, depth, gather)
        elif kind == "image":
            if gather is None:
                self._remark(element, "pictures are not printed; draw it as outlines")
        elif kind in _SHAPES:
            if gather is not None:
                runs = self._runs(element, kind, style, here)
                self.bounds += [_moved(run.points, here) for run in runs]
            elif style["visibility"] == "visible":
                self._paint(element, kind, style, here, clip)
        else:
            for child in element:
                self._walk(child, here, style, clip, inside, depth + 1, gather)

    def _use(
        self,
        element: etree._Element,
        matrix: FloatArray,
        style: dict[str, str],
        clip: shapely.Geometry | None,
        inside: bool,
        depth: int,
        gather: etree._Element | None,
    ) -> None:
        target = next((element.get(name) for name in HREFS if element.get(name)), "")
        found = self.by_id.get((target or "")[1:])
        if found is None:
            self._remark(element, f'it uses "{target}", which is not there')
            return
        x, y = (self._length(element, name) for name in ("x", "y"))
        here = matrix @ np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])
        box = [float(v) for v in re.findall(NUMBER, found.get("viewBox", ""))]
        if len(box) == 4 and box[2] > 0 and box[3] > 0:
            width = self._length(element, "width", self._length(found, "width", box[2]))
            height = self._length(element, "height", self._length(found, "height", box[3]))
            scale = min(width / box[2], height / box[3])
            shift = [
                0.5 * (width - scale * box[2]) - scale * box[0],
                0.5 * (height - scale * box[3]) - scale * box[1],
            ]
            here = here @ np.array([[scale, 0, shift[0]], [0, scale, shift[1]], [0, 0, 1]])
        self._walk(found, here, style, clip, inside, depth + 1, gather)

    def _paint(
        self,
        element: etree._Element,
        kind: str,
        style: dict[str, str],
        matrix: FloatArray,
        clip: shapely.Geometry | None,
    ) -> None:
        self.count += 1
        runs = self._runs(element, kind, style, matrix)
        nodes = sum(run.nodes for run in runs)
        label = element.get("id") or f"{kind} {self.count}"
        fill = self._colour(element, style, "fill")
        if fill is not None and kind != "line":
            rule = style["fill-rule"]
            area = area_by_rule([_moved(run.points, matrix) for run in runs if len(run.points) > 2], rule)
            self._add(fill, area, clip, label, nodes)
        stroke = self._colour(element, style, "stroke")
        width = self._number(element, style["stroke-width"])
        if stroke is not None and width > 0:
            area = stroke_area(
                runs,
                width,
                style["stroke-linecap"],
                style["stroke-linejoin"],
                self._number(element, style["stroke-miterlimit"]),
                self._dashes(element, style),
                self._number(element, style["stroke-dashoffset"]),
                self._own_tolerance(matrix),
            )
            a, b, c, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
            moved = shapely.affinity.affine_transform(area, (a, b, c, d, matrix[0, 2], matrix[1, 2]))
            self._add(stroke, moved, clip, f"{label} stroke", nodes)

    def _add(
        self, colour: str, area: shapely.Geometry, clip: shapely.Geometry | None, label: str, nodes: int
    ) -> None:
        if clip is not None:
            area = shapely.intersection(area, clip)
        if not area.is_empty and area.area > 0:
            self.shapes.append(Shape(colour, area, label, nodes))

    def _runs(
        self, element: etree._Element, kind: str, style: dict[str, str], matrix: FloatArray
    ) -> list[Run]:
        tolerance = self._own_tolerance(matrix)
        try:
            if kind == "path":
                return parse_path(element.get("d", ""), tolerance)
            if kind == "text":
                return self._text(element, style)
            if kind in ("polyline", "polygon", "line"):
                return self._polyline(element, kind)
            if kind == "rect":
                rx, ry = element.get("rx"), element.get("ry")
                x, y, width, height = (self._length(element, name) for name in ("x", "y", "width", "height"))
                return rectangle(x, y, width, height, length_of(rx or ry), length_of(ry or rx), tolerance)
            cx, cy = self._length(element, "cx"), self._length(element, "cy")
            if kind == "circle":
                r = self._length(element, "r")
                return ellipse(cx, cy, r, r, tolerance)
            return ellipse(cx, cy, self._length(element, "rx"), self._length(element, "ry"), tolerance)
        except (ValueError, IndexError) as trouble:
            if isinstance(trouble, BadInput):
                raise
            raise BadInput(
                f'artwork "{self.name}": {self._called(element)} cannot be read: {trouble}'
            ) from None

    def _polyline(self, element: etree._Element, kind: str) -> list[Run]:
        if kind == "line":
            x1, y1, x2, y2 = (self._length(element, name) for name in ("x1", "y1", "x2", "y2"))
            return [Run(np.array([[x1, y1], [x2, y2]]), False, 2)]
        values = np.array([float(v) for v in re.findall(NUMBER, element.get("points", ""))])
        points = values[: len(values) // 2 * 2].reshape(-1, 2)
        return [Run(points, kind == "polygon", len(points))] if len(points) > 1 else []

    def _text(self, element: etree._Element, style: dict[str, str]) -> list[Run]:
        """Plain text as outlines in its font, one line per element or tspan."""
        runs: list[Run] = []
        start = [self._length(element, "x"), self._length(element, "y")]
        lines = [(element, element.text or "", style)]
        for child in element:
            lines.append((child, child.text or "", style_of(child, style, self.rules)))
        for part, text, how in lines:
            text = " ".join(text.split())
            if not text:
                continue
            x, y = self._length(part, "x", start[0]), self._length(part, "y", start[1])
            size = self._number(part, how["font-size"])
            family = how["font-family"].split(",")[0].strip(" '\"")
            family = {
                "sans-serif": "DejaVu Sans",
                "serif": "DejaVu Serif",
                "monospace": "DejaVu Sans Mono",
            }.get(family, family)
            weight = (
                "bold" if how["font-weight"] in ("bold", "bolder", "600", "700", "800", "900") else "normal"
            )
            areas = letters(text, family, weight, em=size)
            whole = shapely.union_all(areas)
            shift = {"middle": 0.5, "end": 1.0}.get(how["text-anchor"], 0.0) * whole.bounds[2]
            for polygon in shapely.get_parts(whole):
                for ring in (polygon.exterior, *polygon.interiors):
                    points = np.asarray(ring.coords)[:-1] * [1.0, -1.0] + [x - shift, y]
                    runs.append(Run(points, True, max(len(points) // 6, 4)))
        return runs

    def _clipped(
        self,
        clip: shapely.Geometry | None,
        element: etree._Element,
        style: dict[str, str],
        matrix: FloatArray,
    ) -> shapely.Geometry | None:
        target = REFERENCE.match(style.get("clip-path", "none"))
        if not target:
            return clip
        found = self.by_id.get(target[1][1:])
        if found is None or etree.QName(found).localname != "clipPath":
            self._remark(element, f'its clip path "{target[1]}" is not there')
            return clip
        here = matrix @ self._transform(found)
        if found.get("clipPathUnits") == "objectBoundingBox":
            here = here @ self._box_matrix(element)
        parts = []
        for child in found:
            kind = etree.QName(child).localname
            at = here @ self._transform(child)
            if kind == "use":
                inner = next((child.get(name) for name in HREFS if child.get(name)), "#")
                shift = np.array(
                    [[1, 0, self._length(child, "x")], [0, 1, self._length(child, "y")], [0, 0, 1]]
                )
                child = self.by_id.get(inner[1:])
                if child is None:
                    continue
                kind, at = etree.QName(child).localname, at @ shift @ self._transform(child)
            if kind in _SHAPES:
                how = style_of(child, style, self.rules)
                rings = [
                    _moved(run.points, at) for run in self._runs(child, kind, how, at) if len(run.points) > 2
                ]
                parts.append(area_by_rule(rings, how["clip-rule"]))
        area = shapely.union_all(parts) if parts else shapely.MultiPolygon()
        return area if clip is None else shapely.intersection(clip, area)

    def _box_matrix(self, element: etree._Element) -> FloatArray:
        """Matrix from the unit square to an element's bounding box, in its own units."""
        keep, self.bounds = self.bounds, []
        kind = etree.QName(element).localname
        own = style_of(element, {}, self.rules)
        if kind in _SHAPES:
            self.bounds = [run.points for run in self._runs(element, kind, own, np.eye(3))]
        else:
            for child in element:
                self._walk(child, np.eye(3), own, None, True, 1, gather=child)
        points = np.concatenate(self.bounds) if self.bounds else np.zeros((1, 2))
        self.bounds = keep
        low, size = points.min(axis=0), np.ptp(points, axis=0)
        return np.array([[size[0], 0, low[0]], [0, size[1], low[1]], [0, 0, 1]])

    def _colour(self, element: etree._Element, style: dict[str, str], what: str) -> str | None:
        value = style[what]
        if float(style.get(f"{what}-opacity", "1") or 1) == 0 or float(style.get("opacity", "1") or 1) == 0:
            return None
        for name in ("opacity", f"{what}-opacity"):
            if style.get(name, "1") not in ("1", "1.0", ""):
                self._remark(element, "it is see-through and is printed solid")
        target = REFERENCE.match(value)
        try:
            if target:
                return self._gradient(element, what, target[1], value[target.end() :])
            return colour_of(value, style["color"])
        except ValueError:
            raise BadInput(
                f'artwork "{self.name}": {self._called(element)} has the {what} "{value[:40]}", '
                "which is no colour"
            ) from None

    def _gradient(self, element: etree._Element, what: str, target: str, otherwise: str) -> str | None:
        """A gradient's mean colour: flat colour is what the sheet can hold."""
        found = self.by_id.get(target[1:])
        for _ in range(8):
            if found is None or any(etree.QName(child).localname == "stop" for child in found):
                break
            inner = next((found.get(name) for name in HREFS if found.get(name)), "#")
            found = self.by_id.get(inner[1:])
        stops = [] if found is None else [c for c in found if etree.QName(c).localname == "stop"]
        colours = [colour_of(style_of(stop, {}, self.rules).get("stop-color", "#000000")) for stop in stops]
        shades = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in colours if c], dtype=float)
        if len(shades) == 0:
            self._remark(element, f'its {what} "{target}" is no flat colour and is left out')
            return colour_of(otherwise) if otherwise.strip() else None
        red, green, blue = np.round(shades.mean(axis=0)).astype(int)
        self._remark(element, f"its {what} shades from colour to colour and is printed in their mean")
        return f"#{red:02x}{green:02x}{blue:02x}"

    def _dashes(self, element: etree._Element, style: dict[str, str]) -> list[float]:
        value = style["stroke-dasharray"]
        if value == "none":
            return []
        dashes = [self._number(element, item) for item in re.split(r"[\s,]+", value.strip()) if item]
        return dashes * (1 + len(dashes) % 2) if sum(dashes) > 0 and min(dashes) >= 0 else []

    def _own_tolerance(self, matrix: FloatArray) -> float:
        scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
        return TOLERANCE / max(scale, 1e-9)

    def _transform(self, element: etree._Element) -> FloatArray:
        try:
            return parse_transform(element.get("transform"))
        except ValueError as trouble:
            raise BadInput(
                f'artwork "{self.name}": {self._called(element)} cannot be read: {trouble}'
            ) from None

    def _length(self, element: etree._Element, name: str, default: float = 0.0) -> float:
        try:
            return length_of(element.get(name), default)
        except ValueError as trouble:
            raise BadInput(f'artwork "{self.name}": {self._called(element)}: {name} {trouble}') from None

    def _number(self, element: etree._Element, value: str) -> float:
        try:
            return length_of(value)
        except ValueError as trouble:
            raise BadInput(f'artwork "{self.name}": {self._called(element)}: {trouble}') from None

    def _called(self, element: etree._Element) -> str:
        kind = etree.QName(element).localname
        return f'<{kind} id="{element.get("id")}">' if element.get("id") else f"<{kind}>"

    def _remark(self, element: etree._Element, what: str) -> None:
        self.remarks.append(f'artwork "{self.name}": {self._called(element)}: {what}.')


def _moved(points: FloatArray, matrix: FloatArray) -> FloatArray:
    return points @ matrix[:2, :2].T + matrix[:2, 2]
