"""What a view drawing falls on: the faces of a region that are seen from that side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.body.views import View
from unwrap.livery.carry import Carry
from unwrap.livery.planar import grow, polygons_of

# A face turned further than this from the view takes nothing: a drawn millimetre would
# become four on the body.
STEEPEST = np.radians(75.0)
# What stands less than this (mm) in front of the region is a detail that the film goes over.
STANDS_OFF = 1.0
# What hides less than this (mm) across, such as a handrail, hides nothing.
THINNEST = 0.8


@dataclass(frozen=True, eq=False)
class Target:
    """One region as a view sees it.

    Parameters
    ----------
    carry : Carry
    chart : (patch faces, 3, 2) float64
        Each face's corners in the view, mm; NaN for faces that are turned away.
    seen : (patch faces,) objects
        The part of each face that is not hidden; None for all of it.
    ground : Polygon or MultiPolygon
        All that takes paint, in the view.
    steep : Polygon or MultiPolygon
        Faces that face the view but are turned from it by more than 75 degrees.
    """

    carry: Carry
    chart: FloatArray
    seen: np.ndarray
    ground: shapely.Geometry
    steep: shapely.Geometry


def aim(body: Body, carry: Carry, view: View) -> Target:
    """Which faces of a region a drawing falls on, nearest outside surface first.

    Parameters
    ----------
    body : Body
        The whole body: anything of it may stand in the way.
    carry : Carry
    view : View

    Returns
    -------
    Target
    """
    corners = carry.patch.vertices[carry.patch.faces]
    facing = _towards(corners, view)
    chart = np.stack([corners @ view.across, corners @ view.upward], axis=2)
    steep = (facing > 1e-6) & (facing <= np.cos(STEEPEST))
    takes = facing > np.cos(STEEPEST)
    steep_ground = _union(chart[steep])
    chart[~takes] = np.nan
    hidden = _hidden(body, carry, view, np.flatnonzero(takes), chart)
    seen = np.full(len(corners), None, dtype=object)
    for face, cover in hidden.items():
        seen[face] = polygons_of(shapely.difference(shapely.Polygon(chart[face]), cover))
    clear = takes & shapely.is_missing(seen)
    parts = [_union(chart[clear]), *seen[takes & ~clear]]
    return Target(carry, chart, seen, polygons_of(grow(shapely.union_all(parts), 0.0)), steep_ground)


def _towards(corners: FloatArray, view: View) -> FloatArray:
    """Cosine of the angle between each face and the one who looks."""
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    return -(normal @ view.ahead) / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)


def _union(triangles: FloatArray) -> shapely.Geometry:
    if len(triangles) == 0:
        return shapely.MultiPolygon()
    return polygons_of(shapely.union_all(grow(shapely.polygons(triangles), 1e-5)))


def _hidden(
    body: Body, carry: Carry, view: View, faces: np.ndarray, chart: FloatArray
) -> dict[int, shapely.Geometry]:
    """Per face, the part of it in the view that something stands in front of."""
    front = np.flatnonzero(_towards(body.corners, view) > 1e-6)
    depth = body.corners[front] @ view.ahead
    mine = carry.patch.vertices[carry.patch.faces[faces]] @ view.ahead
    near = depth.min(axis=1) < mine.max(initial=-np.inf) - STANDS_OFF
    front, depth = front[near], depth[near]
    if len(front) == 0 or len(faces) == 0:
        return {}
    flat = np.stack([body.corners[front] @ view.across, body.corners[front] @ view.upward], axis=2)
    over, under = shapely.polygons(flat), shapely.polygons(chart[faces])
    low, high = shapely.STRtree(over).query(under, predicate="intersects")
    ahead = depth[high].min(axis=1) < mine[low].max(axis=1) - STANDS_OFF
    low, high = low[ahead], high[ahead]
    common = shapely.intersection(over[high], under[low])
    real = shapely.area(common) > 1e-9
    low, high, common = low[real], high[real], common[real]
    middle = shapely.get_coordinates(shapely.centroid(common))
    gap = _depth_at(chart[faces[low]], mine[low], middle) - _depth_at(flat[high], depth[high], middle)
    low, common = low[gap > STANDS_OFF], common[gap > STANDS_OFF]
    if len(low) == 0:
        return {}
    whole = grow(shapely.union_all(grow(common, 1e-5)), -1e-5)
    whole = grow(grow(whole, -0.5 * THINNEST), 0.5 * THINNEST)
    out = {}
    for face in np.unique(low):
        cover = polygons_of(shapely.intersection(shapely.union_all(common[low == face]), whole))
        if not cover.is_empty:
            out[int(faces[face])] = cover
    return out


def _depth_at(flat: FloatArray, depth: FloatArray, points: FloatArray) -> FloatArray:
    """Depth of each triangle's plane at a point of the view."""
    a, b, c = np.moveaxis(flat, 1, 0)
    ab, ac, ap = b - a, c - a, points - a
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    area = np.where(np.abs(area) > 1e-12, area, 1e-12)
    v = (ap[:, 0] * ac[:, 1] - ap[:, 1] * ac[:, 0]) / area
    w = (ab[:, 0] * ap[:, 1] - ab[:, 1] * ap[:, 0]) / area
    return depth[:, 0] + v * (depth[:, 1] - depth[:, 0]) + w * (depth[:, 2] - depth[:, 0])
