"""Make a region ready to flatten."""

from __future__ import annotations

from typing import Literal

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.thin import thinned_faces
from unwrap.errors import BadInput
from unwrap.regions.bridge import facet_stubs, take_off_details
from unwrap.regions.details import TALL, UNSEEN, measure_details
from unwrap.regions.edges import boundary_loops, compact, edge_table
from unwrap.regions.fill import fill_gap, loop_normal, plane_axes
from unwrap.regions.joint import DIRECTIONS, Opened, Side, find_ends, open_surface
from unwrap.regions.region import Detail, Joint, Patch, Region
from unwrap.regions.tidy import tidy_mesh


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
    details = list(region.spanned)
    if region.detail is not None:
        vertices, faces, carried = take_off_details(vertices, faces, region.detail, bridge)
        details += measure_details(region.vertices, region.faces, vertices, carried)
    vertices, faces = tidy_mesh(vertices, faces)
    if not len(faces):
        raise BadInput(f"region '{region.name}' has no area; give another point or wider limits.")
    vertices, faces, bored = _close_openings(vertices, faces, bridge, openings == "cover")
    details += _not_yet_known(bored, details)
    opened = _thinned(open_surface(vertices, faces, joint))
    pierced = [(*detail.at, detail.width) for detail in details if detail.kind == "hole" or _is_post(detail)]
    return Patch(
        name=region.name,
        vertices=opened.vertices,
        faces=opened.faces,
        joints=opened.joints,
        details=tuple(details),
        holes=np.array(pierced, dtype=np.float64).reshape(-1, 4),
    )


def _thinned(opened: Opened) -> Opened:
    """The surface without vertices that carry no shape; those on joints stay, both edges being in step."""
    vertices, faces = opened.vertices, opened.faces
    staying = np.zeros(len(vertices), dtype=bool)
    for joint in opened.joints:
        staying[joint.first] = staying[joint.second] = True
    vertices, faces, used = compact(vertices, thinned_faces(Body(vertices, faces), staying))
    number = np.zeros(len(staying), dtype=np.int64)
    number[used] = np.arange(len(used))
    joints = tuple(Joint(number[joint.first], number[joint.second]) for joint in opened.joints)
    return Opened(vertices, faces, joints)


def _is_post(detail: Detail) -> bool:
    """Too tall for film to lie over: it comes through."""
    return detail.kind == "other" and detail.height > TALL * detail.width


def _not_yet_known(bored: list[Detail], details: list[Detail]) -> list[Detail]:
    """Openings that were closed, less those beside a detail that is listed already."""
    if not bored or not details:
        return bored
    places = np.array([detail.at for detail in details])
    reach = np.array([0.6 * detail.width for detail in details])
    return [hole for hole in bored if (np.linalg.norm(places - hole.at, axis=1) > reach).all()]


def _close_openings(
    vertices: FloatArray, faces: IntArray, bridge: float, cover: bool
) -> tuple[FloatArray, IntArray, list[Detail]]:
    """Fill the openings that film is to lie over; the small ones are listed."""
    loops = boundary_loops(faces)
    if len(loops) < 2:
        return vertices, faces, []
    ends = set(find_ends(vertices, faces, loops))
    stubs = facet_stubs(vertices, faces, loops)
    fills, bored = [faces], []
    size = np.int64(len(vertices))
    there = _keys(edge_table(faces).ends, size)
    for index, loop in enumerate(loops):
        width = loop_width(vertices[loop])
        if index in ends or not (cover or width <= bridge):
            continue
        mine = np.isin(stubs[0], loop)
        fill = fill_gap(vertices, [loop[::-1]], (stubs[0][mine], stubs[1][mine]))
        if _runs_along(fill, loop, there, size) and _crowded(_without_folds(np.concatenate([*fills, fill]))):
            continue  # a crumpled edge, no opening to lie over
        fills.append(fill)
        if UNSEEN <= width <= bridge:
            x, y, z = (float(value) for value in vertices[loop].mean(axis=0))
            bored.append(Detail("hole", (x, y, z), 0.0, width))
    vertices, faces, _ = compact(vertices, _without_folds(np.concatenate(fills)))
    return vertices, faces, bored


def _runs_along(fill: IntArray, loop: IntArray, there: IntArray, size: np.int64) -> bool:
    """Whether a fill has edges, other than those of the gap, that the mesh has already."""
    own = _keys(np.sort(np.stack([loop, np.roll(loop, -1)], axis=1), axis=1), size)
    key = _keys(edge_table(fill).ends, size)
    return bool((np.isin(key, there) & ~np.isin(key, own)).any())


def _crowded(faces: IntArray) -> bool:
    """Whether more than two faces meet somewhere."""
    return bool((edge_table(faces).count > 2).any())


def _keys(ends: IntArray, size: np.int64) -> IntArray:
    keys: IntArray = ends[:, 0] * size + ends[:, 1]
    return keys


def _without_folds(faces: IntArray) -> IntArray:
    """Without pairs of faces back to back: an ear folded back from an opening, and the fill over it."""
    key = np.sort(faces, axis=1)
    _, number, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    return faces[count[number.ravel()] == 1]


def loop_width(points: FloatArray) -> float:
    """Narrowest width of a closed loop across its mean plane (the least of 36 directions), mm."""
    first, second = plane_axes(loop_normal(points))
    turn = np.linspace(0.0, np.pi, 36, endpoint=False)
    along = np.outer(points @ first, np.cos(turn)) + np.outer(points @ second, np.sin(turn))
    return float(np.ptp(along, axis=0).min())
