"""Pictures of a mesh by ray casting, orthographic.

How to use it, in the order of the work::

    rays = Rays(vertices, faces)                                     # unwrap.body.rays
    camera = look_along(vertices, direction, width=1200)             # direction: from the eye to the body
    fine = camera.finer(2)                                           # 2 x 2 rays per pixel
    hits = cast(rays, fine)                                          # face and weights per pixel
    light = shade(rays, vertices, faces, hits, fine)                 # (h, w) brightness 0..1
    ink = edge_ink(vertices, faces, hits, fine)                      # (h, w) 1 = edge or crease
    colour = np.full((*hits.face.shape, 3), 0.8)                     # paint by hits.face / hits.weights
    image = coarser(compose(colour, light, ink, hits), 2)            # (H, W, 3) uint8, white ground
    xy = camera.project(points)                                      # 3D points -> pixel x, y, depth

Pixel (row r, column c) has its middle at x = c + 0.5, y = r + 0.5, y down.
Nothing here knows what is painted: the caller turns `hits.face` and `hits.weights`
(barycentric, on the corners of that face) into colours of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from unwrap.body.body import BoolArray, FloatArray, IntArray
from unwrap.body.rays import Rays

PixelArray = NDArray[np.float32]

# Rays per node for the soft shadow; neighbouring nodes use other directions and are averaged.
AMBIENT_RAYS = 16
SHADOW_PLACES = 60_000
RAYS_AT_ONCE = 400_000
# Two neighbouring pixels on faces that differ by more than this are parted by a crease line.
CREASE = np.radians(28.0)


@dataclass(frozen=True, eq=False)
class Camera:
    """An orthographic camera.

    Parameters
    ----------
    right, up, ahead : (3,) float64
        Unit directions on the body: to the right of the picture, to its top, and from
        the eye into the picture.
    centre : (3,) float64
        The place on the body in the middle of the picture, mm.
    pixel : float
        Width of a pixel, mm.
    width, height : int
        Size in pixels.
    """

    right: FloatArray
    up: FloatArray
    ahead: FloatArray
    centre: FloatArray
    pixel: float
    width: int
    height: int

    def finer(self, factor: int) -> Camera:
        """The same view with `factor` times as many pixels each way."""
        return replace(
            self, pixel=self.pixel / factor, width=self.width * factor, height=self.height * factor
        )

    def project(self, points: FloatArray) -> FloatArray:
        """(n, 3) pixel x (to the right), pixel y (down) and depth (mm away from the eye)."""
        moved = np.asarray(points, dtype=np.float64) - self.centre
        x = moved @ self.right / self.pixel + 0.5 * self.width
        y = 0.5 * self.height - moved @ self.up / self.pixel
        return np.stack([x, y, moved @ self.ahead], axis=-1)

    def places(self, x: ArrayLike, y: ArrayLike) -> FloatArray:
        """(..., 3) places on the plane through the centre that pixels x, y show, mm."""
        across = (np.asarray(x, dtype=np.float64) - 0.5 * self.width) * self.pixel
        upward = (0.5 * self.height - np.asarray(y, dtype=np.float64)) * self.pixel
        return self.centre + across[..., None] * self.right + upward[..., None] * self.up


@dataclass(frozen=True, eq=False)
class Hits:
    """What each pixel of a camera shows.

    Parameters
    ----------
    face : (h, w) int64
        The face, -1 for the ground.
    weights : (h, w, 3) float32
        Barycentric weights on that face's corners; zero on the ground.
    depth : (h, w) float32
        Distance from the plane that the rays start on, mm; infinite on the ground.
    """

    face: IntArray
    weights: PixelArray
    depth: PixelArray

    @property
    def seen(self) -> BoolArray:
        """(h, w) True where the body is."""
        return self.face >= 0


def look_along(
    points: FloatArray,
    direction: ArrayLike,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
    width: int = 1200,
    height: int | None = None,
    margin: float = 0.04,
) -> Camera:
    """A camera that shows all points, looking along a direction.

    Parameters
    ----------
    points : (n, 3) float64
        What must be in the picture, mm.
    direction : (3,)
        From the eye to the body, any length.
    up : (3,)
        What should point to the top of the picture.
    width : int
        Pixels.
    height : int or None
        Pixels; None takes what the points need.
    margin : float
        Empty border on each side, as a share of the width.

    Returns
    -------
    Camera
    """
    ahead = np.array(direction, dtype=np.float64)
    ahead /= np.linalg.norm(ahead)
    upward = np.array(up, dtype=np.float64)
    right = np.cross(ahead, upward)
    if np.linalg.norm(right) < 1e-6:  # looking straight up or down: the front goes to the right
        right = np.cross(ahead, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    top = np.cross(right, ahead)
    across, upper, deep = points @ right, points @ top, points @ ahead
    spread = np.array([np.ptp(across), np.ptp(upper)])
    border = margin * width
    pixel = max(float(spread[0]) / max(width - 2 * border, 1), 1e-9)
    if height is None:
        height = int(np.ceil(spread[1] / pixel + 2 * border))
    else:
        pixel = max(pixel, float(spread[1]) / max(height - 2 * border, 1))
    middle = [0.5 * (v.min() + v.max()) for v in (across, upper, deep)]
    centre = middle[0] * right + middle[1] * top + middle[2] * ahead
    return Camera(right, top, ahead, centre, pixel, width, max(height, 1))


def cast(rays: Rays, camera: Camera) -> Hits:
    """What each pixel shows: one ray through its middle."""
    shape = (camera.height, camera.width)
    face = np.empty(shape, dtype=np.int64)
    weights = np.empty((*shape, 3), dtype=np.float32)
    depth = np.empty(shape, dtype=np.float32)
    # Every ray starts on one plane before the body, so that depths compare.
    back = rays.reach + float(np.linalg.norm(rays.middle - camera.centre))
    rows = max(1, RAYS_AT_ONCE // camera.width)
    for top in range(0, camera.height, rows):
        y, x = np.mgrid[top : min(top + rows, camera.height), 0 : camera.width] + 0.5
        hit = rays.first(camera.places(x, y).reshape(-1, 3) - back * camera.ahead, camera.ahead)
        block = slice(top, top + len(y))
        face[block] = hit.face.reshape(x.shape)
        weights[block] = hit.weights.reshape(*x.shape, 3)
        depth[block] = hit.distance.reshape(x.shape)
    return Hits(face, weights, depth)


def places_of(vertices: FloatArray, faces: IntArray, hits: Hits) -> FloatArray:
    """(k, 3) place on the body of each pixel that shows it, in the order of `hits.seen`, mm."""
    seen = hits.seen
    return np.einsum("kc,kcd->kd", hits.weights[seen], vertices[faces[hits.face[seen]]])


def corner_normals(vertices: FloatArray, faces: IntArray, crease: float = CREASE) -> FloatArray:
    """(m, 3, 3) unit normals per corner, smooth over gentle edges, the face's own at sharp ones."""
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    weighted = np.cross(b - a, c - a)
    face_normal = _unit(weighted)
    at_vertex = np.zeros_like(vertices)
    for axis in range(3):
        at_vertex[:, axis] = np.bincount(
            faces.ravel(), weights=np.repeat(weighted[:, axis], 3), minlength=len(vertices)
        )
    smooth = _unit(at_vertex)[faces]
    gentle = np.einsum("mcd,md->mc", smooth, face_normal) > np.cos(crease)
    return np.where(gentle[..., None], smooth, face_normal[:, None, :])


