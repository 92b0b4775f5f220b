"""How far from an edge: the ground within a distance of chosen edges, measured over the surface.

From each edge segment a strip is sent square to it over the faces. Where two segments
meet at an inward-looking (reflex) corner the strips lean out to the line that halves
the corner, so that parallels turn it with a mitre; at outward corners they overlap and
the mitre comes by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.beams import Beams, follow, join_beams, meet, rejoined
from unwrap.livery.carry import Carry
from unwrap.livery.ground import Ground
from unwrap.livery.planar import barycentric, clip_convex, join_parts, ragged_polygons

# A mitre that would lean more than this (radians, each side) is cut off square at the distance.
MOST_LEAN = np.radians(60.0)
# There its strips lean this far, so that the tip of a slit is passed square.
CAPPED_LEAN = np.radians(45.0)
# Where a chosen edge ends and the ground's edge goes on straighter than this
# (interior angle, radians), the strip ends square to the edge.
RUNS_ON = np.radians(150.0)


def edge_strips(ground: Ground, chosen: Sequence[tuple[int, int]], depth: float) -> Beams:
    """Strips square to edges of the ground, `depth` deep.

    Parameters
    ----------
    ground : Ground
    chosen : sequence of (int, int)
        The edges, as (start, end) vertices with the ground on the left.
    depth : float
        mm.

    Returns
    -------
    Beams
        In planes where the edge lies along x from 0 and y is the distance from it.
    """
    following: dict[tuple[int, int], tuple[int, int]] = {}
    for loop in ground.loops:
        sides = list(zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))
        following.update(zip(sides, [*sides[1:], sides[0]], strict=True))
    before = {after: edge for edge, after in following.items()}
    picked = set(chosen)
    lean_start, lean_end = np.zeros(len(chosen)), np.zeros(len(chosen))
    for i, edge in enumerate(chosen):
        lean_start[i] = _lean(ground.angle_sum[edge[0]], before[edge] in picked)
        lean_end[i] = _lean(ground.angle_sum[edge[1]], following[edge] in picked)
    place = np.array([ground.free[edge] for edge in chosen], dtype=np.int64).reshape(-1, 2)
    start = start_at_edges(ground, place[:, 0], place[:, 1], lean_start, lean_end)
    sharp = [
        _cap(ground, following[edge], len(chosen) + number)
        for number, edge in enumerate(chosen)
        if following[edge] in picked and 0.5 * (ground.angle_sum[edge[1]] - np.pi) > MOST_LEAN
    ]
    return rejoined(follow(ground, join_beams([start, *sharp]), depth))


def _cap(ground: Ground, edge: tuple[int, int], number: int) -> Beams:
    """A cap across the tip of a slit or spike, where this edge of the ground begins.

    It lies between the strips that lean round the tip from both sides. Its plane has the
    tip at the origin and the way that halves the angle along y.
    """
    across, across_edge = ground.across
    face, k = ground.free[edge]
    half = 0.5 * float(ground.angle_sum[edge[0]])
    open_half = half - 0.5 * np.pi - CAPPED_LEAN
    # The cap begins where the leaning strips end: this far out along their common line.
    scale = np.cos(CAPPED_LEAN) / np.cos(open_half)
    turned = 0.0
    faces, corners, left, right = [], [], [], []
    while face >= 0:
        angle = float(ground.angles[face, k])
        # Directions, anticlockwise from x, of the face's two sides at the tip.
        low, high = 0.5 * np.pi - half + turned, 0.5 * np.pi - half + turned + angle
        first, last = max(low, 0.5 * np.pi - open_half), min(high, 0.5 * np.pi + open_half)
        if last > first:
            flat = ground.local[face]
            x = flat[(k + 1) % 3] - flat[k]
            turn = low - np.arctan2(x[1], x[0])
            c, s = np.cos(turn), np.sin(turn)
            faces.append(face)
            corners.append(scale * (flat - flat[k]) @ np.array([[c, s], [-s, c]]))
            right.append([-np.sin(first), np.cos(first), 0.0])
            left.append([np.sin(last), -np.cos(last), 0.0])
        turned += angle
        # On to the next face round the tip, across the side before this corner.
        face, k = int(across[face, (k + 2) % 3]), int(across_edge[face, (k + 2) % 3])
    n = len(faces)
    return Beams(
        np.full(n, number),
        np.array(faces, dtype=np.int64),
        np.array(corners).reshape(-1, 3, 2),
        np.full(n, -1),
        np.array(left).reshape(-1, 3),
        np.array(right).reshape(-1, 3),
        np.tile([0.0, 0.0, 1.0], (n, 1)),
    )


def start_at_edges(
    ground: Ground, face: IntArray, k: IntArray, lean_start: FloatArray, lean_end: FloatArray
) -> Beams:
    """Strips that start at edge k of faces, leaning out at their ends by given angles."""
    row = np.arange(len(face))
    flat = ground.local[face]
    a, b, c = flat[row, k], flat[row, (k + 1) % 3], flat[row, (k + 2) % 3]
    length = np.linalg.norm(b - a, axis=1)
    along = (b - a) / length[:, None]
    x = ((c - a) * along).sum(axis=1)
    y = along[:, 0] * (c - a)[:, 1] - along[:, 1] * (c - a)[:, 0]
    corners = np.zeros((len(face), 3, 2))
    corners[row, (k + 1) % 3, 0] = length
    corners[row, (k + 2) % 3] = np.column_stack([x, y])
    zero = np.zeros(len(face))
    left = np.column_stack([np.cos(lean_start), np.sin(lean_start), zero])
    right = np.column_stack([-np.cos(lean_end), np.sin(lean_end), length * np.cos(lean_end)])
    return Beams(row, face, corners, k, left, right, meet(left, right))


def _lean(interior: float, goes_on: bool) -> float:
    """How far a strip's end leans out at a vertex with this interior angle."""
    if goes_on:
        lean = max(0.5 * (interior - np.pi), 0.0)
        return float(lean if lean <= MOST_LEAN else CAPPED_LEAN)
    if interior > RUNS_ON:
        return 0.0
    return float(min(max(interior - 0.5 * np.pi, 0.0), MOST_LEAN))


