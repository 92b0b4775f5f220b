"""Orthographic views of the body as drawings in true millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import shapely
import svgwrite

from unwrap.body.body import Body, BoolArray, FloatArray
from unwrap.body.edges import edge_angles, find_edges
from unwrap.body.rays import Rays
from unwrap.body.skin import outside_faces

Side = Literal["left", "right", "front", "rear", "top"]
SIDES: tuple[Side, ...] = get_args(Side)
CREASE = np.radians(25.0)

# Per side: the body's directions to the right and to the top of the drawing, and the
# direction of looking. Each view is drawn as a person sees it who stands on that side.
_FRAMES: dict[str, tuple[tuple[int, int, int], tuple[int, int, int], tuple[int, int, int]]] = {
    "left": ((-1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "right": ((1, 0, 0), (0, 0, 1), (0, 1, 0)),
    "front": ((0, 1, 0), (0, 0, 1), (-1, 0, 0)),
    "rear": ((0, -1, 0), (0, 0, 1), (1, 0, 0)),
    "top": ((1, 0, 0), (0, 1, 0), (0, 0, -1)),
}


@dataclass(frozen=True, eq=False)
class View:
    """An orthographic drawing of the body.

    Parameters
    ----------
    side : str
        "left", "right", "front", "rear" or "top".
    across, upward, ahead : (3,) float64
        Directions on the body: to the right of the drawing, to its top, and of looking.
    outline : shapely Polygon or MultiPolygon
        What the body covers, mm, y up, the body's origin at (0, 0).
    creases : tuple of (n, 2) float64 arrays
        Visible sharp edges, mm, y up.
    name : str
        The body's name.
    """

    side: Side
    across: FloatArray
    upward: FloatArray
    ahead: FloatArray
    outline: shapely.Geometry
    creases: tuple[FloatArray, ...]
    name: str = "body"

    def to_view(self, points: FloatArray) -> FloatArray:
        """(n, 2) places on the drawing (mm, y up) of places on the body (n, 3)."""
        return np.asarray(points, dtype=np.float64) @ np.stack([self.across, self.upward], axis=1)

    def to_body(self, points: FloatArray, depth: float = 0.0) -> FloatArray:
        """(n, 3) places on the body of drawn places (n, 2), `depth` mm along the direction of looking."""
        return (
            np.asarray(points, dtype=np.float64) @ np.stack([self.across, self.upward]) + depth * self.ahead
        )


def view_frame(side: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The body's directions to the right and top of a view, and of looking: three (3,) unit vectors."""
    across, upward, ahead = _FRAMES[side]
    return np.array(across, float), np.array(upward, float), np.array(ahead, float)


def draw_view(body: Body, side: Side, *, outside: BoolArray | None = None, crease: float = CREASE) -> View:
    """Draw the body as seen from one side.

    Parameters
    ----------
    body : Body
    side : str
        "left", "right", "front", "rear" or "top".
    outside : (m,) bool or None
        From `outside_faces`; found when None.
    crease : float
        Edges sharper than this are drawn, radians.

    Returns
    -------
    View
    """
    across, upward, ahead = view_frame(side)
    outside = outside_faces(body) if outside is None else outside
    flat = body.vertices @ np.stack([across, upward], axis=1)
    facing = outside & (body.normals @ ahead < -1e-3)
    triangles = shapely.polygons(flat[body.faces[facing]])
    outline = (
        shapely.union_all(shapely.make_valid(triangles), grid_size=1e-4)
        if facing.any()
        else shapely.Polygon()
    )
    return View(side, across, upward, ahead, outline, _creases(body, outside, ahead, flat, crease), body.name)


