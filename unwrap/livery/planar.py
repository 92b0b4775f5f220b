"""Areas in the plane: rings to polygons, unions without hairlines, affine transfer by triangles."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray

# Neighbouring parts are grown by this much before they are joined and the whole is
# shrunk again, so that rounding leaves no hairline between them (mm).
HAIR = 2e-5
# Bits of one triangle are joined on a grid this fine (mm): sound where they only just touch.
GRID = 1e-8
# Ends of lines that are carried by triangles meet on a grid this fine (mm).
LINE_GRID = 1e-6
# Parts smaller than this are rounding, not paint (mm^2).
CRUMB = 1e-6


def barycentric(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Barycentric weights (n, 3) of points (n, 2) in triangles (n, 3, 2)."""
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, ac, ap = b - a, c - a, points - a
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    area = np.where(np.abs(area) > 1e-300, area, 1e-300)
    v = (ap[:, 0] * ac[:, 1] - ap[:, 1] * ac[:, 0]) / area
    w = (ab[:, 0] * ap[:, 1] - ab[:, 1] * ap[:, 0]) / area
    return np.stack([1.0 - v - w, v, w], axis=1)


def polygons_of(geometry: shapely.Geometry) -> shapely.Geometry:
    """Only the polygons of a geometry, as one Polygon or MultiPolygon; points and lines dropped."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > CRUMB)]
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def sound(area: shapely.Geometry) -> shapely.Geometry:
    """The area with outlines that neither cross nor fold; itself where they do not."""
    return area if shapely.is_valid(area) else polygons_of(shapely.make_valid(area))


def polygon_of_rings(rings: Sequence[FloatArray]) -> shapely.Polygon:
    """Polygon from rings with the ground on their left: one anticlockwise, holes clockwise."""
    areas = [shapely.Polygon(ring).area if len(ring) > 2 else 0.0 for ring in rings]
    outer = int(np.argmax(areas))
    holes = [ring for i, ring in enumerate(rings) if i != outer and areas[i] > 0.0]
    polygon = shapely.Polygon(rings[outer], holes)
    if not polygon.is_valid:
        polygon = max(shapely.get_parts(sound(polygon)), key=lambda part: part.area)
    return polygon


def join(parts: Sequence[shapely.Geometry] | np.ndarray) -> shapely.Geometry:
    """Union of parts that touch along edges, without hairlines between them."""
    parts = np.asarray(parts, dtype=object)
    parts = parts[~shapely.is_empty(parts)] if len(parts) else parts
    if len(parts) == 0:
        return shapely.MultiPolygon()
    return sound(polygons_of(grow(shapely.union_all(grow(parts, HAIR)), -HAIR)))


def grow(area: Any, distance: float) -> Any:
    """Areas grown (or shrunk, below 0) with mitred corners."""
    # GEOS divides by the turn of its mitres; a straight one raises the processor's flag, no harm done.
    with np.errstate(divide="ignore", invalid="ignore"):
        return shapely.buffer(area, distance, join_style="mitre")


def minus(area: shapely.Geometry, gone: shapely.Geometry) -> shapely.Geometry:
    """What is left of an area; sound where edges of the two all but coincide."""
    return _of_two(shapely.difference, area, gone)


def common(area: shapely.Geometry, other: shapely.Geometry) -> shapely.Geometry:
    """What two areas share; sound where their edges all but coincide."""
    return _of_two(shapely.intersection, area, other)


def _of_two(
    operation: Callable[..., shapely.Geometry], area: shapely.Geometry, other: shapely.Geometry
) -> shapely.Geometry:
    try:
        return polygons_of(operation(area, other))
    except shapely.errors.GEOSException:
        return polygons_of(operation(sound(area), sound(other), grid_size=HAIR))


def tidy(area: shapely.Geometry, least: float = 1e-3) -> shapely.Geometry:
    """The area without slivers narrower than `least` (mm); its corners stay sharp."""
    if area.is_empty:
        return area
    return polygons_of(grow(grow(area, -0.5 * least), 0.5 * least))


def transfer(
    area: shapely.Geometry, source: FloatArray, target: FloatArray, seen: np.ndarray | None = None
) -> shapely.Geometry:
    """Carry an area from one plane to another, affinely on each of a set of triangles.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        In the source plane.
    source, target : (m, 3, 2) float64
        The triangles in the two planes, corner by corner.
    seen : (m,) objects or None
        The part of each source triangle that takes anything; None for all of it.

    Returns
    -------
    Polygon or MultiPolygon in the target plane; what lies on no triangle is lost.
    """
    if area.is_empty or len(source) == 0:
        return shapely.MultiPolygon()
    area = _clipped(sound(area), source)
    near, triangles = _triangles_at(area, source)
    shapely.prepare(area)
    whole = shapely.contains_properly(area, triangles)
    if seen is not None:
        whole &= shapely.is_missing(seen[near])
    inner = near[whole]
    edge, triangles = near[~whole], triangles[~whole]
    cut = shapely.intersection(area, triangles) if len(edge) else np.zeros(0, dtype=object)
    if seen is not None and len(edge):
        limit = np.where(shapely.is_missing(seen[edge]), triangles, seen[edge])
        cut = shapely.intersection(cut, limit)
    bits, owner = shapely.get_parts(cut, return_index=True)
    is_area = (shapely.get_type_id(bits) == 3) & (shapely.area(bits) > 1e-12)
    bits, owner = bits[is_area], edge[owner[is_area]]
    moved = move_by_triangle(bits, owner, source, target)
    return join_parts(inner, moved, owner, target)


def transfer_lines(
    lines: shapely.Geometry, source: FloatArray, target: FloatArray, seen: np.ndarray | None = None
) -> shapely.Geometry:
    """Carry lines as `transfer` carries areas; what meets end to end is one line again."""
    if lines.is_empty or len(source) == 0:
        return shapely.MultiLineString()
    near, limit = _triangles_at(lines, source)
    if seen is not None:
        limit = np.where(shapely.is_missing(seen[near]), limit, seen[near])
    bits, owner = shapely.get_parts(shapely.intersection(lines, limit), return_index=True)
    is_line = (shapely.get_type_id(bits) == 1) & (shapely.length(bits) > 1e-9)
    moved = move_by_triangle(bits[is_line], near[owner[is_line]], source, target)
    # A line along a side belongs to the triangles on both sides of it.
    whole = shapely.union_all(moved, grid_size=LINE_GRID)
    return shapely.line_merge(whole)


def _clipped(area: shapely.Geometry, source: FloatArray) -> shapely.Geometry:
    """What of an area is near the triangles, so that each meets no more of its rim than it must."""
    low, high = source.min(axis=(0, 1)) - 1e-3, source.max(axis=(0, 1)) + 1e-3
    left, bottom, right, top = area.bounds
    if (low <= (left, bottom)).all() and (high >= (right, top)).all():
        return area
    try:
        return polygons_of(shapely.intersection(area, shapely.box(*low, *high)))
    except shapely.errors.GEOSException:
        return area


def _triangles_at(geometry: shapely.Geometry, source: FloatArray) -> tuple[IntArray, np.ndarray]:
    """The triangles (m, 3, 2) that a geometry meets: which, and as polygons; those without area left out."""
    if geometry.is_empty:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=object)
    left, bottom, right, top = geometry.bounds
    low, high = source.min(axis=1), source.max(axis=1)
    near = (low <= (right, top)) & (high >= (left, bottom))
    u, v = source[:, 1] - source[:, 0], source[:, 2] - source[:, 0]
    sound = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 2e-12
    index = np.flatnonzero(near.all(axis=1) & sound)
    triangles = shapely.polygons(source[index])
    shapely.prepare(geometry)
    met = shapely.intersects(geometry, triangles)
    return index[met], triangles[met]


def join_parts(
    whole: np.ndarray, bits: np.ndarray, owner: np.ndarray, triangles: FloatArray
) -> shapely.Geometry:
    """Union of whole triangles of a mesh and of bits that each lie in one triangle.

    Parameters
    ----------
    whole : (w,) int64
        Triangles that belong to the area entirely.
    bits : (b,) polygons
    owner : (b,) int64
        The triangle that each bit lies in.
    triangles : (m, 3, 2) float64
        The mesh, corner by corner; neighbours share corners exactly.
    """
    full = np.zeros(len(triangles), dtype=bool)
    full[whole] = True
    loose = ~full[owner]
    bits, owner = bits[loose], owner[loose]
    bits = bits.copy()
    unsound = ~shapely.is_valid(bits)
    bits[unsound] = shapely.buffer(bits[unsound], 0.0)
    parts: list[shapely.Geometry] = []
    if len(bits):
        order = np.argsort(owner, kind="stable")
        held, start, count = np.unique(owner[order], return_index=True, return_counts=True)
        several = np.full((len(held), int(count.max())), None, dtype=object)
        row = np.repeat(np.arange(len(held)), count)
        several[row, np.arange(len(bits)) - start[row]] = bits[order]
        united = several[:, 0] if several.shape[1] == 1 else _unions(several)
        corners = triangles[held]
        ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        ground = 0.5 * np.abs(ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
        done = shapely.area(united) > (1.0 - 1e-6) * ground
        full[held[done]] = True
        parts = list(united[~done])
    if full.any():
        parts.append(_whole(shapely.polygons(triangles[full])))
    return join(parts)


def _whole(triangles: np.ndarray) -> shapely.Geometry:
    """Union of triangles that share sides; needles that cross by a rounding are snapped first."""
    try:
        return shapely.coverage_union_all(triangles)
    except shapely.errors.GEOSException:
        return shapely.union_all(triangles, grid_size=GRID)


def _unions(rows: np.ndarray) -> np.ndarray:
    """Union of each row of polygons; without the grid, thin ones between others have been lost."""
    return shapely.union_all(rows, axis=1, grid_size=GRID)


def move_by_triangle(
    bits: np.ndarray, owner: np.ndarray, source: FloatArray, target: FloatArray
) -> np.ndarray:
    """Geometries moved by the affine map of the triangle that owns each."""
    if len(bits) == 0:
        return bits
    coordinates, index = shapely.get_coordinates(bits, return_index=True)
    tri = owner[index]
    weights = barycentric(source[tri], coordinates)
    return shapely.set_coordinates(bits.copy(), np.einsum("nc,ncj->nj", weights, target[tri]))


def clip_convex(polygons: FloatArray, counts: np.ndarray, lines: FloatArray) -> tuple[FloatArray, np.ndarray]:
    """Clip many convex polygons at once, each by a line of its own.

    Parameters
    ----------
    polygons : (n, c, 2) float64
        Padded corner lists.
    counts : (n,) int64
        How many corners of each row count.
    lines : (n, 3) float64
        a, b, c per row; the side with a x + b y + c >= 0 is kept.

    Returns
    -------
    polygons : (n, c + 1, 2) float64
    counts : (n,) int64; 0 where nothing is left.

    References
    ----------
    I. Sutherland, G. Hodgman, "Reentrant polygon clipping", CACM 17(1), 1974.
    """
    n, width, _ = polygons.shape
    column = np.arange(width)
    used = column[None, :] < counts[:, None]
    side = polygons[..., 0] * lines[:, None, 0] + polygons[..., 1] * lines[:, None, 1] + lines[:, None, 2]
    ahead = np.where(column[None, :] + 1 < counts[:, None], column[None, :] + 1, 0)
    next_side = np.take_along_axis(side, ahead, axis=1)
    next_point = np.take_along_axis(polygons, ahead[..., None], axis=1)
    keep = (side >= 0) & used
    cross = ((side >= 0) != (next_side >= 0)) & used
    share = np.divide(side, side - next_side, out=np.zeros_like(side), where=cross)
    crossing = polygons + share[..., None] * (next_point - polygons)
    order = keep.astype(np.int64) + cross
    end = np.cumsum(order, axis=1)
    total = end[:, -1]
    out = np.zeros((n, int(max(total.max(initial=0), width)) + 1, 2))
    row = np.broadcast_to(np.arange(n)[:, None], (n, width))
    place = end - order
    out[row[keep], place[keep]] = polygons[keep]
    place = place + keep
    out[row[cross], place[cross]] = crossing[cross]
    return out, np.where(total >= 3, total, 0)


def ragged_polygons(polygons: FloatArray, counts: np.ndarray) -> np.ndarray:
    """Shapely polygons from padded corner lists; rows with fewer than three corners are left out."""
    rows = np.flatnonzero(counts >= 3)
    if len(rows) == 0:
        return np.zeros(0, dtype=object)
    width = polygons.shape[1]
    use = np.arange(width)[None, :] < counts[rows][:, None]
    ring = np.broadcast_to(np.arange(len(rows))[:, None], use.shape)[use]
    return shapely.polygons(shapely.linearrings(polygons[rows][use], indices=ring))
