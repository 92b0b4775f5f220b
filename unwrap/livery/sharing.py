"""Regions side by side made to share the corners of their common edge.

Two regions that meet on the body need not have the same vertices along the edge: a limit
splits the faces on either side where each of them happens to cross it, and files round.
Lines can only run on from one into the other, and joints only be found, where they do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.loops import boundary_loops
from unwrap.regions.region import Patch

# Edges no further apart than this (mm) are one edge: a tenth of what can be cut by hand.
NEAR = 0.03
# A new corner this near to one that is there (mm) is not worth a face.
LEAST = 1e-6
# Edges that meet run against each other, but for this angle (radians); one that leaves more
# steeply only starts or ends here.
BESIDE = np.radians(60.0)

Laid = tuple[Patch, FlatPiece]


def share_edges(pieces: Sequence[Laid], tolerance: float = NEAR) -> list[Laid]:
    """Give regions that meet the same corners at the same places along their common edge.

    Parameters
    ----------
    pieces : sequence of (Patch, FlatPiece)
        All regions of a body, each laid flat.
    tolerance : float
        How far apart edges that are meant to meet may be, mm.

    Returns
    -------
    list of (Patch, FlatPiece)
        The same surfaces and flat shapes. Corners of an edge move by no more than the
        tolerance on the body and not at all on the sheet; faces along it are split where
        another region has a corner.
    """
    out = list(pieces)
    for i in range(len(out)):
        for j in range(i):
            if _boxes_meet(out[i][0], out[j][0], tolerance):
                out[i] = _moved_onto(out[i], out[j][0], tolerance)
                out[i] = _split(out[i], out[j][0], tolerance)
                out[j] = _split(out[j], out[i][0], tolerance)
    return out


def _boxes_meet(first: Patch, second: Patch, tolerance: float) -> bool:
    a, b = first.vertices, second.vertices
    return bool(
        np.all(a.min(axis=0) <= b.max(axis=0) + tolerance)
        and np.all(b.min(axis=0) <= a.max(axis=0) + tolerance)
    )


def _rim(patch: Patch) -> IntArray:
    return np.unique(np.concatenate(boundary_loops(patch.faces)))


def _rim_and_ways(patch: Patch) -> tuple[IntArray, FloatArray, FloatArray]:
    """(n,) vertices of a patch's edge, (n, 3) places, and (n, 2, 3) unit ways along it before and after."""
    loops = boundary_loops(patch.faces)
    ways = []
    for loop in loops:
        step = np.roll(patch.vertices[loop], -1, axis=0) - patch.vertices[loop]
        step = step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-300)
        ways.append(np.stack([np.roll(step, 1, axis=0), step], axis=1))
    rim = np.concatenate(loops)
    return rim, patch.vertices[rim], np.concatenate(ways)


def _moved_onto(piece: Laid, other: Patch, tolerance: float) -> Laid:
    """Corners of the edge moved to the nearest corner of another patch's edge where that runs along it."""
    patch, flat = piece
    mine, places, ways = _rim_and_ways(patch)
    _, theirs, their_ways = _rim_and_ways(other)
    away, nearest = np.full(len(mine), np.inf), np.zeros(len(mine), dtype=np.int64)
    tree = cKDTree(theirs)
    for k, place in enumerate(places):
        near = tree.query_ball_point(place, tolerance)
        if near:
            off = np.linalg.norm(theirs[near] - place, axis=1)
            against = (ways[k] @ their_ways[near].transpose(0, 2, 1)).min(axis=(1, 2)) < -np.cos(BESIDE)
            # One that only starts or ends here comes after all that run along.
            best = int(np.argmin(np.where(against, off, off + tolerance)))
            away[k], nearest[k] = off[best], near[best]
    order = np.argsort(away, kind="stable")
    order = order[np.isfinite(away[order])]
    # Of several that are near to one corner the nearest moves; two edges of a joint are at one place.
    place = patch.vertices.copy()
    taken: dict[int, FloatArray] = {}
    for k in order:
        target = int(nearest[k])
        known = taken.setdefault(target, patch.vertices[mine[k]])
        if np.array_equal(known, patch.vertices[mine[k]]):
            place[mine[k]] = theirs[target]
    if np.array_equal(place, patch.vertices):
        return piece
    known_vertex = flat.vertex >= 0
    surface = flat.surface.copy()
    surface[known_vertex] = place[flat.vertex[known_vertex]]
    return replace(patch, vertices=place), replace(flat, surface=surface)


