"""Orthographic views of the body as drawings in true millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import shapely
import svgwrite

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.body.lines import visible_lines
from unwrap.body.silhouette import find_outline

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
_TITLES = {
    "left": "left side, front to the left",
    "right": "right side, front to the right",
    "front": "front",
    "rear": "rear",
    "top": "from above, front to the right",
}
# Room under the drawing for scale bar and caption, mm.
FOOT = 10.0


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


def draw_view(body: Body, side: Side, *, crease: float = CREASE) -> View:
    """Draw the body as seen from one side.

    Parameters
    ----------
    body : Body
    side : str
        "left", "right", "front", "rear" or "top".
    crease : float
        Edges sharper than this are drawn, radians.

    Returns
    -------
    View
    """
    across, upward, ahead = view_frame(side)
    rays, edges = body.rays, body.edges
    flat = body.vertices @ np.stack([across, upward], axis=1)
    outline = find_outline(rays, edges, body.normals @ -ahead, flat, (across, upward, ahead))
    border = outline.boundary
    creases = visible_lines(
        rays, body.vertices, body.normals, flat, edges, body.edge_angles > crease, ahead, border
    )
    return View(side, across, upward, ahead, outline, creases, body.name)


def draw_views(body: Body) -> tuple[View, ...]:
    """All five views, in the order of `SIDES`."""
    return tuple(draw_view(body, side) for side in SIDES)


def write_view_svg(view: View, path: Path | str, *, margin: float = 5.0) -> None:
    """Write a view as an SVG in true millimetres.

    The user unit is 1 mm and the origin is the body's; since y points down in SVG, a place
    (x, y) of the view stands at (x, -y) in the file. Groups: `outline`, `creases`, `scale`,
    and an empty `livery` to draw in.

    Parameters
    ----------
    view : View
    path : path
        Where to write.
    margin : float
        Empty border, mm.
    """
    bounds = np.array(view.outline.bounds if not view.outline.is_empty else (0.0, 0.0, 10.0, 10.0))
    low, high = np.floor(bounds[:2] - margin), np.ceil(bounds[2:] + margin)
    low[1] -= FOOT
    width, height = high - low
    drawing = svgwrite.Drawing(
        str(path),
        size=(f"{width:g}mm", f"{height:g}mm"),
        viewBox=f"{low[0]:g} {-high[1]:g} {width:g} {height:g}",
        profile="full",
        debug=False,
    )
    drawing.set_desc(title=f"{view.name}, {_TITLES[view.side]}", desc=_conventions(view))
    rings = [
        np.asarray(ring.coords)[:-1]
        for polygon in shapely.get_parts(view.outline)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    outline = drawing.g(
        id="outline", fill="none", stroke="#000000", stroke_width=0.25, stroke_linejoin="round"
    )
    if rings:
        outline.add(drawing.path(d="".join(_path(ring) + "Z" for ring in rings)))
    creases = drawing.g(
        id="creases", fill="none", stroke="#555555", stroke_width=0.1, stroke_linejoin="round"
    )
    if view.creases:
        creases.add(drawing.path(d="".join(_path(line) for line in view.creases)))
    scale = drawing.g(id="scale", fill="none", stroke="#000000", stroke_width=0.2)
    left, bottom = low[0] + margin, -(low[1] + 0.6 * FOOT)
    bar = next((length for length in (100.0, 50.0, 20.0, 10.0, 5.0) if length < width - 2 * margin), 1.0)
    ticks = "".join(
        f"M{left + k * bar / 5:g},{bottom - (1 if k in (0, 5) else 0.6):g}V{bottom:g}" for k in range(6)
    )
    scale.add(drawing.path(d=f"M{left:g},{bottom:g}h{bar:g}{ticks}"))
    caption = drawing.text(
        f"{bar:g} mm · {view.name}, {_TITLES[view.side]}",
        insert=(f"{left:g}", f"{bottom + 3.2:g}"),
        fill="#000000",
    )
    caption.update({"font-size": "2.2", "font-family": "sans-serif", "stroke": "none"})
    scale.add(caption)
    for group in (outline, creases, scale, drawing.g(id="livery")):
        drawing.add(group)
    drawing.saveas(str(path), pretty=True)


def _conventions(view: View) -> str:
    names = {0: ("front", "rear"), 1: ("left", "right"), 2: ("top", "bottom")}

    def towards(direction: FloatArray) -> str:
        axis = int(np.argmax(np.abs(direction)))
        return names[axis][0 if direction[axis] > 0 else 1]

    return (
        "1 unit is 1 mm on the model; the origin is the body's. "
        f"x runs to the body's {towards(view.across)}, y (down) to its {towards(-view.upward)}. "
        "Draw in the group livery."
    )


def _path(points: FloatArray) -> str:
    return "M" + "L".join(["%.3f,%.3f"] * len(points)) % tuple((points * (1.0, -1.0)).ravel().tolist())
