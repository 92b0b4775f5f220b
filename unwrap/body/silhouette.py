"""The true outline of a body seen along a direction."""

from __future__ import annotations

from itertools import pairwise

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.edges import Edges
from unwrap.body.rays import Rays

# Drawn places closer than this are one, mm; narrower gaps and specks are filled or dropped.
GRID = 1e-4
# A point this close to the straight way between its neighbours is not drawn, mm.
STRAIGHT = 1e-5
SPECK = 0.01
# A face counts as looking to the eye from this cosine on. Walls along the view, whose
# rounded coordinates make their little faces lean to and fro, count as one then; what is
# lost is 0.01 mm on a wall of 50 mm.
LEANING = 2e-4
# Beyond so many contour edges (a mesh in shreds) the outline is traced on a grid instead.
MOST_EDGES = 100_000
GRID_CELLS = 3000


def contour_edges(edges: Edges, facing: FloatArray) -> IntArray:
    """Edges where the side that is looked at ends: (k,) edge numbers.

    Parameters
    ----------
    edges : Edges
        Of the whole body.
    facing : (m,) float64
        Cosine between each face's normal and the direction to the eye.

    Returns
    -------
    (k,) int64
        Edges between a face that looks to the eye and one that does not, and all edges
        that do not have exactly two faces.
    """
    toward = facing > LEANING
    turning = toward[edges.pairs[:, 0]] != toward[edges.pairs[:, 1]]
    return np.concatenate([edges.pair_edge[turning], np.flatnonzero(edges.number != 2)])


def find_outline(
    rays: Rays, edges: Edges, facing: FloatArray, flat: FloatArray, frame: tuple[FloatArray, ...]
) -> shapely.Geometry:
    """What the body covers when it is looked at along a direction.

    The border of the covered ground is made of contour edges. They are drawn, cut at their
    crossings and closed to cells; a ray through each cell says whether the body is there.

    Parameters
    ----------
    rays : Rays
        The body.
    edges : Edges
        Of its faces.
    facing : (m,) float64
        Cosine between each face's normal and the direction to the eye.
    flat : (n, 2) float64
        The body's vertices on the drawing, mm.
    frame : three (3,) float64 arrays
        Directions on the body: to the right of the drawing, to its top, and of looking.

    Returns
    -------
    shapely Polygon or MultiPolygon
        On the drawing, mm; openings that can be looked through are holes.
    """
    ends = edges.ends[contour_edges(edges, facing)]
    segments = flat[ends]
    segments = segments[np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1) > GRID]
    if len(segments) == 0:
        return shapely.Polygon()
    if len(segments) > MOST_EDGES:
        return _traced(rays, flat, frame)
    drawn = shapely.union_all(joined_straight(segments), grid_size=GRID)
    cells = shapely.get_parts(shapely.polygonize([drawn]))
    if len(cells) == 0:
        return shapely.Polygon()
    inside = shapely.get_coordinates(shapely.point_on_surface(cells))
    covered = _covered(rays, inside, frame)
    ground = shapely.union_all(cells[covered], grid_size=GRID)
    # Rounding leaves slits and specks that no drawing needs.
    ground = ground.buffer(SPECK, join_style="mitre").buffer(-SPECK, join_style="mitre")
    return shapely.union_all(
        [_without_specks(part) for part in shapely.get_parts(ground) if part.area > SPECK]
    )


def joined_straight(segments: FloatArray) -> NDArray[np.object_]:
    """Lines through segments (k, 2, 2) that touch end to end, with no point on their straight runs.

    A fine mesh cuts a straight edge into hundreds of pieces; crossings are found many times
    as fast without them.
    """
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(segments)))
    return shapely.simplify(shapely.get_parts(merged), STRAIGHT)


def _covered(rays: Rays, places: FloatArray, frame: tuple[FloatArray, ...]) -> BoolArray:
    """(k,) whether the body stands behind places (k, 2) of the drawing."""
    across, upward, ahead = frame
    before = (float(rays.middle @ ahead) - rays.reach) * ahead
    return rays.blocked(places @ np.stack([across, upward]) + before, ahead)


def _traced(rays: Rays, flat: FloatArray, frame: tuple[FloatArray, ...]) -> shapely.Geometry:
    """The outline traced on a grid of rays, true to half a cell."""
    low, high = flat.min(axis=0), flat.max(axis=0)
    cell = float((high - low).max()) / GRID_CELLS
    x, y = (np.arange(low[k] - 1.5 * cell, high[k] + 2 * cell, cell) for k in (0, 1))
    rows = [_covered(rays, np.stack([x, np.full(len(x), row)], axis=1), frame) for row in y]
    found = contourpy.contour_generator(x, y, np.array(rows, dtype=np.float64), fill_type="OuterOffset")
    polygons = []
    for points, offsets in zip(*found.filled(0.5, 2.0), strict=True):
        rings = [points[a:b] for a, b in pairwise(offsets) if b - a > 3]
        polygons.append(shapely.make_valid(shapely.Polygon(rings[0], rings[1:])))
    return shapely.simplify(shapely.union_all([part for part in polygons if part.area > SPECK]), 0.7 * cell)


def _without_specks(polygon: shapely.Polygon) -> shapely.Polygon:
    return shapely.Polygon(
        polygon.exterior, [ring for ring in polygon.interiors if shapely.Polygon(ring).area > SPECK]
    )
