"""Read what was drawn into a view drawing's livery group, as flat coloured areas."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

import numpy as np
import shapely
import shapely.affinity
from lxml import etree

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.drawing import Drawing, Shape, Stroke, keeps_shape, moved, scale
from unwrap.livery.outlines import area_by_rule, centre_lines, stroke_area
from unwrap.livery.paint import Cap, Join
from unwrap.livery.svg_file import HREFS, REFERENCE, mm_per_unit, open_drawing
from unwrap.livery.svg_gradient import FRAMES, Gradient, gradient_of, stops_of
from unwrap.livery.svg_path import NUMBER, Run, parse_transform
from unwrap.livery.svg_shapes import SHAPES, runs_of
from unwrap.livery.svg_style import Rule, colour_of, length_of, read_rules, style_of

DEEPEST = 40
# How many gradients may take over from one another.
MOST_LINKS = 8
CAPS, JOINS = get_args(Cap), get_args(Join)
# How far a sampled curve may be from the drawn one, mm.
TOLERANCE = 0.001
GROUP = "livery"

_CONTAINERS = ("svg", "g", "a", "switch")


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
        self.unit = mm_per_unit(root)
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
        if kind not in (*_CONTAINERS, *SHAPES, "use", "symbol", "image"):
            return
        style = style_of(element, style, self.rules)
        if style.get("display") == "none":
            return
        here = matrix @ self._transform(element)
        inside = inside or (element is gather if gather is not None else element.get("id") == GROUP)
        if not inside and kind in (*SHAPES, "image"):
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
        elif kind in SHAPES:
            if gather is not None:
                runs = self._runs(element, kind, style, here)
                self.bounds += [moved(run.points, here) for run in runs]
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
            size = min(width / box[2], height / box[3])
            shift = [
                0.5 * (width - size * box[2]) - size * box[0],
                0.5 * (height - size * box[3]) - size * box[1],
            ]
            here = here @ np.array([[size, 0, shift[0]], [0, size, shift[1]], [0, 0, 1]])
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
        fill = self._colour(element, style, "fill", matrix, runs)
        if fill is not None and kind != "line":
            rule = style["fill-rule"]
            area = area_by_rule([moved(run.points, matrix) for run in runs if len(run.points) > 2], rule)
            self._add(fill, area, clip, label, nodes)
        stroke = self._colour(element, style, "stroke", matrix, runs)
        width = self._number(element, style["stroke-width"])
        if stroke is not None and width > 0:
            cap, join = style["stroke-linecap"], style["stroke-linejoin"]
            limit = self._number(element, style["stroke-miterlimit"])
            dashes = self._dashes(element, style)
            offset = self._number(element, style["stroke-dashoffset"])
            tolerance = self._own_tolerance(matrix)
            area = stroke_area(runs, width, cap, join, limit, dashes, offset, tolerance)
            a, b, c, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
            in_view = shapely.affinity.affine_transform(area, (a, b, c, d, matrix[0, 2], matrix[1, 2]))
            drawn = None
            plain = clip is None and cap in CAPS and join in JOINS and (join != "miter" or limit == 4.0)
            if plain and keeps_shape(matrix):
                lines = centre_lines(
                    [replace(run, points=moved(run.points, matrix)) for run in runs],
                    [scale(matrix) * dash for dash in dashes],
                    scale(matrix) * offset,
                )
                drawn = Stroke(lines, cast(Cap, cap), cast(Join, join))
            self._add(stroke, in_view, clip, f"{label} stroke", nodes, drawn)

    def _add(
        self,
        colour: str | Gradient,
        area: shapely.Geometry,
        clip: shapely.Geometry | None,
        label: str,
        nodes: int,
        stroke: Stroke | None = None,
    ) -> None:
        if clip is not None:
            area = shapely.intersection(area, clip)
        if area.is_empty or area.area <= 0:
            return
        if isinstance(colour, str):
            self.shapes.append(Shape(colour, area, label, nodes, stroke))
            return
        for number, (shade, part) in enumerate(colour.steps(area), start=1):
            self.shapes.append(Shape(shade, part, f"{label} shade {number}", nodes))

    def _runs(
        self, element: etree._Element, kind: str, style: dict[str, str], matrix: FloatArray
    ) -> list[Run]:
        try:
            return runs_of(element, kind, style, self.rules, self._own_tolerance(matrix))
        except BadInput:
            raise
        except (ValueError, IndexError) as trouble:
            raise BadInput(
                f'artwork "{self.name}": {self._called(element)} cannot be read: {trouble}'
            ) from None

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
            if kind in SHAPES:
                how = style_of(child, style, self.rules)
                rings = [
                    moved(run.points, at) for run in self._runs(child, kind, how, at) if len(run.points) > 2
                ]
                parts.append(area_by_rule(rings, how["clip-rule"]))
        area = shapely.union_all(parts) if parts else shapely.MultiPolygon()
        return area if clip is None else shapely.intersection(clip, area)

    def _box_matrix(self, element: etree._Element) -> FloatArray:
        """Matrix from the unit square to an element's bounding box, in its own units."""
        keep, self.bounds = self.bounds, []
        kind = etree.QName(element).localname
        own = style_of(element, {}, self.rules)
        if kind in SHAPES:
            self.bounds = [run.points for run in self._runs(element, kind, own, np.eye(3))]
        else:
            for child in element:
                self._walk(child, np.eye(3), own, None, True, 1, gather=child)
        points = np.concatenate(self.bounds) if self.bounds else np.zeros((1, 2))
        self.bounds = keep
        low, size = points.min(axis=0), np.ptp(points, axis=0)
        return np.array([[size[0], 0, low[0]], [0, size[1], low[1]], [0, 0, 1]])

    def _colour(
        self,
        element: etree._Element,
        style: dict[str, str],
        what: str,
        matrix: FloatArray,
        runs: Sequence[Run],
    ) -> str | Gradient | None:
        value = style[what]
        if float(style.get(f"{what}-opacity", "1") or 1) == 0 or float(style.get("opacity", "1") or 1) == 0:
            return None
        for name in ("opacity", f"{what}-opacity"):
            if style.get(name, "1") not in ("1", "1.0", ""):
                self._remark(element, "it is see-through and is printed solid")
        target = REFERENCE.match(value)
        try:
            if target:
                return self._gradient(element, what, target[1], value[target.end() :], matrix, runs)
            return colour_of(value, style["color"])
        except ValueError:
            raise BadInput(
                f'artwork "{self.name}": {self._called(element)} has the {what} "{value[:40]}", '
                "which is no colour"
            ) from None

    def _gradient(
        self,
        element: etree._Element,
        what: str,
        target: str,
        otherwise: str,
        matrix: FloatArray,
        runs: Sequence[Run],
    ) -> str | Gradient | None:
        """A gradient, to be painted in steps; its colour where it has one only."""
        chain: list[etree._Element] = []
        found = self.by_id.get(target[1:])
        while found is not None and len(chain) < MOST_LINKS and found not in chain:
            chain.append(found)
            found = self.by_id.get(next((found.get(name) for name in HREFS if found.get(name)), "#")[1:])
        stops = next((group for link in chain if (group := stops_of(link, self.rules))), [])
        if not stops or etree.QName(chain[0]).localname not in FRAMES:
            self._remark(element, f'its {what} "{target}" is no flat colour and is left out')
            return colour_of(otherwise) if otherwise.strip() else None
        if len(stops) == 1:
            return f"#{stops[0][1]:06x}"
        given = {name: value for link in reversed(chain) for name, value in link.attrib.items()}
        if given.get("spreadMethod", "pad") != "pad":
            self._remark(element, f"its {what} repeats its shading, which is printed once")
        if "fx" in given or "fy" in given:
            self._remark(element, f"its {what} is shaded off centre and is printed about its centre")
        box = np.concatenate([run.points for run in runs]) if runs else np.zeros((1, 2))
        return gradient_of(etree.QName(chain[0]).localname, given, stops, matrix, box)

    def _dashes(self, element: etree._Element, style: dict[str, str]) -> list[float]:
        value = style["stroke-dasharray"]
        if value == "none":
            return []
        dashes = [self._number(element, item) for item in re.split(r"[\s,]+", value.strip()) if item]
        return dashes * (1 + len(dashes) % 2) if sum(dashes) > 0 and min(dashes) >= 0 else []

    def _own_tolerance(self, matrix: FloatArray) -> float:
        return TOLERANCE / max(scale(matrix), 1e-9)

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
