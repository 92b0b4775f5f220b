"""Cut away what is hidden inside another shell that was pushed in without being joined.

A file may hold a boiler and a tank as two closed shells that overlap. Nothing in the
triangles says where the boiler disappears in the tank; the region must stop at the
line that is seen.
"""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.rays import Rays
from unwrap.regions.edges import body_table, edge_table, label_parts
from unwrap.regions.nearest import distances
from unwrap.regions.split import split_edges

# Faces are made this small (mm) where two shells may meet, so that the meeting line of
# two curved ones is followed within a hundredth of a millimetre.
FINE = 0.8
# Directions to ask "inside or outside?" in: square to nothing that a modeller draws.
ASK = np.array([[0.5394, 0.3217, 0.7781], [-0.6213, 0.7061, 0.3399], [0.2718, -0.8413, 0.4674]])

_shells: WeakKeyDictionary[Body, IntArray] = WeakKeyDictionary()


def shells_of(body: Body) -> IntArray:
    """(m,) the shell that each face belongs to: faces that hang together over edges."""
    if body not in _shells:
        table = body_table(body)
        _shells[body] = label_parts(table, np.ones(len(table.ends), dtype=bool))
    return _shells[body]


def cut_hidden(
    body: Body, vertices: FloatArray, faces: IntArray, source: IntArray, bridge: float
) -> tuple[FloatArray, IntArray, IntArray]:
    """Drop the parts of a region that lie inside other shells of the body.

    Parameters
    ----------
    body : Body
        The whole body.
    vertices : (n, 3) float64
        The region's vertices, mm.
    faces : (m, 3) int64
        Its faces.
    source : (m,) int64
        The body's face that each is.
    bridge : float
        Shells that stand no higher than this off the region's own are details on it
        (rivets pushed on, a band pushed over), and hide nothing, mm.

    Returns
    -------
    vertices, faces : arrays
        What can be seen, split along the meeting lines.
    parent : (m',) int64
        The face that each is (a part of).
    """
    shell = shells_of(body)
    parent = np.arange(len(faces))
    count = int(shell.max(initial=-1)) + 1
    if count < 2 or not len(faces):
        return vertices, faces, parent
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, shell, body.corners.min(axis=1))
    np.maximum.at(high, shell, body.corners.max(axis=1))
    here = vertices[faces]
    meets = ((low <= here.max(axis=(0, 1))) & (high >= here.min(axis=(0, 1)))).all(axis=1)
    meets &= (high - low).max(axis=1) > 1.5 * bridge
    for number in np.flatnonzero(meets).tolist():
        other = np.flatnonzero(shell == number)
        mine = shell[source[parent]] != number
        if not mine.any() or not _is_solid(body, other) or _is_detail(body, other, source, bridge):
            continue
        box = low[number] - 1e-3, high[number] + 1e-3
        vertices, faces, kept = _outside_of(body, other, vertices, faces, mine, box)
        parent = parent[kept]
    return vertices, faces, parent


def _is_solid(body: Body, other: IntArray) -> bool:
    """Whether a shell is closed and holds matter: the inner side of a wall, inside out, holds air."""
    corners = body.corners[other]
    rise = np.einsum("md,md->m", body.area_vectors[other], corners[:, 0] - corners[0, 0])
    return bool(rise.sum() > 0.0) and bool((edge_table(body.faces[other]).count == 2).all())


