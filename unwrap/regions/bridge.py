"""Carry a region over its details: take them off and close the ground underneath."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.regions.edges import (
    boundary_loops,
    edge_angles,
    edge_table,
    face_normals,
    steady_normals,
)
from unwrap.regions.fill import fill_gap
from unwrap.regions.foot import Mouths, Rim, lowered
from unwrap.regions.heads import Heads, simple_heads

# A facet's edge is one from this angle on (radians); below, two faces are one plane.
FACET_EDGE = np.radians(0.1)


@dataclass(frozen=True, eq=False)
class Carried:
    """One detail that was taken off.

    Parameters
    ----------
    faces : (k,) int64
        Its faces, as numbered in the region.
    loops : list of (j,) int64
        Edges of its footprint, into the bridged vertices.
    fill : (f, 3) int64
        The triangles that close the ground under it.
    outer : bool
        Whether it runs along the region's own edge.
    height : float
        How far it stands above the ground (negative: how deep it goes), mm.
    middle : (3,) float64
        The middle of its footprint, mm.
    frame : (3, 3) float64
        Unit directions there: along its longest way, across that, and up from the ground.
    """

    faces: IntArray
    loops: list[IntArray]
    fill: IntArray
    outer: bool
    height: float
    middle: FloatArray
    frame: FloatArray


def take_off_details(
    vertices: FloatArray, faces: IntArray, detail: IntArray, bridge: float
) -> tuple[FloatArray, IntArray, list[Carried]]:
    """Replace details by the smooth ground under them.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        The region with its details on it.
    detail : (m,) int64
        Detail per face, -1 for the ground.
    bridge : float
        Widest detail, mm.

    Returns
    -------
    vertices : (n + k, 3) float64
        The old vertices and those that the ground's edge needed under details.
    faces : (m', 3) int64
        The ground, closed.
    carried : list of Carried
        What was taken off, in order of its number.
    """
    on_ground = detail < 0
    if on_ground.all():
        return vertices, faces, []
    table = edge_table(faces)
    normals = steady_normals(vertices, faces, table)
    areas = face_normals(vertices, faces)[1]
    standing = np.flatnonzero(~on_ground)
    loops = boundary_loops(faces[standing])
    rim = Rim(vertices, faces, on_ground, normals)
    stub_at, stub_way = facet_stubs(vertices, faces, loops, on_ground)
    owner = _owners(faces, detail, loops)
    mouths = Mouths(vertices, boundary_loops(faces[on_ground]))

    by_group: dict[int, list[IntArray]] = {}
    for number, loop in zip(owner, loops, strict=True):
        by_group.setdefault(number, []).append(loop)
    order = np.argsort(detail, kind="stable")
    first = np.searchsorted(detail[order], np.arange(int(detail.max()) + 2))
    extra: list[FloatArray] = []
    found: dict[int, Carried] = {}
    for heads in _simple_heads(vertices, faces, detail, by_group, rim):
        for k, number in enumerate(heads.number.tolist()):
            mine_faces = order[first[number] : first[number + 1]]
            found[number] = Carried(
                mine_faces,
                [heads.loop[k]],
                heads.fill[k],
                False,
                float(heads.height[k]),
                heads.middle[k],
                heads.frame[k],
            )
    for number in sorted(by_group.keys() - found.keys()):
        edges = rim.of(by_group[number])
        if edges is None:
            continue
        outer = False
        closed = []
        for loop, grounded in zip(by_group[number], edges.on_ground, strict=True):
            if grounded.all():
                closed.append(loop)
                continue
            if not grounded.any() and edges.size() <= 1.5 * bridge:
                continue  # the inner end of a bored hole
            mouth = mouths.around(loop, grounded, bridge)
            if mouth is not None:
                closed.append(mouth)
                continue
            run, fresh = lowered(vertices, loop, grounded, edges, mouths, len(vertices) + len(extra), bridge)
            extra += fresh
            if len(run) > 2:
                closed.append(run)
                placed = np.concatenate([vertices, np.array(extra).reshape(-1, 3)])[run]
                steps = np.linalg.norm(np.roll(vertices[loop], -1, axis=0) - vertices[loop], axis=1)
                around = np.linalg.norm(np.roll(placed, -1, axis=0) - placed, axis=1).sum()
                outer |= bool(steps[grounded].sum() < 0.75 * around)
        all_vertices = np.concatenate([vertices, np.array(extra)]) if extra else vertices
        mine = np.isin(stub_at, np.concatenate(closed)) if closed else np.zeros(len(stub_at), dtype=bool)
        fill = fill_gap(all_vertices, closed, (stub_at[mine], stub_way[mine]))
        # a detail covers the ground under it; what does not is no detail but a step at
        # the foot of something larger, and the region ends there
        mine_faces = order[first[number] : first[number + 1]]
        own = areas[mine_faces].sum()
        if edges.size() > 1.5 * bridge and face_normals(all_vertices, fill)[1].sum() > 1.2 * own:
            continue
        if closed:
            height = edges.height(vertices[faces[mine_faces]])
            middle, frame = _middle(all_vertices, closed, fill, edges.normal.mean(axis=0))
            found[number] = Carried(mine_faces, closed, fill, outer, height, middle, frame)
    carried = [found[number] for number in sorted(found)]
    all_vertices = np.concatenate([vertices, np.array(extra)]) if extra else vertices
    return all_vertices, np.concatenate([faces[on_ground], *(item.fill for item in carried)]), carried


def _simple_heads(
    vertices: FloatArray, faces: IntArray, detail: IntArray, by_group: dict[int, list[IntArray]], rim: Rim
) -> list[Heads]:
    """The details that can be taken off together, by the number of corners at the foot."""
    by_count: dict[int, list[int]] = {}
    for number, loops in by_group.items():
        if len(loops) == 1:
            by_count.setdefault(len(loops[0]), []).append(number)
    result = []
    for numbers in by_count.values():
        feet = np.array([by_group[number][0] for number in numbers], dtype=np.int64)
        whole = rim.along(feet)[0].all(axis=1)
        result.append(simple_heads(vertices, faces, detail, np.array(numbers)[whole], feet[whole])[0])
    return result


def _owners(faces: IntArray, detail: IntArray, loops: list[IntArray]) -> list[int]:
    """The detail that each loop bounds."""
    standing = np.flatnonzero(detail >= 0)
    size = np.int64(faces.max() + 1)
    key = (faces[standing] * size + np.roll(faces[standing], -1, axis=1)).ravel()
    order = np.argsort(key)
    wanted = np.array([loop[0] * size + loop[1] for loop in loops], dtype=np.int64)
    face = np.repeat(standing, 3)[order[np.searchsorted(key[order], wanted)]]
    return detail[face].tolist()


def facet_stubs(
    vertices: FloatArray, faces: IntArray, loops: list[IntArray], on_ground: BoolArray | None = None
) -> tuple[IntArray, FloatArray]:
    """Facet edges of the ground that end at a gap, with their directions into it.

    Parameters
    ----------
    vertices, faces : arrays
        The mesh, mm.
    loops : list of (k,) int64
        The gaps' edges.
    on_ground : (m,) bool, optional
        Faces of the ground; all of them by default.

    Returns
    -------
    at : (s,) int64
        Vertices on the gaps' edges.
    way : (s, 3) float64
        Unit directions.
    """
    table = edge_table(faces)
    angles = edge_angles(steady_normals(vertices, faces, table), table)
    inner = (table.pair[:, 0] >= 0) & np.isfinite(angles) & (angles > FACET_EDGE)
    if on_ground is not None:
        inner[inner] = on_ground[table.pair[inner]].all(axis=1)
    ends = table.ends[inner]
    on_loop = np.zeros(len(vertices), dtype=bool)
    for loop in loops:
        on_loop[loop] = True
    at = np.concatenate([ends[:, 0], ends[:, 1]])
    far = np.concatenate([ends[:, 1], ends[:, 0]])
    keep = on_loop[at]
    at, far = at[keep], far[keep]
    way = vertices[at] - vertices[far]
    return at, way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)


def _middle(
    vertices: FloatArray, loops: list[IntArray], fill: IntArray, up: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The middle of a footprint and the directions along it, across it and up from it."""
    points = vertices[np.concatenate(loops)]
    middle = points.mean(axis=0)
    if len(fill):
        corners = vertices[fill]
        weight = np.linalg.norm(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
        )
        if weight.sum() > 0:
            middle = np.average(corners.mean(axis=1), axis=0, weights=weight)
    offset = points - middle
    along = np.linalg.eigh(offset.T @ offset)[1][:, 2]
    up = up / max(float(np.linalg.norm(up)), 1e-9)
    along = along - up * (up @ along)
    length = float(np.linalg.norm(along))
    if length < 1e-6:
        return middle, np.eye(3)
    along /= length
    return middle, np.array([along, np.cross(up, along), up])
