"""Make a region ready to flatten."""

from __future__ import annotations

from typing import Literal

import numpy as np

from unwrap.body.body import FloatArray, IntArray
from unwrap.errors import BadInput
from unwrap.regions.bridge import take_off_details
from unwrap.regions.cut import cut_along
from unwrap.regions.edges import boundary_loops, compact, face_normals
from unwrap.regions.fill import fill_gap, loop_normal, plane_axes
from unwrap.regions.joint import DIRECTIONS, Side, find_ends, open_surface
from unwrap.regions.region import Detail, Patch, Region


def make_patch(
    region: Region,
    bridge: float = 0.0,
    openings: Literal["cut", "cover"] = "cut",
    joint: Side = "bottom",
) -> Patch:
    """Make a region ready to flatten: one clean, connected surface with an edge.

    Parameters
    ----------
    region : Region
        What was grown.
    bridge : float
        Openings up to this width (mm) are covered and listed as holes to pierce.
    openings : str
        What becomes of larger ones: "cut" out of the film or "cover"ed by it.
    joint : str
        The side where a region that closes on itself is opened.

    Returns
    -------
    Patch
        Connected, oriented, manifold; no unused vertex, no face without area.

    Raises
    ------
    BadInput
        If an option is not known or nothing of the region is left.
    """
    if openings not in ("cut", "cover"):
        raise BadInput(
            f'region \'{region.name}\': openings = "{openings}" is not known; use "cut" or "cover".'
        )
    if joint not in DIRECTIONS:
        raise BadInput(
            f"region '{region.name}': joint = \"{joint}\" is not known; use one of {', '.join(DIRECTIONS)}."
        )
    vertices, faces = region.vertices, region.faces
    if region.detail is not None:
        vertices, faces, _ = take_off_details(vertices, faces, region.detail, bridge)
    vertices, faces, _ = cut_along(vertices, faces)
    _, areas = face_normals(vertices, faces)
    if not areas.sum() > 0:
        raise BadInput(f"region '{region.name}' has no area; give another point or wider limits.")
    vertices, faces, holes, details = _close_openings(vertices, faces, bridge, openings == "cover")
    opened = open_surface(vertices, faces, joint)
    vertices, faces, _ = compact(opened.vertices, opened.faces)
    return Patch(
        name=region.name,
        vertices=vertices,
        faces=faces,
        joints=opened.joints,
        details=tuple(details),
        holes=holes,
    )


def _close_openings(
    vertices: FloatArray, faces: IntArray, bridge: float, cover: bool
) -> tuple[FloatArray, IntArray, FloatArray, list[Detail]]:
    """Fill the openings that film is to lie over."""
    loops = boundary_loops(faces)
    if len(loops) < 2:
        return vertices, faces, np.zeros((0, 4)), []
    ends = set(find_ends(vertices, faces, loops))
    fills, holes, details = [faces], [], []
    for index, loop in enumerate(loops):
        if index in ends:
            continue
        points = vertices[loop]
        width = loop_width(points)
        if not (cover or width <= bridge):
            continue
        fills.append(fill_gap(vertices, [loop[::-1]]))
        if width <= bridge:
            middle = points.mean(axis=0)
            holes.append([*middle, width])
            details.append(Detail("hole", (float(middle[0]), float(middle[1]), float(middle[2])), 0.0, width))
    return vertices, np.concatenate(fills), np.array(holes, dtype=np.float64).reshape(-1, 4), details


def loop_width(points: FloatArray) -> float:
    """Narrowest width of a closed loop across its mean plane (the least of 36 directions), mm."""
    first, second = plane_axes(loop_normal(points))
    turn = np.linspace(0.0, np.pi, 36, endpoint=False)
    along = np.outer(points @ first, np.cos(turn)) + np.outer(points @ second, np.sin(turn))
    return float(np.ptp(along, axis=0).min())
