"""The ends of lines that run off a piece: carried straight on, so that a small slip shows no gap."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.corner import unit
from unwrap.livery.paint import Curve, Paint
from unwrap.livery.spans import at_parameters, straight_span
from unwrap.sheet.plates import polygons_in

# An end of a curve this near to the outline, mm, is on it.
ON_EDGE = 0.04
# A line that meets the edge at less of an angle than this runs along it, radians.
LEAST_ANGLE = np.radians(30.0)
# The edge may bulge by this much across the end of a line, mm.
BULGE = 0.1
# What a line's end may share of another lip's ground, mm^2.
SHARED = 2e-3

Longer = tuple[tuple[Curve, ...], list[shapely.Geometry]]


class Edge(Protocol):
    """What is known of the ground beyond a piece's outline."""

    outline: shapely.Polygon
    bleed: float

    def others(self, area: shapely.Geometry) -> shapely.Geometry:
        """Ground beyond the outline that is not nearest to where an area reaches it."""


def longer_strokes(
    paint: Paint, edge: shapely.Geometry, touching: shapely.Geometry, bleed: float
) -> Longer | None:
    """The centre lines of a stroke that meets the edge with its ends only, carried over it."""
    if paint.stroke is None or any(curve.closed for curve in paint.curves):
        return None
    ends = [point for curve in paint.curves for point in (curve.spans[0, 0], curve.spans[-1, 3])]
    on_edge = [point for point in ends if _on(edge, point)]
    reach = 1.5 * paint.stroke + ON_EDGE
    if not on_edge or not touching.within(shapely.multipoints(on_edge).buffer(reach)):
        return None
    curves, added = [], []
    for curve in paint.curves:
        spans = curve.spans
        for forwards in (False, True):
            line = spans if forwards else spans[::-1, ::-1]
            end = line[-1, 3]
            if not _on(edge, end):
                continue
            way = unit(end - line[-1, 2])
            # An oblique edge trims one side of the line later than the other.
            slant = float(np.tan(np.arccos(np.clip(abs(way @ _square_to(edge, end)), 0.3, 1.0))))
            end_span = straight_span(end, end + (bleed + 0.5 * paint.stroke * slant) * way)
            line = np.concatenate([line, end_span[None]])
            tail = shapely.LineString([end - ON_EDGE * way, end_span[3]])
            added.append(tail.buffer(0.5 * paint.stroke, cap_style="flat"))
            spans = line if forwards else line[::-1, ::-1]
        curves.append(replace(curve, spans=spans))
    return tuple(curves), added


def longer_lines(paint: Paint, ground: Edge, touching: shapely.Geometry) -> Longer | None:
    """The outlines of lines that meet the edge with their ends only, carried over it."""
    if paint.kind == "fill" or paint.stroke is not None or not all(curve.closed for curve in paint.curves):
        return None
    edge = ground.outline.boundary
    curves, added = [], []
    for curve in paint.curves:
        lies = _lies_on(edge, curve.spans)
        if lies.all():
            return None
        # Begin on a span that is clear of the edge, so that no run is split.
        start = int(np.argmin(lies))
        spans, lies = np.roll(curve.spans, -start, axis=0), np.roll(lies, -start)
        steps = np.flatnonzero(np.diff(np.concatenate([lies, [False]]).astype(int)))
        out, done = [], 0
        for first, last in zip(steps[::2] + 1, steps[1::2] + 1, strict=True):
            end = _line_end(spans, int(first), int(last), ground)
            if end is None:
                return None
            out += [spans[done:first], end]
            done = int(last)
            added.append(shapely.Polygon(np.vstack([end[:, 0], end[-1:, 3]])))
        curves.append(replace(curve, spans=np.concatenate([*out, spans[done:]])))
    reached = shapely.union_all(added) if added else shapely.Polygon()
    if touching.difference(reached.buffer(BULGE + ON_EDGE)).length > ON_EDGE:
        return None
    return tuple(curves), [polygons_in(reached)]


def _line_end(spans: FloatArray, first: int, last: int, ground: Edge) -> FloatArray | None:
    """Three straight spans that carry a line's end over the edge, in place of those that lie on it."""
    a, b = spans[first, 0], spans[last - 1, 3]
    chord = b - a
    size = float(np.linalg.norm(chord))
    run = at_parameters(spans[first:last], np.linspace(0.0, 1.0, 9)).reshape(-1, 2) - a
    if size < 1e-6 or np.abs(run[:, 0] * chord[1] - run[:, 1] * chord[0]).max() > BULGE * size:
        return None
    normal = np.array([chord[1], -chord[0]]) / size
    if ground.outline.contains(shapely.Point(0.5 * (a + b) + (BULGE + ON_EDGE) * normal)):
        normal = -normal
    before, after = spans[first - 1], spans[last % len(spans)]
    ways = unit(before[3] - before[2]), unit(after[0] - after[1])
    slopes = [float(way @ normal) for way in ways]
    if min(slopes) < np.sin(LEAST_ANGLE):
        return None
    far_a, far_b = (
        place + way * (ground.bleed / slope) for place, way, slope in zip((a, b), ways, slopes, strict=True)
    )
    quad = shapely.Polygon([a, far_a, far_b, b])
    if not quad.is_valid or quad.intersection(ground.others(shapely.LineString([a, b]))).area > SHARED:
        return None
    return np.stack([straight_span(a, far_a), straight_span(far_a, far_b), straight_span(far_b, b)])


def _lies_on(edge: shapely.Geometry, spans: FloatArray) -> np.ndarray:
    """(n,) True for spans that keep to the edge all along."""
    points = at_parameters(spans, np.linspace(0.0, 1.0, 7))
    return (shapely.distance(edge, shapely.points(points)) < ON_EDGE).all(axis=1)


def _on(edge: shapely.Geometry, point: FloatArray) -> bool:
    return bool(edge.distance(shapely.Point(point)) <= ON_EDGE)


def _square_to(edge: shapely.Geometry, point: FloatArray) -> FloatArray:
    """Unit normal of the edge near a point, on either hand."""
    ring = min(shapely.get_parts(edge), key=lambda part: part.distance(shapely.Point(point)))
    at = ring.project(shapely.Point(point))
    a, b = (np.array(ring.interpolate(max(at + s, 0.0)).coords[0]) for s in (-ON_EDGE, ON_EDGE))
    return unit(np.array([b[1] - a[1], a[0] - b[0]]))
