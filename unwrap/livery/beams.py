"""Straight rays over the faces: beams that unroll the surface as they go.

A beam leaves a short source (part of an edge, or one point), crosses face after face
and is laid out in the plane of its source, where its rays stay straight: what the
plane shows along a ray is what a straight line over the surface meets. A beam that
meets a vertex goes on as two. In the plane of a source along y = 0, y is the distance
from the source, measured square to it over the surface.

References
----------
K. Polthier, M. Schmies, "Straightest geodesics on polyhedral surfaces", 1998 (straight
rays over faces); J. Mitchell, D. Mount, C. Papadimitriou, "The discrete geodesic
problem", SIAM J. Comput. 16(4), 1987 (windows that part at vertices).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.ground import Ground

# A beam that has been split below this width (mm) at an edge is dropped.
NARROWEST = 1e-9
# Faces visited before the search is given up: a body that is all noise.
MOST_VISITS = 3_000_000
# Places and rays less than this apart (mm) are one.
SAME_PLACE = 1e-8


@dataclass(frozen=True, eq=False)
class Beams:
    """Beams at the faces they stand on.

    Parameters
    ----------
    source : (b,) int64
        Which source each came from.
    face : (b,) int64
        The face that it crosses.
    corners : (b, 3, 2) float64
        That face laid out in the plane of the source, mm.
    came : (b,) int64
        The edge number that it came in by; -1 where it starts.
    left, right : (b, 3) float64
        Lines a x + b y + c >= 0 that bound it, seen in the direction of travel.
    focus : (b, 3) float64
        Homogeneous point that its rays come from; third component 0 for parallel rays.
    """

    source: IntArray
    face: IntArray
    corners: FloatArray
    came: IntArray
    left: FloatArray
    right: FloatArray
    focus: FloatArray

    def __len__(self) -> int:
        return len(self.face)

    def take(self, index: np.ndarray) -> Beams:
        """The beams at an index or mask."""
        return Beams(
            self.source[index],
            self.face[index],
            self.corners[index],
            self.came[index],
            self.left[index],
            self.right[index],
            self.focus[index],
        )


def join_beams(groups: list[Beams]) -> Beams:
    """Several groups of beams as one."""
    fields = zip(
        *((g.source, g.face, g.corners, g.came, g.left, g.right, g.focus) for g in groups), strict=True
    )
    return Beams(*(np.concatenate(field) for field in fields))


def rejoined(beams: Beams) -> Beams:
    """Visits with those made one again that vertices of flat ground had parted.

    Beams of one source that show a face at the same place and lie side by side cover it
    as one beam between their outer rays would.
    """
    middle = np.column_stack([beams.corners.mean(axis=1), np.ones(len(beams))])
    # From the right to the left within a face: the further the right ray from its middle, the sooner.
    from_right = np.einsum("bk,bk->b", beams.right, middle)
    beams = beams.take(np.lexsort((-from_right, beams.face, beams.source)))
    if len(beams) < 2:
        return beams
    same = (beams.source[1:] == beams.source[:-1]) & (beams.face[1:] == beams.face[:-1])
    same &= np.abs(beams.corners[1:] - beams.corners[:-1]).max(axis=(1, 2)) < SAME_PLACE
    same &= np.abs(beams.left[:-1] + beams.right[1:]).max(axis=1) < SAME_PLACE
    first = np.flatnonzero(np.append(True, ~same))
    last = np.append(first[1:], len(beams)) - 1
    return replace(beams.take(first), left=beams.left[last])


def follow(ground: Ground, start: Beams, depth: float, radial: bool = False) -> Beams:
    """Send beams over the ground until they are `depth` away from their source.

    Parameters
    ----------
    ground : Ground
    start : Beams
        At the faces where they start.
    depth : float
        How far to go, mm: in y, or from the origin when `radial`.
    radial : bool
        Whether the sources are points at the origin of their planes.

    Returns
    -------
    Beams
        Every visit of a beam to a face, the starts included.
    """
    visits = [start]
    count = len(start)
    now = start
    # A straight beam crosses about the root of all faces; between faces of no size one can go round for ever.
    for _ in range(200 + 8 * math.isqrt(len(ground.faces))):
        if not len(now) or count >= MOST_VISITS:
            break
        now = _crossed(ground, now, depth, radial)
        visits.append(now)
        count += len(now)
    return join_beams(visits)


def _crossed(ground: Ground, beams: Beams, depth: float, radial: bool) -> Beams:
    """What goes on through the edges of each beam's face."""
    other, other_edge = ground.across
    edge_of = np.tile(np.arange(3), len(beams))
    beam = np.repeat(np.arange(len(beams)), 3)
    open_ = (beams.came[beam] != edge_of) & (other[beams.face[beam], edge_of] >= 0)
    beam, k = beam[open_], edge_of[open_]
    b = beams.take(beam)
    row = np.arange(len(b))
    p, q = b.corners[row, k], b.corners[row, (k + 1) % 3]
    way = q - p
    low, high = _inside(p, way, b.left, *_inside(p, way, b.right))
    if not radial:
        front = np.broadcast_to(np.array([0.0, 1.0, NARROWEST]), b.left.shape)
        low, high = _inside(p, way, front, low, high)
    near, far = p + low[:, None] * way, p + high[:, None] * way
    # What counts is the width across the rays: an edge that lies along a ray lets nothing through.
    ray = _line(b.focus, near, far)
    width = far[:, 0] * ray[:, 0] + far[:, 1] * ray[:, 1] + ray[:, 2]
    if radial:
        reached = _distance_to_origin(near, far)
    else:
        reached = np.minimum(near[:, 1], far[:, 1])
    index = np.flatnonzero((high > low) & (width > NARROWEST) & (reached < depth))
    b, k = b.take(index), k[index]
    p, q, way, low, high = p[index], q[index], way[index], low[index], high[index]
    near, far = near[index], far[index]
    right = np.where((low <= 0.0)[:, None], _line(b.focus, p, far), b.right)
    left = np.where((high >= 1.0)[:, None], _line(b.focus, q, near), b.left)
    face, edge = other[b.face, k], other_edge[b.face, k]
    # A beam turns at a vertex once: where it comes to it, not at each further edge that ends there.
    new_p = (b.came < 0) | (k != (b.came + 1) % 3)
    new_q = (b.came < 0) | (k != (b.came + 2) % 3)
    at_p = np.where((low <= 0.0) & new_p, ground.excess[ground.faces[b.face, k]], 0.0)
    at_q = np.where((high >= 1.0) & new_q, ground.excess[ground.faces[b.face, (k + 1) % 3]], 0.0)
    moved = (at_p > 1e-12) | (at_q > 1e-12)
    focus = b.focus
    if moved.any():
        right = _turned(right, p, -0.5 * at_p)
        left = _turned(left, q, 0.5 * at_q)
        focus = np.where(moved[:, None], meet(left, right), focus)
    corners = np.empty_like(b.corners)
    flat = ground.local[face]
    row = np.arange(len(face))
    base = flat[row, (edge + 1) % 3] - flat[row, edge]
    tip = flat[row, (edge + 2) % 3] - flat[row, edge]
    size = np.maximum((base**2).sum(axis=1), 1e-300)
    u = (tip * base).sum(axis=1) / size
    v = (base[:, 0] * tip[:, 1] - base[:, 1] * tip[:, 0]) / size
    side = np.stack([way[:, 1], -way[:, 0]], axis=1)
    corners[row, edge] = q
    corners[row, (edge + 1) % 3] = p
    corners[row, (edge + 2) % 3] = q - u[:, None] * way + v[:, None] * side
    return Beams(b.source, face, corners, edge, left, right, focus)


