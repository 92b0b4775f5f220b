"""Polygons into triangles, truly: concave ones too."""

from __future__ import annotations

import mapbox_earcut
import numpy as np

from unwrap.arrays import FloatArray, IntArray

# A polygon with more corners than this is no face of a model but a damaged file.
MOST_CORNERS = 20_000


def triangulate_polygons(
    vertices: FloatArray, corners: IntArray, sides: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Cut polygons into triangles along their own diagonals.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    corners : (sum(sides),) int64
        Vertex numbers of all polygons, one polygon after the other.
    sides : (p,) int64
        How many corners each polygon has.

    Returns
    -------
    faces : (m, 3) int64
        Triangles wound as their polygons, in the order of the polygons.
    polygon : (m,) int64
        The polygon that each triangle is from. A polygon of fewer than three corners or
        without any area has none.
    crossing : (c,) int64
        Polygons whose triangles do not fill their area, because their edges cross.

    Notes
    -----
    Corners are projected on the polygon's own plane, whose normal is Newell's (Sutherland,
    Sproull and Schumacker, 1974). A quadrilateral takes the shorter of the diagonals that lie
    inside it; larger ones are cut by ear clipping.
    """
    start = np.concatenate([[0], np.cumsum(sides)[:-1]]).astype(np.int64)
    parts: list[IntArray] = []
    owners: list[IntArray] = []
    crossing: list[int] = []

    three = np.flatnonzero(sides == 3)
    parts.append(corners[start[three][:, None] + np.arange(3)])
    owners.append(three)

    four = np.flatnonzero(sides == 4)
    quads = corners[start[four][:, None] + np.arange(4)]
    parts.append(_cut_quads(vertices, quads))
    owners.append(np.repeat(four, 2))

    for polygon in np.flatnonzero(sides > 4):
        ring = corners[start[polygon] : start[polygon] + sides[polygon]]
        triangles, fills = _clip_ears(vertices[ring])
        parts.append(ring[triangles])
        owners.append(np.full(len(triangles), polygon))
        if not fills:
            crossing.append(int(polygon))

    polygon_of = np.concatenate(owners)
    order = np.argsort(polygon_of, kind="stable")
    return np.concatenate(parts)[order], polygon_of[order], np.array(crossing, dtype=np.int64)


def _cut_quads(vertices: FloatArray, quads: IntArray) -> IntArray:
    if len(quads) == 0:
        return np.zeros((0, 3), dtype=np.int64)
    p = vertices[quads]
    newell = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    at = [np.cross(p[:, k] - p[:, k - 1], p[:, (k + 1) % 4] - p[:, k]) for k in range(4)]
    inward = [np.einsum("qd,qd->q", a, newell) < 0 for a in at]
    # A diagonal that starts at a reflex corner lies inside; one that passes it by does not.
    first_is_bad = inward[1] | inward[3]
    second_is_bad = inward[0] | inward[2]
    first = np.linalg.norm(p[:, 2] - p[:, 0], axis=1)
    second = np.linalg.norm(p[:, 3] - p[:, 1], axis=1)
    use_first = np.where(first_is_bad == second_is_bad, first <= second, ~first_is_bad)
    along_first = quads[:, [0, 1, 2, 0, 2, 3]]
    along_second = quads[:, [0, 1, 3, 1, 2, 3]]
    return np.where(use_first[:, None], along_first, along_second).reshape(-1, 3)


def _clip_ears(ring: FloatArray) -> tuple[IntArray, bool]:
    """Triangles of one polygon and whether they fill its area."""
    none = np.zeros((0, 3), dtype=np.int64)
    moved = ring - ring.mean(axis=0)
    size = float(np.abs(moved).max())
    if not np.isfinite(size) or size == 0:
        return none, True
    moved = moved / size
    normal = np.cross(moved, np.roll(moved, -1, axis=0)).sum(axis=0)
    length = float(np.linalg.norm(normal))
    if length < 1e-12:
        return none, True
    normal /= length
    side = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    side /= np.linalg.norm(side)
    flat = np.stack([moved @ side, moved @ np.cross(normal, side)], axis=1)
    found = mapbox_earcut.triangulate_float64(flat, np.array([len(flat)], dtype=np.uint32))
    triangles = found.reshape(-1, 3).astype(np.int64)
    a, b, c = flat[triangles[:, 0]], flat[triangles[:, 1]], flat[triangles[:, 2]]
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    backward = doubled < 0
    triangles[backward] = triangles[backward][:, ::-1]
    return triangles, bool(abs(np.abs(doubled).sum() - length) <= 1e-6 * length)
