"""The true outline of a body seen along a direction."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.body.body import FloatArray, IntArray
from unwrap.body.edges import Edges
from unwrap.body.rays import Rays

# Drawn places closer than this are one, mm; narrower gaps and specks are filled or dropped.
GRID = 1e-4
SPECK = 0.01


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
    toward = facing > 1e-6
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
    drawn = shapely.union_all(shapely.linestrings(segments), grid_size=GRID)
    cells = shapely.get_parts(shapely.polygonize([drawn]))
    if len(cells) == 0:
        return shapely.Polygon()
    inside = shapely.get_coordinates(shapely.point_on_surface(cells))
    across, upward, ahead = frame
    before = (float(rays.middle @ ahead) - rays.reach) * ahead
    covered = rays.blocked(inside @ np.stack([across, upward]) + before, ahead)
    ground = shapely.union_all(cells[covered], grid_size=GRID)
    # Rounding leaves slits and specks that no drawing needs.
    ground = ground.buffer(SPECK, join_style="mitre").buffer(-SPECK, join_style="mitre")
    return shapely.union_all(
        [_without_specks(part) for part in shapely.get_parts(ground) if part.area > SPECK]
    )


def _without_specks(polygon: shapely.Polygon) -> shapely.Polygon:
    return shapely.Polygon(
        polygon.exterior, [ring for ring in polygon.interiors if shapely.Polygon(ring).area > SPECK]
    )
