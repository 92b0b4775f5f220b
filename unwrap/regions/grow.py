"""Grow a region from a point on the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.errors import BadInput
from unwrap.regions.edges import compact, edge_table, label_parts
from unwrap.regions.ground import find_ground
from unwrap.regions.hidden import cut_hidden
from unwrap.regions.nearest import closest_points, nearest_on_faces
from unwrap.regions.region import Region
from unwrap.regions.sew import TOUCHING, sew
from unwrap.regions.skin import outside_mask
from unwrap.regions.smooth import Smooth, smooth_parts
from unwrap.regions.span import span_gaps
from unwrap.regions.split import trim_within
from unwrap.regions.surfaces import CREASE, Surface, find_surfaces, nearest_surface
from unwrap.regions.trim import Trim, trim_faces

# Prototype width up to which something on the surface is a detail: it takes in rivets,
# strapping, panel lines, beading and louvres, and leaves doors, lamps and windows.
BRIDGE_PROTOTYPE = 120.0

# A point read off a drawing or off another export of the body is a little off the
# surface: forgive this share of the body's size, and never less than the least.
OFF_SURFACE = 0.005
OFF_SURFACE_LEAST = 0.5
# A place is still on what trimming left when it is this near, mm.
STILL_ON = 1e-3

Point = tuple[float, float, float] | FloatArray


def default_bridge(scale: float) -> float:
    """Widest detail to carry a region over when the job does not say.

    Parameters
    ----------
    scale : float
        Prototype over model: 76.2 for 4 mm to the foot.

    Returns
    -------
    float
        mm on the model: 120 mm of the prototype (common practice, no source), but at
        least 0.6 mm, below which no film shows what lies under it.
    """
    return max(0.6, BRIDGE_PROTOTYPE / scale)


def grow_region(
    body: Body,
    name: str,
    at: Point,
    crease: float = CREASE,
    within: Mapping[str, tuple[float, float]] | None = None,
    outside: BoolArray | None = None,
    bridge: float = 0.0,
    *,
    also: Sequence[Point] = (),
    less: Sequence[Point] = (),
    trims: Sequence[Trim] = (),
    tolerance: float | None = None,
) -> Region:
    """Grow a region from a point, across every edge gentler than `crease`.

    Parameters
    ----------
    body : Body
        The shell.
    name : str
        The region's name in the job, for messages.
    at : (3,) floats
        A point on the outside, mm; it may be slightly off the surface.
    crease : float
        Degrees between the normals of two faces from which on an edge ends the region.
    within : mapping of "x", "y", "z" to (low, high), optional
        Limits, mm. Triangles are cut where a limit passes through them.
    outside : (m,) bool, optional
        Faces that can be seen from outside; found by rays when not given.
    bridge : float
        Carry the region over details up to this width, mm.
    also : sequence of (3,) floats
        Places that the region is grown from as well, mm: what grows there is added and
        must meet the rest, at an edge or where one shell runs into another.
    less : sequence of (3,) floats
        Places whose smooth part is left out, mm, such as one that bridging took in.
    trims : sequence of Trim
        Polygons on views to trim by, one after another.
    tolerance : float, optional
        How far off the outside the point may be, mm.

    Returns
    -------
    Region
        The part that holds the point. Naming is by place: the same body with other
        triangles gives the same region.

    Raises
    ------
    BadInput
        If a point misses the body or lies outside the limits, if what is added does not
        meet the rest, or if nothing is left.
    """
    limits = _checked_limits(name, within)
    mask = outside_mask(body, outside)
    if not mask.any():
        raise BadInput(f"region '{name}': the body has no face that can be seen from outside.")
    if not 0.0 < crease < 180.0:
        raise BadInput(f"region '{name}': crease is {crease:g}; give an angle above 0 and below 180 degrees.")
    allowed = (
        tolerance if tolerance is not None else max(OFF_SURFACE_LEAST, OFF_SURFACE * float(body.size.max()))
    )
    find = _Finder(name, body, mask, crease, allowed)
    places = [find(at, "at"), *(find(point, "also") for point in also)]
    shown = [place for _, place in places]
    for axis, (low, high) in limits.items():
        for place in shown:
            value = place["xyz".index(axis)]
            if not low <= value <= high:
                raise BadInput(
                    f"region '{name}': within.{axis} = [{low:g}, {high:g}] leaves out its own point at "
                    f"{axis} = {value:.2f} mm; widen the limit or move the point."
                )
    smooth = smooth_parts(body, mask, crease)
    seeds = np.array([_sheet_under(smooth, face, place, bridge) for face, place in places], dtype=np.int64)
    shut = np.isin(smooth.part, [smooth.part[find(point, "less")[0]] for point in less])
    for seed, place in zip(seeds, shown, strict=True):
        if shut[seed]:
            raise BadInput(
                f"region '{name}': less takes away the surface of its own point {_point_text(place)}; "
                "name a place beyond an edge, or use trim to take away a part of a surface."
            )
    ground = find_ground(smooth, seeds, bridge, shut)
    chosen = np.flatnonzero(ground.base | (ground.detail >= 0))
    vertices, faces, parent = trim_within(body.vertices, body.faces[chosen], limits)
    for number, trim in enumerate(trims, 1):
        _check_polygon(name, number, trim)
        vertices, faces, kept = trim_faces(vertices, faces, trim)
        parent = parent[kept]
        _check_still_on(name, number, vertices, faces, shown)
    vertices, faces, seen = cut_hidden(body, vertices, faces, chosen[parent], bridge)
    parent = parent[seen]
    if not len(faces):
        raise BadInput(f"region '{name}': within leaves nothing of it; widen the limits or move the point.")
    if len(shown) > 1:
        named = _parts_with(vertices, faces, shown)
        vertices, faces, sewn = sew(vertices, faces[named])
        parent = parent[named][sewn]
    detail = ground.detail[chosen[parent]]
    vertices, faces, split, strips, spanned = span_gaps(body, vertices, faces, detail < 0, bridge)
    parent, detail = parent[split], detail[split]
    faces, parent = np.concatenate([faces, strips]), np.concatenate([parent, _beside(faces, parent, strips)])
    detail = np.concatenate([detail, np.full(len(strips), -1)])
    kept = _part_with(name, vertices, faces, shown)
    vertices, faces, _ = compact(vertices, faces[kept])
    source, detail = chosen[parent[kept]], detail[kept]
    detail[detail >= 0] = np.unique(detail[detail >= 0], return_inverse=True)[1]
    return Region(name=name, vertices=vertices, faces=faces, body_face=source, detail=detail, spanned=spanned)


class _Finder:
    """Finds the face, and the place on it, that a point of the job means."""

    def __init__(self, name: str, body: Body, mask: BoolArray, crease: float, allowed: float) -> None:
        self.name, self.body, self.mask, self.crease, self.allowed = name, body, mask, crease, allowed
        self.visible = np.flatnonzero(mask)
        self.corners = body.corners[self.visible]

    def __call__(self, at: Point, key: str) -> tuple[int, FloatArray]:
        point = _checked_point(self.name, at, key)
        index, place, distance = nearest_on_faces(self.corners, point)
        if distance > self.allowed:
            raise BadInput(
                f"region '{self.name}': {key} = {_point_text(point)} is not on the body; "
                f"{_nearest_text(self.body, self.mask, self.crease, point)}; "
                "give a point on the surface that is meant."
            )
        return int(self.visible[index]), place


def _check_polygon(name: str, number: int, trim: Trim) -> None:
    corners = np.asarray(trim.corners, dtype=np.float64)
    good = corners.ndim == 2 and corners.shape[1] == 2 and len(corners) >= 3 and np.isfinite(corners).all()
    if not good or not shapely.Polygon(corners).is_valid:
        raise BadInput(
            f"region '{name}': the polygon of trim {number} crosses itself or has no area; "
            "give its corners in order, each once."
        )


def _check_still_on(
    name: str, number: int, vertices: FloatArray, faces: IntArray, places: Sequence[FloatArray]
) -> None:
    for place in places:
        if not len(faces) or nearest_on_faces(vertices[faces], place)[2] > STILL_ON:
            raise BadInput(
                f"region '{name}': trim {number} takes away its own point {_point_text(place)}; "
                "draw the polygon otherwise or move the point."
            )


def _sheet_under(smooth: Smooth, face: int, place: FloatArray, bridge: float) -> int:
    """The face to grow from: a point on a rivet means the sheet that the rivet stands on."""
    part = smooth.part
    if bridge <= 0 or smooth.areas[part == part[face]].sum() >= bridge * bridge:
        return face
    corners = smooth.vertices[smooth.faces]
    near = ((corners.min(axis=1) <= place + bridge) & (corners.max(axis=1) >= place - bridge)).all(axis=1)
    near = np.flatnonzero(near & (part >= 0))
    closest = closest_points(corners[near], np.broadcast_to(place, (len(near), 3)))
    distance = np.linalg.norm(closest - place, axis=1)
    near, distance = near[distance <= bridge], distance[distance <= bridge]
    area = np.bincount(part[part >= 0], weights=smooth.areas[part >= 0])
    broad = area[part[near]] >= bridge * bridge
    if not broad.any():
        return face
    return int(near[broad][distance[broad].argmin()])


def _beside(faces: IntArray, parent: IntArray, strips: IntArray) -> IntArray:
    """What strips between faces are parts of: of a face that has a corner in common."""
    of_vertex = np.zeros(int(max(faces.max(initial=0), strips.max(initial=0))) + 1, dtype=np.int64)
    of_vertex[faces] = parent[:, None]
    return of_vertex[strips[:, 0]]


def _parts_with(vertices: FloatArray, faces: IntArray, places: Sequence[FloatArray]) -> IntArray:
    """Faces of the connected parts that hold a place each."""
    table = edge_table(faces)
    part = label_parts(table, np.ones(len(table.ends), dtype=bool))
    return np.flatnonzero(
        np.isin(part, [part[nearest_on_faces(vertices[faces], place)[0]] for place in places])
    )


def _part_with(name: str, vertices: FloatArray, faces: IntArray, places: Sequence[FloatArray]) -> IntArray:
    """Faces of the connected part that holds all places."""
    table = edge_table(faces)
    part = label_parts(table, np.ones(len(table.ends), dtype=bool))
    held = [int(part[nearest_on_faces(vertices[faces], place)[0]]) for place in places]
    for place, number in zip(places[1:], held[1:], strict=True):
        if number != held[0]:
            raise BadInput(
                f"region '{name}': what grows from also = {_point_text(place)} does not meet what grows from "
                f"at within {TOUCHING:g} mm; name a place between them too, or mark a region of its own."
            )
    return np.flatnonzero(part == held[0])


def _checked_point(name: str, at: Point, key: str) -> FloatArray:
    point = np.asarray(at, dtype=np.float64)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise BadInput(f"region '{name}': {key} must be three numbers in mm, [x, y, z].")
    return point


def _checked_limits(
    name: str, within: Mapping[str, tuple[float, float]] | None
) -> dict[str, tuple[float, float]]:
    limits = {}
    for axis, pair in (within or {}).items():
        if axis not in ("x", "y", "z"):
            raise BadInput(f"region '{name}': within.{axis} is not known; limits go by x, y and z.")
        low, high = float(pair[0]), float(pair[1])
        if not low < high:
            raise BadInput(
                f"region '{name}': within.{axis} = [{low:g}, {high:g}] is empty; give the lower limit first."
            )
        limits[axis] = (low, high)
    return limits


def _point_text(point: FloatArray) -> str:
    return "[" + ", ".join(f"{value:.2f}" for value in point) + "]"


def _nearest_text(body: Body, mask: BoolArray, crease: float, point: FloatArray) -> str:
    surfaces = find_surfaces(body, mask, crease=crease)
    surface, at, distance = nearest_surface(body, surfaces, point)
    return f"the nearest surface is {_surface_text(surface)}, {distance:.2f} mm away at {_point_text(at)}"


def _surface_text(surface: Surface) -> str:
    return f"{surface.letter} ({surface.kind}, {surface.area:.0f} mm²)"