def shade(
    rays: Rays,
    vertices: FloatArray,
    faces: IntArray,
    hits: Hits,
    camera: Camera,
    *,
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
    ambient_rays : int
        Rays per pixel that look for the sky; 0 leaves the soft shadow away.
    seed : int
        Of the directions.

    Returns
    -------
    (h, w) float32
        0 black to 1 full light; 1 on the ground.
    """
    light = np.ones(hits.face.shape, dtype=np.float32)
    seen = hits.seen
    if not seen.any():
        return light
    smooth = corner_normals(vertices, faces)
    face = hits.face[seen]
    normal = np.zeros((len(face), 3))
    for corner in range(3):
        normal += hits.weights[seen, corner, None] * smooth[face, corner]
    normal = _unit(normal)
    # The side that is looked at is the side that is lit, whichever way a face winds.
    normal[normal @ camera.ahead > 0] *= -1.0
    key = _unit((-0.9 * camera.ahead + 0.75 * camera.up - 0.45 * camera.right)[None])[0]
    direct = 0.25 * np.clip(normal @ -camera.ahead, 0, 1) + 0.75 * np.clip(normal @ key, 0, 1)
    sky = _soft_shadow(rays, hits, normal, camera, ambient_rays, seed) if ambient_rays else np.ones(len(face))
    light[seen] = np.clip((0.30 + 0.70 * direct) * (0.42 + 0.58 * sky), 0.0, 1.0)
    return light


def edge_ink(vertices: FloatArray, faces: IntArray, hits: Hits, camera: Camera) -> PixelArray:
    """Where lines are drawn: outlines, steps in depth, creases.

    Returns
    -------
    (h, w) float32
        1 on an outline or step, 0.55 on a crease, 0 elsewhere.
    """
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    normal = _unit(np.cross(b - a, c - a))
    ink = np.zeros(hits.face.shape, dtype=np.float32)
    flat, face, depth = ink.ravel(), hits.face.ravel(), hits.depth.ravel()
    pixels = np.arange(len(flat)).reshape(hits.face.shape)
    for first, second in ((pixels[:-1], pixels[1:]), (pixels[:, :-1], pixels[:, 1:])):
        differ = face[first] != face[second]  # on one face there is nothing to draw
        one, two = first[differ], second[differ]
        seen = (face[one] >= 0) & (face[two] >= 0)
        flat[one[~seen]] = flat[two[~seen]] = 1.0
        one, two = one[seen], two[seen]
        n_one, n_two = normal[face[one]], normal[face[two]]
        # A slanted face changes depth from pixel to pixel; only what is beyond both
        # faces' own slopes is a step.
        facing = np.clip(np.minimum(np.abs(n_one @ camera.ahead), np.abs(n_two @ camera.ahead)), 0.05, 1)
        slope = camera.pixel * np.sqrt(1 - facing**2) / facing
        step = np.abs(depth[one] - depth[two]) > 2.5 * slope + 1.5 * camera.pixel
        crease = np.abs(np.einsum("kd,kd->k", n_one, n_two)) < np.cos(CREASE)
        line = np.where(step, 1.0, np.where(crease, 0.55, 0.0)).astype(np.float32)
        np.maximum.at(flat, one, line)
        np.maximum.at(flat, two, line)
    return ink


def compose(colour: FloatArray, light: PixelArray, ink: PixelArray, hits: Hits) -> FloatArray:
    """(h, w, 3) picture 0..1: colours under light with lines in ink, on a white ground."""
    picture = np.where(hits.seen[..., None], colour * light[..., None], 1.0)
    return picture * (1.0 - 0.8 * ink[..., None])


def coarser(picture: FloatArray, factor: int) -> NDArray[np.uint8]:
    """(H, W, 3) uint8 picture with `factor` times fewer pixels each way, by plain means."""
    h, w = picture.shape[0] // factor, picture.shape[1] // factor
    cut = picture[: h * factor, : w * factor].reshape(h, factor, w, factor, -1)
    return np.round(255 * np.clip(cut.mean(axis=(1, 3)), 0, 1)).astype(np.uint8)


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
    index = np.full(seen.shape, -1, dtype=np.int64)
    index[seen] = np.arange(len(row))
    stride = max(1, int(np.ceil(np.sqrt(len(row) / SHADOW_PLACES))))
    places = camera.places(column + 0.5, row + 0.5) + hits.depth[seen][:, None] * camera.ahead
    # Depth counts from a plane before the body; bring the places back onto it.
    back = rays.reach + float(np.linalg.norm(rays.middle - camera.centre))
    places += 1e-4 * rays.reach * normal - back * camera.ahead

    grid = index[stride // 2 :: stride, stride // 2 :: stride]
    of_node = grid[grid >= 0]
    node = np.full(grid.shape, -1, dtype=np.int64)
    node[grid >= 0] = np.arange(len(of_node))
    sky = _open_sky(rays, places[of_node], normal[of_node], count, seed)
    reach = 2.0 * stride * camera.pixel

    # Each pixel takes the mean of the grid's nodes round it that lie on the same smooth ground.
    total, weight = np.zeros(len(row)), np.zeros(len(row))
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            r, c = row // stride + dy, column // stride + dx
            inside = (r >= 0) & (r < grid.shape[0]) & (c >= 0) & (c < grid.shape[1])
            near = np.where(
                inside, node[np.clip(r, 0, grid.shape[0] - 1), np.clip(c, 0, grid.shape[1] - 1)], -1
            )
            known = np.flatnonzero(near >= 0)
            other = of_node[near[known]]
            alike = np.einsum("kd,kd->k", normal[known], normal[other])
            off = np.abs(np.einsum("kd,kd->k", places[known] - places[other], normal[known]))
            dr = row[known] - (r[known] * stride + stride // 2)
            dc = column[known] - (c[known] * stride + stride // 2)
            share = np.maximum(0.0, 1.7 * stride - np.hypot(dr, dc)) * ((alike > 0.9) & (off < reach))
            total[known] += share * sky[near[known]]
            weight[known] += share
    alone = np.flatnonzero(weight == 0)
    if len(alone):
        total[alone] = _open_sky(rays, places[alone], normal[alone], count, seed)
        weight[alone] = 1.0
    return total / weight