def covered(ground: Ground, beams: Beams, low: float, high: float) -> list[shapely.Geometry]:
    """Ground that the strips cover from distance `low` to `high`, on each flat piece.

    Returns
    -------
    list of Polygon or MultiPolygon
        One per carry of the ground, in the plane of its piece.
    """
    full = wholly_within(ground, beams, high) if low <= 0.0 else np.zeros(len(ground.faces), dtype=bool)
    edge = beams.take(~full[beams.face])
    areas = []
    for number, carry in enumerate(ground.carries):
        mine = edge.take(ground.owner[edge.face] == number)
        inner = ground.face[full & (ground.owner == number)]
        areas.append(_covered_on(carry, inner, ground.face[mine.face], mine, low, high))
    return areas


def vertex_distances(ground: Ground, beams: Beams) -> FloatArray:
    """(n,) distance of each vertex from the strips' sources, mm; infinite where none reaches it."""
    vertex = ground.faces[beams.face].ravel()
    place = beams.corners.reshape(-1, 2)
    inside = np.ones(len(vertex), dtype=bool)
    for line in (np.repeat(beams.left, 3, axis=0), np.repeat(beams.right, 3, axis=0)):
        inside &= place[:, 0] * line[:, 0] + place[:, 1] * line[:, 1] + line[:, 2] >= -1e-9
    out = np.full(len(ground.vertices), np.inf)
    np.minimum.at(out, vertex[inside], np.maximum(place[inside, 1], 0.0))
    return out


def wholly_within(ground: Ground, beams: Beams, distance: float) -> np.ndarray:
    """(m,) True for faces that are certain to lie within the distance of the sources.

    A distance changes by no more than the way that one goes, and no place of a triangle
    is further from its nearest corner than its longest side over the root of 3.
    """
    sides = np.linalg.norm(np.roll(ground.local, -1, axis=1) - ground.local, axis=2)
    far = vertex_distances(ground, beams)[ground.faces].max(axis=1)
    return far + sides.max(axis=1) / np.sqrt(3.0) <= distance


def _covered_on(
    carry: Carry, inner: IntArray, face: IntArray, beams: Beams, low: float, high: float
) -> shapely.Geometry:
    order, start = carry.parts
    count = start[face + 1] - start[face]
    visit = np.repeat(np.arange(len(face)), count)
    first = np.repeat(np.cumsum(count) - count, count)
    part = order[start[face][visit] + np.arange(len(visit)) - first]
    triangles = np.einsum("ncw,nwj->ncj", carry.part_weights[part], beams.corners[visit])
    polygons, counts = triangles, np.full(len(part), 3)
    zero, one = np.zeros(len(part)), np.ones(len(part))
    bounds = [
        beams.left[visit],
        beams.right[visit],
        np.column_stack([zero, one, zero - low]),
        np.column_stack([zero, -one, zero + high]),
    ]
    for i in range(len(bounds)):
        polygons, counts = clip_convex(polygons, counts, bounds[i])
        keep = counts > 0
        polygons, counts, part, triangles = polygons[keep], counts[keep], part[keep], triangles[keep]
        bounds = [line[keep] for line in bounds]
    width = polygons.shape[1]
    weights = barycentric(np.repeat(triangles, width, axis=0), polygons.reshape(-1, 2)).reshape(-1, width, 3)
    on_sheet = np.einsum("nkc,ncj->nkj", weights, carry.on_sheet[part])
    cells = ragged_polygons(on_sheet, counts)
    real = shapely.area(cells) > 1e-12
    full = np.zeros(len(carry.patch.faces), dtype=bool)
    full[inner] = True
    whole = np.flatnonzero(full[carry.flat.face])
    return join_parts(whole, cells[real], part[real], carry.on_sheet)
