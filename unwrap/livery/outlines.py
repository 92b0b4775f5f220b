"""Outlines to areas: fill rules, and strokes with width, caps, joins and dashes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.planar import polygons_of

_CAPS = {"butt": "flat", "round": "round", "square": "square"}
_JOINS = {"miter": "mitre", "miter-clip": "mitre", "arcs": "mitre", "round": "round", "bevel": "bevel"}


class SampledRun(Protocol):
    """A sampled line, open or closed."""

    @property
    def points(self) -> FloatArray:
        """(n, 2); a closed run does not repeat its first point."""

    @property
    def closed(self) -> bool:
        """Whether the last point joins the first."""


def area_by_rule(rings: Sequence[FloatArray], rule: str = "nonzero") -> shapely.Geometry:
    """Area that rings enclose by a fill rule.

    Parameters
    ----------
    rings : sequence of (n, 2) arrays
        Closed, without the first point repeated; they may cross themselves and each other.
    rule : str
        "nonzero" or "evenodd".

    Returns
    -------
    Polygon or MultiPolygon
    """
    rings = [ring for ring in rings if len(ring) > 2 and np.ptp(ring, axis=0).max() > 0]
    if not rings:
        return shapely.MultiPolygon()
    if len(rings) == 1:
        polygon = shapely.Polygon(rings[0])
        if polygon.is_valid:
            return polygons_of(polygon)
    lines = shapely.union_all([shapely.LineString(np.vstack([ring, ring[:1]])) for ring in rings])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    if len(faces) == 0:
        return shapely.MultiPolygon()
    turns = winding(rings, shapely.get_coordinates(shapely.point_on_surface(faces)))
    inside = turns % 2 == 1 if rule == "evenodd" else turns != 0
    return polygons_of(shapely.union_all(faces[inside]))


def winding(rings: Sequence[FloatArray], points: FloatArray) -> np.ndarray:
    """(n,) how often rings go round each point, anticlockwise (Sunday, 2001)."""
    out = np.zeros(len(points), dtype=np.int64)
    for ring in rings:
        a, b = ring, np.roll(ring, -1, axis=0)
        for i, (x, y) in enumerate(points):
            left = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
            up = (a[:, 1] <= y) & (b[:, 1] > y) & (left > 0)
            down = (a[:, 1] > y) & (b[:, 1] <= y) & (left < 0)
            out[i] += int(up.sum()) - int(down.sum())
    return out


def stroke_area(
    runs: Sequence[SampledRun],
    width: float,
    cap: str = "butt",
    join: str = "miter",
    mitre_limit: float = 4.0,
    dashes: Sequence[float] = (),
    offset: float = 0.0,
    tolerance: float = 0.003,
) -> shapely.Geometry:
    """Area of a stroke along runs.

    Parameters
    ----------
    runs : sequence of runs
    width : float
    cap, join : str
        As in SVG.
    mitre_limit : float
        Length of a mitre over the width beyond which it is cut straight.
    dashes : sequence of float
        Lengths of dashes and gaps in turn; empty for a whole line.
    offset : float
        Where in the pattern the line begins.
    tolerance : float
        How far round ends and joins may be from round.
    """
    parts = []
    half = 0.5 * width
    quarter = (
        max(int(np.ceil(np.pi / 4 / np.arccos(max(1 - tolerance / half, 0.0)))), 2) if half > tolerance else 2
    )
    for run in runs:
        points = np.vstack([run.points, run.points[:1]]) if run.closed else run.points
        if dashes:
            lines = [(piece, False) for piece in cut_dashes(points, dashes, offset)]
        else:
            lines = [(points, run.closed)]
        for line, closed in lines:
            parts.append(_one_stroke(line, closed, half, cap, join, mitre_limit, quarter))
    return polygons_of(shapely.union_all(parts)) if parts else shapely.MultiPolygon()


def centre_lines(runs: Sequence[SampledRun], dashes: Sequence[float], offset: float) -> shapely.Geometry:
    """What a stroke runs along: rings where a run closes, lines elsewhere and for each dash."""
    lines: list[shapely.Geometry] = []
    for run in runs:
        points = np.vstack([run.points, run.points[:1]]) if run.closed else run.points
        for piece in cut_dashes(points, dashes, offset) if dashes else [points]:
            lines.append(shapely.LineString(piece))
    return shapely.multilinestrings(lines)


def _one_stroke(
    points: FloatArray, closed: bool, half: float, cap: str, join: str, mitre_limit: float, quarter: int
) -> shapely.Geometry:
    line = shapely.LinearRing(points) if closed and len(points) > 3 else shapely.LineString(points)
    style = _JOINS.get(join, "mitre")
    with np.errstate(divide="ignore", invalid="ignore"):
        if style == "mitre":
            # A mitre beyond the limit is cut to a bevel as a whole: lay both, keep the mitres inside it.
            area = shapely.buffer(
                line, half, quad_segs=quarter, cap_style=_CAPS.get(cap, "flat"), join_style="bevel"
            )
            return shapely.union(area, _mitres(points, closed, half, mitre_limit))
        return shapely.buffer(
            line, half, quad_segs=quarter, cap_style=_CAPS.get(cap, "flat"), join_style=style
        )


def _mitres(points: FloatArray, closed: bool, half: float, limit: float) -> shapely.Geometry:
    """The tips that mitred joins add to bevelled ones."""
    way = np.diff(points, axis=0)
    size = np.linalg.norm(way, axis=1)
    keep = size > 0
    at, way = points[:-1][keep], way[keep] / size[keep, None]
    if len(way) < 2:
        return shapely.MultiPolygon()
    before, after, corner = way[:-1], way[1:], at[1:]
    if closed:
        before, after, corner = np.roll(way, 1, axis=0), way, at
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, (before * after).sum(axis=1))
    length = 1.0 / np.maximum(np.abs(np.cos(0.5 * turn)), 1e-9)
    pick = (np.abs(turn) > 1e-6) & (length <= limit)
    outer = -np.sign(turn)[:, None]
    one = corner + half * outer * np.column_stack([-before[:, 1], before[:, 0]])
    two = corner + half * outer * np.column_stack([-after[:, 1], after[:, 0]])
    middle = one + two - 2 * corner
    middle /= np.maximum(np.linalg.norm(middle, axis=1, keepdims=True), 1e-300)
    tip = corner + half * length[:, None] * middle
    kites = np.stack([corner, one, tip, two], axis=1)[pick]
    return shapely.union_all(shapely.polygons(kites)) if len(kites) else shapely.MultiPolygon()


def cut_dashes(points: FloatArray, dashes: Sequence[float], offset: float = 0.0) -> list[FloatArray]:
    """The pieces of a polyline that a dash pattern leaves."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    total, period = float(along[-1]), float(sum(dashes))
    ends = np.cumsum(dashes)
    at = offset % period
    item = int(np.searchsorted(ends, at, side="right"))
    left = float(ends[item]) - at
    here, out = 0.0, []
    while here < total:
        there = min(here + left, total)
        if item % 2 == 0 and there > here:
            inner = points[(along > here) & (along < there)]
            out.append(np.vstack([_at(points, along, here), inner, _at(points, along, there)]))
        here = there
        item = (item + 1) % len(dashes)
        left = float(dashes[item])
    return out


def _at(points: FloatArray, along: FloatArray, station: float) -> FloatArray:
    return np.array([np.interp(station, along, points[:, 0]), np.interp(station, along, points[:, 1])])