def _split(piece: Laid, other: Patch, tolerance: float) -> Laid:
    """Faces split where a corner of another patch lies on their free edge."""
    patch, flat = piece
    _, theirs, ways = _rim_and_ways(other)
    mine = set(map(tuple, patch.vertices[_rim(patch)].tolist()))
    fresh = [tuple(place) not in mine for place in theirs.tolist()]
    theirs, ways = theirs[fresh], ways[fresh]
    on_joint = {
        frozenset(pair)
        for joint in patch.joints
        for run in (joint.first, joint.second)
        for pair in zip(run[:-1].tolist(), run[1:].tolist(), strict=True)
    }
    parts = np.bincount(flat.face, minlength=len(patch.faces))
    if not len(theirs):
        return piece
    tree = cKDTree(theirs)
    todo: dict[tuple[int, int], FloatArray] = {}
    for loop in boundary_loops(patch.faces):
        for a, b in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True):
            start, way = patch.vertices[a], patch.vertices[b] - patch.vertices[a]
            size = float(np.linalg.norm(way))
            near = tree.query_ball_point(start + 0.5 * way, 0.5 * size + tolerance)
            if not near or size < 2 * LEAST or frozenset((a, b)) in on_joint:
                continue
            places = theirs[near]
            share = (places - start) @ way / size**2
            off = np.linalg.norm(start + share[:, None] * way - places, axis=1)
            good = (off < tolerance) & (share * size > LEAST) & ((1 - share) * size > LEAST)
            good &= (ways[near] @ way).min(axis=1) < -np.cos(BESIDE) * size
            if good.any():
                order = np.argsort(share[good])
                todo[a, b] = np.column_stack([share[good][order], places[good][order]])
    return _with_corners(patch, flat, parts, todo) if todo else piece


def _with_corners(
    patch: Patch, flat: FlatPiece, parts: IntArray, todo: dict[tuple[int, int], FloatArray]
) -> Laid:
    """A patch and its flat piece with new corners, (share, x, y, z) each, on free edges.

    A face that a cut has parted, or that has another edge to split, is left as it is.
    """
    faces = patch.faces.tolist()
    row_of = {face: row for row, face in enumerate(flat.face.tolist())}
    flat_faces = flat.faces.tolist()
    edge_of = {
        (face[k], face[(k + 1) % 3]): (number, k) for number, face in enumerate(faces) for k in range(3)
    }
    vertices, points = [patch.vertices], [flat.points]
    surface, vertex = [flat.surface], [flat.vertex]
    more_faces: list[list[int]] = []
    more_flat: list[list[int]] = []
    source: list[int] = []
    count, flat_count = len(patch.vertices), len(flat.points)
    done: set[int] = set()
    for (a, b), found in todo.items():
        face, k = edge_of[a, b]
        if face in done or parts[face] != 1:
            continue
        row = row_of[face]
        corners = flat_faces[row]
        at = [i for i in range(3) if flat.vertex[corners[i]] == a]
        if not at or flat.vertex[corners[(at[0] + 1) % 3]] != b:
            continue
        done.add(face)
        p, q, tip = (corners[(at[0] + i) % 3] for i in range(3))
        new = np.arange(len(found))
        run = [a, *(count + new).tolist(), b]
        flat_run = [p, *(flat_count + new).tolist(), q]
        vertices.append(found[:, 1:])
        surface.append(found[:, 1:])
        points.append(flat.points[p] + found[:, :1] * (flat.points[q] - flat.points[p]))
        vertex.append(count + new)
        apex = faces[face][(k + 2) % 3]
        faces[face] = [run[0], run[1], apex]
        flat_faces[row] = [flat_run[0], flat_run[1], tip]
        for i in range(1, len(run) - 1):
            more_faces.append([run[i], run[i + 1], apex])
            more_flat.append([flat_run[i], flat_run[i + 1], tip])
            source.append(row)
        count, flat_count = count + len(new), flat_count + len(new)
    if not more_faces:
        return patch, flat
    added = len(faces) + np.arange(len(more_faces))
    return (
        replace(patch, vertices=np.concatenate(vertices), faces=np.array(faces + more_faces)),
        replace(
            flat,
            points=np.concatenate(points),
            faces=np.array(flat_faces + more_flat),
            vertex=np.concatenate(vertex),
            surface=np.concatenate(surface),
            face=np.concatenate([flat.face, added]),
            stretch=np.concatenate([flat.stretch, flat.stretch[source]]),
        ),
    )