def _creases(
    body: Body, outside: BoolArray, ahead: FloatArray, flat: FloatArray, crease: float
) -> tuple[FloatArray, ...]:
    edges = find_edges(body.faces)
    sharp = edge_angles(body.normals, edges.pairs) > crease
    sharp &= outside[edges.pairs].any(axis=1)
    sharp &= (body.normals[edges.pairs] @ ahead < -1e-3).any(axis=1)
    ends = edges.ends[edges.pair_edge[sharp]]
    a, b = body.vertices[ends[:, 0]], body.vertices[ends[:, 1]]
    rays = Rays(body.vertices, body.faces)
    step = max(0.15, rays.reach / 1500)
    number = np.maximum(2, np.ceil(np.linalg.norm(b - a, axis=1) / step)).astype(int)
    edge = np.repeat(np.arange(len(ends)), number)
    rank = np.arange(len(edge)) - np.repeat(np.cumsum(number) - number, number)
    t = (rank + 0.5) / number[edge]
    places = a[edge] + t[:, None] * (b[edge] - a[edge])
    seen = ~rays.blocked(places - 2e-3 * rays.reach * 0.1 * ahead, -ahead)
    lines = []
    start = np.concatenate([[True], (edge[1:] != edge[:-1]) | (seen[1:] != seen[:-1])])
    first = np.flatnonzero(start)
    last = np.concatenate([first[1:], [len(edge)]]) - 1
    for i, j in zip(first, last, strict=True):
        if seen[i]:
            e = edge[i]
            t0, t1 = rank[i] / number[e], (rank[j] + 1) / number[e]
            p, q = flat[ends[e, 0]], flat[ends[e, 1]]
            if np.linalg.norm(q - p) * (t1 - t0) > 1e-3:
                lines.append(np.stack([p + t0 * (q - p), p + t1 * (q - p)]))
    return tuple(lines)


def write_view_svg(view: View, path: Path | str, *, margin: float = 5.0) -> None:
    """Write a view as an SVG in true millimetres.

    Parameters
    ----------
    view : View
    path : path
        Where to write.
    margin : float
        Empty border, mm.
    """
    x0, y0, x1, y1 = view.outline.bounds if not view.outline.is_empty else (0, 0, 10, 10)
    low = np.floor(np.array([x0, y0]) - margin)
    high = np.ceil(np.array([x1, y1]) + margin)
    low[1] -= 12.0
    width, height = high - low
    drawing = svgwrite.Drawing(
        str(path),
        size=(f"{width:g}mm", f"{height:g}mm"),
        viewBox=f"{low[0]:g} {-high[1]:g} {width:g} {height:g}",
        profile="full",
        debug=False,
    )
    outline = drawing.g(id="outline", fill="none", stroke="#000000", stroke_width=0.25)
    for polygon in shapely.get_parts(view.outline):
        for ring in (polygon.exterior, *polygon.interiors):
            outline.add(drawing.path(d=_path(np.asarray(ring.coords)[:-1]) + "Z"))
    creases = drawing.g(id="creases", fill="none", stroke="#555555", stroke_width=0.1)
    for line in view.creases:
        creases.add(drawing.path(d=_path(line)))
    scale = drawing.g(id="scale", fill="none", stroke="#000000", stroke_width=0.2)
    bar = 50.0 if width > 70 else 10.0
    y = -(low[1] + 8.0)
    scale.add(
        drawing.path(
            d=f"M{low[0] + 5:g},{y:g}h{bar:g}M{low[0] + 5:g},{y - 1:g}v2M{low[0] + 5 + bar:g},{y - 1:g}v2"
        )
    )
    scale.add(
        drawing.text(
            f"{bar:g} mm  ·  {view.name}, {view.side}",
            insert=(low[0] + 5, y + 4),
            font_size=3,
            font_family="sans-serif",
            fill="#000000",
            stroke="none",
        )
    )
    for group in (outline, creases, scale, drawing.g(id="livery")):
        drawing.add(group)
    drawing.save()


def _path(points: FloatArray) -> str:
    return "M" + "L".join(f"{x:.3f},{-y:.3f}" for x, y in points)