def _is_detail(body: Body, other: IntArray, source: IntArray, bridge: float) -> bool:
    """Whether a shell nowhere stands far off the shells that the region is on."""
    if bridge <= 0:
        return False
    own = np.isin(shells_of(body), np.unique(shells_of(body)[source]))
    points = body.vertices[np.unique(body.faces[other])]
    size = np.ptp(points, axis=0)
    if size.min() > 2 * bridge and np.sort(size)[1] > 8 * bridge:
        return False
    own[other] = False
    few = points[:: max(1, len(points) // 48)]
    return bool(own.any()) and bool(distances(body.corners[own], few).max() <= bridge)


def _outside_of(
    body: Body,
    other: IntArray,
    vertices: FloatArray,
    faces: IntArray,
    mine: BoolArray,
    box: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, IntArray, IntArray]:
    """The faces outside one closed shell, split where they enter it."""
    rays = Rays(body.vertices, body.faces[other])
    normals = body.normals[other]
    parent = np.arange(len(faces))
    samples = _samples(body, other, vertices[faces].reshape(-1, 3))
    if samples is None:
        return vertices, faces, parent
    for _ in range(12):
        corners = vertices[faces]
        near = ((corners.min(axis=1) <= box[1]) & (corners.max(axis=1) >= box[0])).all(axis=1) & mine[parent]
        place = np.flatnonzero(near)
        middle = corners[place].mean(axis=1)
        radius = np.linalg.norm(corners[place] - middle[:, None], axis=2).max(axis=1)
        near[place] = samples.query(middle)[0] <= radius + 1.2 * FINE
        start, end = faces[near].ravel(), np.roll(faces[near], -1, axis=1).ravel()
        long = np.linalg.norm(vertices[start] - vertices[end], axis=1) > FINE
        if not long.any():
            break
        ends = np.unique(np.sort(np.stack([start[long], end[long]], axis=1), axis=1), axis=0)
        vertices, faces, kept = split_edges(vertices, faces, ends, vertices[ends].mean(axis=1))
        parent = parent[kept]
    corners = vertices[faces]
    near = ((corners.min(axis=1) <= box[1]) & (corners.max(axis=1) >= box[0])).all(axis=1) & mine[parent]
    asked = np.unique(faces[near])
    inside = np.zeros(len(vertices), dtype=bool)
    inside[asked] = _inside(rays, normals, vertices[asked])
    if not inside.any():
        return vertices, faces, parent
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    enters = inside[start] != inside[end]
    ends = np.unique(np.sort(np.stack([start[enters], end[enters]], axis=1), axis=1), axis=0)
    begin = np.where(inside[ends[:, 0]], ends[:, 1], ends[:, 0])
    stop = ends.sum(axis=1) - begin
    way = vertices[stop] - vertices[begin]
    share = np.clip(rays.first(vertices[begin], way).distance, 0.0, 1.0)[:, None]
    vertices, faces, kept = split_edges(vertices, faces, ends, vertices[begin] + share * way)
    hidden = np.concatenate([inside, np.zeros(len(ends), dtype=bool)])
    seen = ~(hidden[faces].any(axis=1) & mine[parent[kept]])
    return vertices, faces[seen], parent[kept][seen]


def _samples(body: Body, other: IntArray, points: FloatArray) -> cKDTree | None:
    """Points all over the part of a shell that the region may meet, no further apart than twice `FINE`."""
    low, high = points.min(axis=0) - FINE, points.max(axis=0) + FINE
    corners = body.corners[other]
    meets = ((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1)
    vertices, faces = body.vertices, body.faces[other[meets]]
    if not len(faces):
        return None
    for _ in range(12):
        corners = vertices[faces]
        meets = ((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1)
        faces = faces[meets]
        start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
        long = np.linalg.norm(vertices[start] - vertices[end], axis=1) > 2 * FINE
        if not long.any():
            break
        ends = np.unique(np.sort(np.stack([start[long], end[long]], axis=1), axis=1), axis=0)
        vertices, faces, _ = split_edges(vertices, faces, ends, vertices[ends].mean(axis=1))
    return cKDTree(vertices[faces].mean(axis=1)) if len(faces) else None


def _inside(rays: Rays, normals: FloatArray, points: FloatArray) -> BoolArray:
    """Points inside a closed shell: what they see first, they see from behind."""
    votes = np.zeros(len(points), dtype=np.int64)
    for way in ASK:
        hit = rays.first(points, np.broadcast_to(way, points.shape))
        behind = (hit.face >= 0) & (normals[hit.face] @ way > 0)
        votes += behind
    return votes >= 2
