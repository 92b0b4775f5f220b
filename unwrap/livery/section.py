"""Where a plane cuts the ground, and the strips square to that curve over the surface."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.beams import Beams, follow, meet
from unwrap.livery.ground import Ground

# A station is moved by this much (mm) where the plane would pass through a vertex.
NUDGE = 2e-7
# Where a section ends on a slanting edge of the ground its strips lean on to that edge, radians.
AT_EDGE = np.radians(75.0)


def section_strips(ground: Ground, axis: int, station: float, depth: float) -> tuple[Beams, Beams]:
    """Strips square over the surface to the curve in which a plane cuts the ground.

    Parameters
    ----------
    ground : Ground
    axis : int
        0, 1, 2 for a plane square to x, y, z.
    station : float
        Where it cuts that axis, mm.
    depth : float
        mm.

    Returns
    -------
    ahead, astern : Beams
        Strips that go to higher and to lower coordinates.
    """
    x = ground.vertices[:, axis]
    while np.any(np.abs(x - station) < NUDGE):
        station += 2.5 * NUDGE
    ahead = x > station
    count = ahead[ground.faces].sum(axis=1)
    face = np.flatnonzero((count > 0) & (count < 3))
    # The lone corner, the one that has its side of the plane to itself.
    is_ahead = ahead[ground.faces[face]]
    lone = np.argmax(is_ahead == (count[face] == 1)[:, None], axis=1)
    row = np.arange(len(face))
    flat = ground.local[face]
    value = x[ground.faces[face]] - station
    apex, after, before = flat[row, lone], flat[row, (lone + 1) % 3], flat[row, (lone + 2) % 3]
    v, va, vb = value[row, lone], value[row, (lone + 1) % 3], value[row, (lone + 2) % 3]
    leave = apex + (v / (v - va))[:, None] * (after - apex)
    enter = apex + (v / (v - vb))[:, None] * (before - apex)
    # Going from `leave` (on the edge after the lone corner) to `enter`, the lone corner is on the left.
    lone_ahead = count[face] == 1
    start = np.where(lone_ahead[:, None], leave, enter)
    end = np.where(lone_ahead[:, None], enter, leave)
    start_edge = np.where(lone_ahead, lone, (lone + 2) % 3)
    end_edge = np.where(lone_ahead, (lone + 2) % 3, lone)
    at_start, at_end = _leans(ground, x, face, start, end, start_edge, end_edge)
    forwards = _from_segments(ground, face, start, end, _outward(at_start), _outward(at_end))
    backwards = _from_segments(ground, face, end, start, _outward(-at_end), _outward(-at_start))
    return follow(ground, forwards, depth), follow(ground, backwards, depth)


def _outward(lean: FloatArray) -> FloatArray:
    """Lean of a strip's end: outwards where its side is the wider, far out where the ground ends."""
    return np.where(np.isnan(lean), AT_EDGE, np.maximum(lean, 0.0))


def _leans(
    ground: Ground,
    value: FloatArray,
    face: IntArray,
    start: FloatArray,
    end: FloatArray,
    start_edge: IntArray,
    end_edge: IntArray,
) -> tuple[FloatArray, FloatArray]:
    """Half the section's turn from face to face, above 0 where its far side is wider; NaN at an edge."""
    flat = ground.local[face]
    row = np.arange(len(face))
    along = (end - start) / np.maximum(np.linalg.norm(end - start, axis=1, keepdims=True), 1e-300)
    x = value[ground.faces[face]]
    angle: dict[tuple[int, int], float] = {}
    keys = []
    for edge, way in ((start_edge, along), (end_edge, -along)):
        a, b = (edge + 0) % 3, (edge + 1) % 3
        forward = x[row, b] > x[row, a]
        line = np.where(forward[:, None], flat[row, b] - flat[row, a], flat[row, a] - flat[row, b])
        between = np.arctan2(
            np.abs(line[:, 0] * way[:, 1] - line[:, 1] * way[:, 0]), (line * way).sum(axis=1)
        )
        pairs = np.sort(np.stack([ground.faces[face][row, a], ground.faces[face][row, b]], axis=1), axis=1)
        key = [(int(p), int(q)) for p, q in pairs]
        keys.append((key, between))
        for name, size in zip(key, between.tolist(), strict=True):
            angle[name] = angle.get(name, 0.0) + size
    shared: dict[tuple[int, int], int] = {}
    for key, _ in keys:
        for name in key:
            shared[name] = shared.get(name, 0) + 1
    lean = [
        np.array([0.5 * (angle[name] - np.pi) if shared[name] == 2 else np.nan for name in key])
        for key, _ in keys
    ]
    return lean[0], lean[1]


def _from_segments(
    ground: Ground,
    face: IntArray,
    start: FloatArray,
    end: FloatArray,
    lean_start: FloatArray,
    lean_end: FloatArray,
) -> Beams:
    """Strips to the left of segments inside faces."""
    way = end - start
    length = np.linalg.norm(way, axis=1)
    keep = np.flatnonzero(length > 1e-9)
    face, start, way, length = face[keep], start[keep], way[keep], length[keep]
    lean_start, lean_end = lean_start[keep], lean_end[keep]
    along = way / length[:, None]
    axes = np.stack([along, np.stack([-along[:, 1], along[:, 0]], axis=1)], axis=1)
    corners = np.einsum("nij,ncj->nci", axes, ground.local[face] - start[:, None])
    zero = np.zeros(len(face))
    left = np.column_stack([np.cos(lean_start), np.sin(lean_start), zero])
    right = np.column_stack([-np.cos(lean_end), np.sin(lean_end), length * np.cos(lean_end)])
    return Beams(np.arange(len(face)), face, corners, np.full(len(face), -1), left, right, meet(left, right))
