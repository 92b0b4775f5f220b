"""Pictures of a mesh by ray casting, orthographic.

How to use it, in the order of the work::

    rays = Rays(vertices, faces)                                     # unwrap.body.rays
    camera = look_along(vertices, direction, width=1200)             # unwrap.body.camera
    hits = cast(rays, camera)                                        # face and weights per pixel
    light = shade(rays, vertices, faces, hits, camera)               # (h, w) brightness 0..1
    wanted = changing(normals, hits, camera)                         # pixels worth more than one ray
    face, depth = cast_finer(rays, hits, camera, 2, wanted)          # 2 x 2 rays for each of these
    among = repeated(wanted, 2)
    ink = edge_ink(normals, face, depth, camera.finer(2), among=among)  # 1 = edge or crease
    tone = toned(repeated(light, 2), ink)
    image = coloured(face, tone, colours, 2)                         # (h, w, 3) uint8, white ground
    xy = camera.project(points)                                      # 3D points -> pixel x, y, depth

Pixel (row r, column c) has its middle at x = c + 0.5, y = r + 0.5, y down.
Nothing here knows what is painted: the caller turns faces into colours of its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse import csgraph

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.camera import Camera, Hits, PixelArray
from unwrap.body.edges import Edges, edge_angles, find_edges
from unwrap.body.rays import Rays
from unwrap.body.triangles import area_vectors

# Rays per node for the soft shadow; neighbouring nodes use other directions and are averaged.
AMBIENT_RAYS = 16
SHADOW_PLACES = 40_000
# Up to so many faces, facets are shaded smooth.
SMOOTH_FACES = 300_000
# Two neighbouring pixels on faces that differ by more than this are parted by a crease line.
CREASE = np.radians(28.0)
# A bend of more than this is worth more rays.
BENT = np.radians(2.0)


def corner_normals(
    vertices: FloatArray, faces: IntArray, crease: float = CREASE, edges: Edges | None = None
) -> FloatArray:
    """(m, 3, 3) unit normals per corner, smooth over gentle edges, the face's own at sharp ones.

    Corners at one vertex belong together where gentle edges lead from one face to the next;
    each such fan has the mean of its faces' normals, weighted by their areas. Above
    `SMOOTH_FACES` faces each has its own normal, since facets that small do not show. `edges`
    are those of the faces, where they are at hand.
    """
    weighted = area_vectors(vertices, faces)
    own = _unit(weighted)
    if len(faces) > SMOOTH_FACES or len(faces) == 0:
        return np.broadcast_to(own[:, None, :], (len(faces), 3, 3))
    edges = edges or find_edges(faces)
    gentle = (edge_angles(own, edges.pairs) < crease) & edges.agree
    pairs = np.compress(gentle, edges.pairs, axis=0)
    ends = np.take(edges.ends, edges.pair_edge[gentle], axis=0)
    first: list[IntArray] = []
    second: list[IntArray] = []
    for end in (0, 1):
        for side, joined in ((0, first), (1, second)):
            # the first corner, or the second, or else the third
            one, two, _ = (np.take(faces, pairs[:, side], axis=0) == ends[:, end, None]).T
            corner = np.where(one, 0, np.where(two, 1, 2))
            joined.append(3 * pairs[:, side] + corner)
    corners = 3 * len(faces)
    ones = np.ones(2 * len(pairs), dtype=np.int8)
    graph = sparse.coo_matrix(
        (ones, (np.concatenate(first), np.concatenate(second))), shape=(corners, corners)
    )
    count, fan = csgraph.connected_components(graph, directed=False)
    total = np.zeros((count, 3))
    for axis in range(3):
        total[:, axis] = np.bincount(fan, np.repeat(weighted[:, axis], 3), minlength=count)
    return np.take(_unit(total), fan, axis=0).reshape(-1, 3, 3)


def shade(
    rays: Rays,
    vertices: FloatArray,
    faces: IntArray,
    hits: Hits,
    camera: Camera,
    *,
    smooth: FloatArray | None = None,
    ambient_rays: int = AMBIENT_RAYS,
    seed: int = 0,
) -> PixelArray:
    """Brightness of each pixel: soft light from above and the eye, darker in corners.

    Parameters
    ----------
    rays : Rays
        The mesh made ready.
    vertices, faces : (n, 3) float64, (m, 3) int64
        The same mesh.
    hits : Hits
        From `cast` with `camera`.
    camera : Camera
        The same camera.
    smooth : (m, 3, 3) float64 or None
        From `corner_normals`, for more than one picture of the same mesh.
    ambient_rays : int
        Rays per node of the soft shadow that look for the sky; 0 leaves it away.
    seed : int
        Of the directions.

    Returns
    -------
    (h, w) float32
        0 black to 1 full light; 1 on the ground.
    """
    light = np.ones(hits.face.shape, dtype=np.float32)
    seen = hits.seen
    if seen.any():
        smooth = corner_normals(vertices, faces) if smooth is None else smooth
        face, weights = hits.face[seen], hits.weights[seen]
        corners, normal = np.take(smooth, face, axis=0), np.zeros((len(face), 3))
        for corner in range(3):
            normal += weights[:, corner, None] * corners[:, corner]
        normal = _unit(normal)
        # The side that is looked at is the side that is lit, whichever way a face winds.
        normal[normal @ camera.ahead > 0] *= -1.0
        key = _unit((-0.9 * camera.ahead + 0.75 * camera.up - 0.45 * camera.right)[None])[0]
        direct = 0.25 * np.clip(normal @ -camera.ahead, 0, 1) + 0.75 * np.clip(normal @ key, 0, 1)
        sky = np.ones(len(face))
        if ambient_rays:
            sky = _soft_shadow(rays, hits, normal, camera, ambient_rays, seed)
        light[seen] = np.clip((0.42 + 0.60 * direct) * (0.45 + 0.55 * sky), 0.0, 1.0)
    return light


def changing(normals: FloatArray, hits: Hits, camera: Camera) -> BoolArray:
    """(h, w) pixels beside a change of what is seen: an outline, a step, or a bend of more than `BENT`."""
    beside = edge_ink(normals, hits.face, hits.depth, camera, crease=BENT) > 0
    return np.asarray(ndimage.binary_dilation(beside, np.ones((3, 3), dtype=bool)))


def edge_ink(
    normals: FloatArray,
    face: IntArray,
    depth: PixelArray,
    camera: Camera,
    *,
    crease: float = CREASE,
    among: BoolArray | None = None,
) -> PixelArray:
    """Where lines are drawn: outlines, steps in depth, creases.

    Parameters
    ----------
    normals : (m, 3) float64
        The faces' unit normals.
    face, depth : (h, w) int64, (h, w) float32
        What each pixel of the camera shows, as in `Hits`.
    camera : Camera
    crease : float
        Neighbouring pixels on faces that differ by more than this are parted, radians.
    among : (h, w) bool or None
        The only pixels beside which lines can be, where that is known.

    Returns
    -------
    (h, w) float32
        1 on an outline or step, 0.55 on a crease, 0 elsewhere.
    """
    ink = np.zeros(face.shape, dtype=np.float32)
    flat, of, deep = ink.ravel(), face.ravel(), depth.ravel()
    wide = face.shape[1]
    for step, first, second in (
        (wide, np.s_[:-1, :], np.s_[1:, :]),
        (1, np.s_[:, :-1], np.s_[:, 1:]),
    ):
        differ = face[first] != face[second]  # on one face there is nothing to draw
        if among is not None:
            differ &= among[first]
        row, column = np.nonzero(differ)
        one = row * wide + column
        two = one + step
        seen = (of[one] >= 0) & (of[two] >= 0)
        flat[one[~seen]] = flat[two[~seen]] = 1.0
        one, two = one[seen], two[seen]
        n_one, n_two = np.take(normals, of[one], axis=0), np.take(normals, of[two], axis=0)
        # A slanted face changes depth from pixel to pixel; only what is beyond both
        # faces' own slopes is a step.
        facing = np.clip(np.minimum(np.abs(n_one @ camera.ahead), np.abs(n_two @ camera.ahead)), 0.05, 1)
        slope = camera.pixel * np.sqrt(1 - facing**2) / facing
        apart = np.abs(deep[one] - deep[two]) > 2.5 * slope + 1.5 * camera.pixel
        parted = np.abs(np.einsum("kd,kd->k", n_one, n_two)) < np.cos(crease)
        for at in (one, two):
            flat[at[parted]] = np.maximum(flat[at[parted]], 0.55)
            flat[at[apart]] = 1.0
    return ink


def toned(light: PixelArray, ink: PixelArray) -> PixelArray:
    """(h, w) brightness of each pixel with its lines drawn."""
    return light * (1.0 - 0.8 * ink)


def coloured(
    face: NDArray[np.integer], tone: PixelArray, colours: PixelArray, factor: int = 1
) -> NDArray[np.uint8]:
    """The finished picture, on a white ground.

    Parameters
    ----------
    face : (factor h, factor w) int
        The face that each pixel shows, -1 for the ground.
    tone : (factor h, factor w) float32
        Its brightness.
    colours : (m, 3) float32
        Of the faces, 0..1.
    factor : int
        How many pixels each way become one, by plain means.

    Returns
    -------
    (h, w, 3) uint8
    """
    h, w = face.shape[0] // factor, face.shape[1] // factor
    with_ground = np.concatenate([colours, np.ones((1, 3), dtype=np.float32)])  # -1 is the last row
    total = np.zeros((h, w, 3), dtype=np.float32)
    for row in range(factor):
        for column in range(factor):
            part = np.s_[row : h * factor : factor, column : w * factor : factor]
            shown = face[part]
            light = np.where(shown < 0, np.float32(1.0), tone[part])
            total += np.take(with_ground, shown, axis=0) * light[..., None]
    total *= 255 / factor**2
    return np.clip(np.rint(total, out=total), 0, 255, out=total).astype(np.uint8)


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)


def _open_sky(rays: Rays, places: FloatArray, normals: FloatArray, count: int, seed: int) -> FloatArray:
    """(k,) share of cosine-weighted directions about each normal that meet nothing."""
    random = np.random.default_rng(seed)
    side = _unit(np.cross(normals, np.where(np.abs(normals[:, :1]) < 0.7, [[1.0, 0, 0]], [[0, 1.0, 0]])))
    other = np.cross(normals, side)
    turn = random.random(len(normals))
    open_ = np.zeros(len(normals))
    for k in range(count):  # strata: each ray of a pixel has a ring sector of its own
        angle = 2 * np.pi * ((k * 0.618034 + turn) % 1.0)
        radius = np.sqrt((k + random.random(len(normals))) / count)
        direction = (radius * np.cos(angle))[:, None] * side + (radius * np.sin(angle))[:, None] * other
        direction += np.sqrt(np.maximum(1 - radius**2, 1e-4))[:, None] * normals
        open_ += ~rays.blocked(places, direction)
    return open_ / count


def _soft_shadow(
    rays: Rays, hits: Hits, normal: FloatArray, camera: Camera, count: int, seed: int
) -> FloatArray:
    """(k,) open sky of each pixel that shows the body, found on a coarse grid and spread from there."""
    seen = hits.seen
    row, column = np.nonzero(seen)
    # Depth counts from a plane before the body; bring the places back onto it.
    back = rays.reach + float(np.linalg.norm(rays.middle - camera.centre))
    places = camera.places(column + 0.5, row + 0.5, hits.depth[seen].astype(np.float64) - back)
    places += 1e-4 * rays.reach * normal

    stride = max(1, int(np.ceil(np.sqrt(len(row) / SHADOW_PLACES))))
    index = np.full(seen.shape, -1, dtype=np.int64)
    index[seen] = np.arange(len(row))
    grid = np.pad(index[::stride, ::stride], ((0, 1), (0, 1)), constant_values=-1)
    of_node = grid[grid >= 0]
    node = np.full(grid.shape, -1, dtype=np.int64)
    node[grid >= 0] = np.arange(len(of_node))
    sky = _open_sky(rays, places[of_node], normal[of_node], count, seed)

    # Each pixel takes the nodes at the corners of its cell, as far as they lie on the same
    # smooth ground.
    reach = 2.0 * stride * camera.pixel
    top, left = row // stride, column // stride
    down, across = (row % stride) / stride, (column % stride) / stride
    total, weight = np.zeros(len(row)), np.zeros(len(row))
    for dy, dx in ((0, 0), (0, 1), (1, 0), (1, 1)):
        near = node[top + dy, left + dx]
        share = np.abs(1 - dy - down) * np.abs(1 - dx - across)
        known = np.flatnonzero((near >= 0) & (share > 0))
        other = of_node[near[known]]
        here = np.take(normal, known, axis=0)
        alike = np.einsum("kd,kd->k", here, np.take(normal, other, axis=0)) > 0.9
        away = np.take(places, known, axis=0) - np.take(places, other, axis=0)
        alike &= np.abs(np.einsum("kd,kd->k", away, here)) < reach
        share = share[known] * alike
        total[known] += share * sky[near[known]]
        weight[known] += share
    alone = np.flatnonzero(weight == 0)
    if len(alone):
        total[alone] = _open_sky(rays, places[alone], normal[alone], count, seed)
        weight[alone] = 1.0
    return total / weight
