"""Trim a region by a polygon drawn on a view of the body."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.views import Side, view_frame
from unwrap.regions.edges import edge_table, face_normals, label_parts
from unwrap.regions.split import split_at_level

# What lies in a dropped polygon belongs to the view when at least this share of its area
# faces it: the near half of a tube faces it whole, a tube all round to a half, the far half
# but for the edges of its rivets not at all.
SHOWN = 0.25


@dataclass(frozen=True, eq=False)
class Trim:
    """A polygon on a view that a region is trimmed by.

    Parameters
    ----------
    view : str
        "left", "right", "front", "rear" or "top".
    corners : (k, 2) float64
        In the body's own coordinates, mm: x and z for the sides, y and z for front and
        rear, x and y from the top. The last corner joins up with the first.
    keep : bool
        True: what lies outside goes, right through the body. False: what lies inside
        goes, as far as the view shows it, so that the far side of a barrel stays.
    """

    view: Side
    corners: FloatArray
    keep: bool


def trim_faces(vertices: FloatArray, faces: IntArray, trim: Trim) -> tuple[FloatArray, IntArray, IntArray]:
    """Trim faces by a polygon, cutting triangles along it.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    trim : Trim
        The polygon.

    Returns
    -------
    vertices, faces : arrays
        What is left; unused vertices may remain.
    parent : (m',) int64
        The face that each is (a part of).
    """
    _, _, ahead = view_frame(trim.view)
    plane = [axis for axis in range(3) if not ahead[axis]]
    vertices, faces, parent = _split_along(vertices, faces, plane, np.asarray(trim.corners, dtype=np.float64))
    middle = vertices[faces].mean(axis=1)[:, plane]
    inside = shapely.contains_xy(shapely.Polygon(trim.corners), middle[:, 0], middle[:, 1])
    if trim.keep:
        left = inside
    else:
        left = np.ones(len(faces), dtype=bool)
        table = edge_table(faces, inside)
        part = label_parts(table, np.ones(len(table.ends), dtype=bool), inside)[inside]
        normals, areas = face_normals(vertices, faces[inside])
        shown = np.bincount(part, weights=areas * (normals @ -ahead > 0))
        left[inside] = shown[part] < SHOWN * np.bincount(part, weights=areas)[part]
    return vertices, faces[left], parent[left]


def _split_along(
    vertices: FloatArray, faces: IntArray, plane: Sequence[int], corners: FloatArray
) -> tuple[FloatArray, IntArray, IntArray]:
    """Cut triangles where the sides of a polygon, seen along the third axis, run over them."""
    near = _beside(vertices[faces][:, :, plane], corners)
    pairs = edge_table(faces).pair
    pairs = pairs[pairs[:, 0] >= 0]
    # a cut that goes on to the far edge of its triangle splits the neighbour there as well
    reached = near.copy()
    reached[pairs[near[pairs].any(axis=1)]] = True
    aside, work, owner = np.flatnonzero(~reached), faces[reached], np.flatnonzero(reached)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = float(np.linalg.norm(end - start))
        if length == 0:
            continue
        along = (end - start) / length
        offset = vertices[:, plane] - start
        height = offset @ np.array([-along[1], along[0]])
        way = offset @ along
        crossed = _runs_over(height[work], way[work], length)
        if crossed.any():
            vertices, work, source, _, _ = split_at_level(vertices, work, height, crossed)
            owner = owner[source]
    return vertices, np.concatenate([faces[aside], work]), np.concatenate([aside, owner])


def _beside(triangles: FloatArray, corners: FloatArray) -> np.ndarray:
    """Triangles (m, 3, 2) in whose box a side of the polygon lies."""
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    sides = shapely.linestrings(np.stack([corners, np.roll(corners, -1, axis=0)], axis=1))
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    shapely.prepare(sides)
    near = np.zeros(len(triangles), dtype=bool)
    near[shapely.STRtree(boxes).query(sides, predicate="intersects")[1]] = True
    return near


def _runs_over(height: FloatArray, way: FloatArray, length: float) -> np.ndarray:
    """Triangles that a side crosses, from the corners' distance off its line and their way along it."""
    following, further = np.roll(height, -1, axis=1), np.roll(way, -1, axis=1)
    crossed = height * following < 0
    share = np.divide(height, height - following, out=np.zeros_like(height), where=crossed)
    place = np.where(crossed, way + share * (further - way), np.nan)
    on_line = np.where(height == 0, way, np.nan)
    both = np.concatenate([place, on_line], axis=1)
    low, high = np.fmin.reduce(both, axis=1), np.fmax.reduce(both, axis=1)
    return crossed.any(axis=1) & (high > 0) & (low < length)
