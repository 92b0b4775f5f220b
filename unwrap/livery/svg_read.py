"""Read what was drawn into a view drawing's livery group, as painted areas."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

import numpy as np
import shapely
import shapely.affinity
from lxml import etree

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.drawing import Drawing, Shade, Shape, Stroke, keeps_shape, moved, scale
from unwrap.livery.outlines import area_by_rule, centre_lines, stroke_area
from unwrap.livery.paint import Cap, Join
from unwrap.livery.svg_colours import fill_of
from unwrap.livery.svg_file import REFERENCE, mm_per_unit, open_drawing
from unwrap.livery.svg_image import read_image
from unwrap.livery.svg_notes import Notes, target_of
from unwrap.livery.svg_path import NUMBER, Run
from unwrap.livery.svg_shapes import SHAPES, runs_of
from unwrap.livery.svg_style import Rule, read_rules, style_of

DEEPEST = 40
CAPS, JOINS = get_args(Cap), get_args(Join)
# How far a sampled curve may be from the drawn one, mm.
TOLERANCE = 0.001
GROUP = "livery"
# What a shape has for a colour until its shade is seen on a piece.
UNKNOWN = "#808080"

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
        self.notes = Notes(path.name)
        self.name = path.name
        self.root = root
        self.by_id = {e.get("id"): e for e in root.iter() if e.get("id")}
        kinds = [(etree.QName(e).localname, e.text or "") for e in root.iter()]
        self.rules: list[Rule] = read_rules([text for kind, text in kinds if kind == "style"])
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
            self.notes.said.append(f'artwork "{self.name}": nothing is drawn in the group {GROUP}.')
        return Drawing(tuple(self.shapes), tuple(dict.fromkeys(self.notes.said)))

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
        here = matrix @ self.notes.transform(element)
        inside = inside or (element is gather if gather is not None else element.get("id") == GROUP)
        if not inside and kind in (*SHAPES, "image"):
            return
        if inside and gather is None:
            clip = self._clipped(clip, element, style, here)
            for name in ("mask", "filter"):
                if style.get(name, "none") != "none":
                    self.notes.remark(element, f"its {name} is left out")
        if kind == "use":
            self._use(element, here, style, clip, inside, depth, gather)
        elif kind == "image":
            if gather is None and style["visibility"] == "visible":
                self._photograph(element, here, clip)
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
        target = target_of(element)
        found = self.by_id.get(target)
        if found is None:
            self.notes.remark(element, f'it uses "#{target}", which is not there')
            return
        x, y = (self.notes.length(element, name) for name in ("x", "y"))
        here = matrix @ np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])
        box = [float(v) for v in re.findall(NUMBER, found.get("viewBox", ""))]
        if len(box) == 4 and box[2] > 0 and box[3] > 0:
            width = self.notes.length(element, "width", self.notes.length(found, "width", box[2]))
            height = self.notes.length(element, "height", self.notes.length(found, "height", box[3]))
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
        given = (self.notes, self.by_id, self.rules, element, style)
        fill = fill_of(*given, "fill", matrix, runs)
        if fill is not None and kind != "line":
            rule = style["fill-rule"]
            area = area_by_rule([moved(run.points, matrix) for run in runs if len(run.points) > 2], rule)
            self._add(fill, area, clip, label, nodes)
        stroke = fill_of(*given, "stroke", matrix, runs)
        width = self.notes.number(element, style["stroke-width"])
        if stroke is not None and width > 0:
            cap, join = style["stroke-linecap"], style["stroke-linejoin"]
            limit = self.notes.number(element, style["stroke-miterlimit"])
            dashes = self._dashes(element, style)
            offset = self.notes.number(element, style["stroke-dashoffset"])
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
        colour: str | Shade,
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
        else:
            self.shapes.append(Shape(UNKNOWN, area, label, nodes, shade=colour))

    def _photograph(self, element: etree._Element, matrix: FloatArray, clip: shapely.Geometry | None) -> None:
        found = read_image(self.notes, element, matrix)
        if found is not None:
            self.count += 1
            self._add(*found, clip, element.get("id") or f"picture {self.count}", 4)

    def _runs(
        self, element: etree._Element, kind: str, style: dict[str, str], matrix: FloatArray
    ) -> list[Run]:
        try:
            return runs_of(element, kind, style, self.rules, self._own_tolerance(matrix))
        except BadInput as trouble:
            raise self.notes.refusal(element, f"cannot be set: {trouble}") from None
        except (ValueError, IndexError) as trouble:
            raise self.notes.refusal(element, f"cannot be read: {trouble}") from None

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
            self.notes.remark(element, f'its clip path "{target[1]}" is not there')
            return clip
        here = matrix @ self.notes.transform(found)
        if found.get("clipPathUnits") == "objectBoundingBox":
            here = here @ self._box_matrix(element)
        parts = []
        for child in found:
            kind = etree.QName(child).localname
            at = here @ self.notes.transform(child)
            if kind == "use":
                shift = np.array(
                    [[1, 0, self.notes.length(child, "x")], [0, 1, self.notes.length(child, "y")], [0, 0, 1]]
                )
                child = self.by_id.get(target_of(child))
                if child is None:
                    continue
                kind, at = etree.QName(child).localname, at @ shift @ self.notes.transform(child)
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

    def _dashes(self, element: etree._Element, style: dict[str, str]) -> list[float]:
        value = style["stroke-dasharray"]
        if value == "none":
            return []
        dashes = [self.notes.number(element, item) for item in re.split(r"[\s,]+", value.strip()) if item]
        return dashes * (1 + len(dashes) % 2) if sum(dashes) > 0 and min(dashes) >= 0 else []

    def _own_tolerance(self, matrix: FloatArray) -> float:
        return TOLERANCE / max(scale(matrix), 1e-9)
