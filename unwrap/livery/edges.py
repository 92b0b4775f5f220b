"""Which part of a region's edge is meant: top, bottom, front, rear, left, right, an opening."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.errors import BadInput
from unwrap.livery.ground import Ground
from unwrap.livery.loops import boundary_loops

NAMES = ("top", "bottom", "front", "rear", "left", "right")
DIRECTIONS = np.array([[0, 0, 1], [0, 0, -1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]], dtype=float)
# The edge turns a corner where its direction changes by more than this, radians.
CORNER = np.radians(30.0)

Edge = tuple[int, int]


def choose_edges(ground: Ground, edges: str | Sequence[str] = "all") -> list[Edge]:
    """Edges of the ground by name.

    Parameters
    ----------
    ground : Ground
    edges : str or sequence of str
        "all" (the outer edge), "openings", or any of top, bottom, front, rear, left,
        right: the parts of the outer edge, from corner to corner, that face that way.

    Returns
    -------
    list of (int, int)
        (start, end) vertices, ground on the left.

    Raises
    ------
    BadInput
        If a name is unknown or the region has no such edge.
    """
    wanted = [edges] if isinstance(edges, str) else list(edges)
    outer, openings = outer_and_openings(ground)
    named: dict[str, list[Edge]] = {"openings": [edge for loop in openings for edge in sides_of_loop(loop)]}
    named["all"] = [edge for loop in outer for edge in sides_of_loop(loop)]
    if not set(wanted) <= {"all", "openings"}:
        for name, run in name_runs(ground, outer):
            named.setdefault(name, []).extend(run)
    picked: list[Edge] = []
    for name in wanted:
        if name not in (*NAMES, "all", "openings"):
            raise BadInput(
                f'lining of region "{ground.name}": there is no edge called "{name}"; '
                f"use openings, {', '.join(NAMES)}, or leave edges out for its whole outer edge"
            )
        if not named.get(name):
            have = [n for n in ("openings", *NAMES) if named.get(n)]
            what = "openings" if name == "openings" else f"{name} edge"
            raise BadInput(
                f'lining of region "{ground.name}": the region has no {what}; '
                + (f"it has {', '.join(have)}" if have else "leave edges out for its whole outer edge")
            )
        picked += [edge for edge in named[name] if edge not in picked]
    return picked


def outer_and_openings(ground: Ground) -> tuple[list[IntArray], list[IntArray]]:
    """Edge loops of the ground: those of the region's outside, and those of its openings.

    A loop is an opening where its piece has it as a hole: where it shares no vertex
    with the outer edge of any patch.
    """
    outside: set[int] = set()
    for number, carry in enumerate(ground.carries):
        flat_place = np.zeros((len(carry.patch.vertices), 2))
        known = carry.flat.vertex >= 0
        flat_place[carry.flat.vertex[known]] = carry.flat.points[known]
        loops = boundary_loops(carry.patch.faces)
        longest = max(
            loops, key=lambda loop: shapely.minimum_bounding_radius(shapely.LineString(flat_place[loop]))
        )
        outside.update(ground.number[longest + ground.shift[number]].tolist())
    outer = [loop for loop in ground.loops if outside.intersection(loop.tolist())]
    openings = [loop for loop in ground.loops if not outside.intersection(loop.tolist())]
    return outer, openings


def name_runs(ground: Ground, loops: Sequence[IntArray]) -> list[tuple[str, list[Edge]]]:
    """Runs of the edge from corner to corner, each with the name of the side it is on.

    A run is named by the way out of the region square to it. The axis that the region
    itself faces is of no use for that (the front edge of a side that is rounded to the
    front looks sideways): there the run's place decides.
    """
    out = []
    mean_normal = (ground.normals * _areas(ground)[:, None]).sum(axis=0) / _areas(ground).sum()
    faces_axis = int(np.argmax(np.abs(mean_normal))) if np.linalg.norm(mean_normal) > 0.6 else -1
    middle = 0.5 * (ground.vertices.min(axis=0) + ground.vertices.max(axis=0))
    size = np.maximum(np.ptp(ground.vertices, axis=0), 1e-9)
    for loop in loops:
        for run in split_at_corners(ground, loop):
            start, end = np.array(run).T
            way = ground.vertices[end] - ground.vertices[start]
            face = np.array([ground.free[edge][0] for edge in run])
            outward = np.cross(way, ground.normals[face]).sum(axis=0)
            outward = outward / max(np.linalg.norm(outward), 1e-12)
            if faces_axis >= 0 and int(np.argmax(np.abs(outward))) == faces_axis:
                length = np.linalg.norm(way, axis=1)
                at = 0.5 * (ground.vertices[start] + ground.vertices[end])
                outward = (np.average(at, axis=0, weights=length) - middle) / size
            if faces_axis >= 0:
                outward = outward.copy()
                outward[faces_axis] = 0.0
            out.append((NAMES[int(np.argmax(DIRECTIONS @ outward))], run))
    return out


def split_at_corners(ground: Ground, loop: IntArray) -> list[list[Edge]]:
    """Runs of edges between corners; one run for a loop without corners that faces one way."""
    sides = sides_of_loop(loop)
    turn = np.abs(np.pi - ground.angle_sum[loop])
    corners = np.flatnonzero(turn > CORNER)
    if len(corners) == 0:
        return _split_by_direction(ground, sides)
    runs = []
    for a, b in zip(corners, np.append(corners[1:], corners[0] + len(loop)), strict=True):
        runs.append([sides[i % len(sides)] for i in range(a, b)])
    return runs


def _split_by_direction(ground: Ground, sides: list[Edge]) -> list[list[Edge]]:
    """A round outline: parted where the nearest name changes; a ring round a barrel stays whole."""
    start, end = np.array(sides).T
    way = ground.vertices[end] - ground.vertices[start]
    face = np.array([ground.free[edge][0] for edge in sides])
    outward = np.cross(way, ground.normals[face])
    whole = outward.sum(axis=0)
    if np.linalg.norm(whole) > 0.5 * np.linalg.norm(outward, axis=1).sum():
        return [sides]
    name = np.argmax(outward @ DIRECTIONS.T, axis=1)
    change = np.flatnonzero(name != np.roll(name, 1))
    if len(change) == 0:
        return [sides]
    return [
        [sides[i % len(sides)] for i in range(a, b)]
        for a, b in zip(change, np.append(change[1:], change[0] + len(sides)), strict=True)
    ]


def sides_of_loop(loop: IntArray) -> list[Edge]:
    """The edges of a loop of vertices, in turn."""
    return list(zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))


def _areas(ground: Ground) -> FloatArray:
    a, b, c = np.moveaxis(ground.corners, 1, 0)
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