def _inside(
    p: FloatArray,
    way: FloatArray,
    line: FloatArray,
    low: FloatArray | float = 0.0,
    high: FloatArray | float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """The share of each segment p + t way that is on the kept side of its line."""
    at = p[:, 0] * line[:, 0] + p[:, 1] * line[:, 1] + line[:, 2]
    slope = way[:, 0] * line[:, 0] + way[:, 1] * line[:, 1]
    flat = np.abs(slope) < 1e-300
    cut = np.divide(-at, slope, out=np.zeros_like(at), where=~flat)
    # A line through a corner must leave exactly 0 or 1, or a beam splits there twice.
    cut = np.where(np.abs(cut) < 1e-12, 0.0, np.where(np.abs(cut - 1.0) < 1e-12, 1.0, cut))
    low = np.where(~flat & (slope > 0), np.maximum(low, cut), low)
    high = np.where(~flat & (slope < 0), np.minimum(high, cut), high)
    high = np.where(flat & (at < 0), low, high)
    return low, high


def _line(focus: FloatArray, through: FloatArray, inside: FloatArray) -> FloatArray:
    """The ray's line through a focus and a point, positive where `inside` is."""
    point = np.column_stack([through, np.ones(len(through))])
    line = meet(focus, point)
    line = line / np.maximum(np.hypot(line[:, 0], line[:, 1]), 1e-300)[:, None]
    side = inside[:, 0] * line[:, 0] + inside[:, 1] * line[:, 1] + line[:, 2]
    return np.where((side < 0)[:, None], -line, line)


def meet(a: FloatArray, b: FloatArray) -> FloatArray:
    """Where two lines meet, or the line through two points, in homogeneous form: a x b row by row."""
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )


def _turned(line: FloatArray, about: FloatArray, angle: FloatArray) -> FloatArray:
    """Lines turned about points on them, anticlockwise."""
    c, s = np.cos(angle), np.sin(angle)
    a = c * line[:, 0] - s * line[:, 1]
    b = s * line[:, 0] + c * line[:, 1]
    turned = np.column_stack([a, b, -(a * about[:, 0] + b * about[:, 1])])
    return np.where((angle != 0.0)[:, None], turned, line)


def _distance_to_origin(p: FloatArray, q: FloatArray) -> FloatArray:
    way = q - p
    size = np.maximum((way**2).sum(axis=1), 1e-300)
    share = np.clip(-(p * way).sum(axis=1) / size, 0.0, 1.0)
    return np.hypot(*(p + share[:, None] * way).T)
