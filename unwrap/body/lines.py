"""The lines that a view shows: sharp edges and inner contours, the hidden ones left away."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.edges import Edges
from unwrap.body.rays import Rays
from unwrap.body.silhouette import joined_straight

# A line is tried for visibility this often along its length, mm.
STEP = 0.1
# It is tried from just before the two faces that meet there, as a share of the body's diagonal.
LIFT = 1e-4
# Drawn places closer than this are one, mm.
GRID = 1e-3
MOST_EDGES = 60_000
# Shorter scraps of line are flaws of the mesh, not features, mm.
SCRAP = 0.05


def visible_lines(
    rays: Rays,
    vertices: FloatArray,
    normals: FloatArray,
    flat: FloatArray,
    edges: Edges,
    sharp: BoolArray,
    ahead: FloatArray,
    border: shapely.Geometry,
) -> tuple[FloatArray, ...]:
    """Sharp edges and contours that can be seen along a direction, joined to polylines.

    Parameters
    ----------
    rays : Rays
        The body.
    vertices, normals : (n, 3), (m, 3) float64
        Its vertices, mm, and its faces' normals.
    flat : (n, 2) float64
        The vertices on the drawing, mm.
    edges : Edges
        Of its faces.
    sharp : (p,) bool
        Which of the edges' pairs of faces meet sharply.
    ahead : (3,) float64
        The direction of looking.
    border : shapely geometry
        Lines that are drawn already and left away here.

    Returns
    -------
    tuple of (k, 2) float64 arrays
        mm on the drawing.
    """
    edge, faces = _worth_drawing(normals @ ahead, edges, sharp)
    if len(edge) == 0:
        return ()
    ends = edges.ends[edge]
    if len(ends) > MOST_EDGES:  # a mesh in shreds: its longest edges still say the most
        length = np.linalg.norm(vertices[ends[:, 1]] - vertices[ends[:, 0]], axis=1)
        longest = np.sort(np.argsort(length)[-MOST_EDGES:])
        edge, faces, ends = edge[longest], faces[longest], ends[longest]
    out = normals[faces[:, 0]] + normals[faces[:, 1]]
    length = np.linalg.norm(out, axis=1, keepdims=True)
    lift = LIFT * rays.reach * np.divide(out, length, out=np.zeros_like(out), where=length > 1e-6)
    number = np.maximum(
        1, np.ceil(np.linalg.norm(flat[ends[:, 1]] - flat[ends[:, 0]], axis=1) / STEP)
    ).astype(int)
    owner = np.repeat(np.arange(len(ends)), number)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(number) - number, number)
    share = ((rank + 0.5) / number[owner])[:, None]
    places = vertices[ends[owner, 0]] * (1 - share) + vertices[ends[owner, 1]] * share + lift[owner]
    seen = ~rays.blocked(places - LIFT * rays.reach * ahead, -ahead)
    pieces = _runs(owner, rank, number, seen, flat[ends])
    if len(pieces) == 0:
        return ()
    return _joined(pieces, border)


def _worth_drawing(away: FloatArray, edges: Edges, sharp: BoolArray) -> tuple[IntArray, IntArray]:
    """Edges to draw and the two faces at each (the same one twice at an open edge)."""
    toward, plainly = away < 0, away < -1e-3
    first, second = edges.pairs.T
    chosen = np.flatnonzero((sharp & (toward[first] | toward[second])) | (plainly[first] != plainly[second]))
    open_edges = np.flatnonzero(edges.number == 1)
    face_of = np.zeros(len(edges.number), dtype=np.int64)
    face_of[edges.of_face.ravel()] = np.repeat(np.arange(len(edges.of_face)), 3)
    alone = face_of[open_edges]
    edge = np.concatenate([edges.pair_edge[chosen], open_edges])
    return edge, np.concatenate([edges.pairs[chosen], np.stack([alone, alone], axis=1)])


def _runs(
    owner: IntArray, rank: IntArray, number: IntArray, seen: BoolArray, segments: FloatArray
) -> FloatArray:
    """(r, 2, 2) the seen parts of segments."""
    fresh = np.concatenate([[True], (owner[1:] != owner[:-1]) | (seen[1:] != seen[:-1])])
    first = np.flatnonzero(fresh)
    last = np.concatenate([first[1:], [len(owner)]]) - 1
    first, last = first[seen[first]], last[seen[first]]
    of = owner[first]
    begin, end = (rank[first] / number[of])[:, None], ((rank[last] + 1) / number[of])[:, None]
    a, b = segments[of, 0], segments[of, 1]
    # written so that a whole segment keeps its ends to the last digit and joins its neighbours
    runs = np.stack([a * (1 - begin) + b * begin, a * (1 - end) + b * end], axis=1)
    return runs[np.linalg.norm(runs[:, 1] - runs[:, 0], axis=1) > GRID]


def _joined(pieces: FloatArray, border: shapely.Geometry) -> tuple[FloatArray, ...]:
    """Pieces that touch end to end as polylines, without doubles and without the border."""
    lines = shapely.union_all(joined_straight(pieces), grid_size=GRID)
    if not border.is_empty:
        shapely.prepare(border)
        parts = shapely.get_parts(lines)
        on_border = np.arange(len(parts))
        for share in (0.0, 1.0, 0.5):
            place = shapely.line_interpolate_point(parts[on_border], share, normalized=True)
            on_border = on_border[shapely.dwithin(border, place, 0.02)]
        lines = shapely.multilinestrings(np.delete(parts, on_border))
    merged = shapely.line_merge(lines)
    parts = shapely.get_parts(shapely.simplify(merged, GRID))
    parts = parts[shapely.length(parts) > SCRAP]
    drawn, part = shapely.get_coordinates(parts, return_index=True)
    return tuple(np.split(drawn, np.flatnonzero(np.diff(part)) + 1)) if len(parts) else ()
