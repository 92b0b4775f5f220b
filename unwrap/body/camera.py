"""An orthographic camera, and what each of its pixels shows of a mesh."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.rays import FirstHits, Rays

PixelArray = NDArray[np.float32]

RAYS_AT_ONCE = 400_000


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

    def places(self, x: ArrayLike, y: ArrayLike, depth: ArrayLike = 0.0) -> FloatArray:
        """(..., 3) places that pixels x, y show, so far beyond the plane through the centre, mm."""
        across = (np.asarray(x, dtype=np.float64) - 0.5 * self.width) * self.pixel
        upward = (0.5 * self.height - np.asarray(y, dtype=np.float64)) * self.pixel
        places = np.empty((*np.broadcast_shapes(across.shape, upward.shape, np.shape(depth)), 3))
        for axis in range(3):
            places[..., axis] = self.centre[axis] + across * self.right[axis] + upward * self.up[axis]
            places[..., axis] += np.multiply(depth, self.ahead[axis])
        return places


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
    rows = max(1, RAYS_AT_ONCE // camera.width)
    x = np.arange(camera.width) + 0.5
    for top in range(0, camera.height, rows):
        y = np.arange(top, min(top + rows, camera.height)) + 0.5
        hit = _through(rays, camera, np.tile(x, len(y)), np.repeat(y, len(x)))
        block = slice(top, top + len(y))
        face[block] = hit.face.reshape(len(y), -1)
        weights[block] = hit.weights.reshape(len(y), -1, 3)
        depth[block] = hit.distance.reshape(len(y), -1)
    return Hits(face, weights, depth)


def cast_finer(
    rays: Rays, hits: Hits, camera: Camera, factor: int, wanted: BoolArray
) -> tuple[IntArray, PixelArray]:
    """Face and depth at `factor` times as many pixels each way, asked anew only where that is wanted.

    Parameters
    ----------
    rays : Rays
    hits : Hits
        From `cast` with `camera`.
    camera : Camera
    factor : int
    wanted : (h, w) bool
        Pixels whose parts get rays of their own; the parts of the others show what these do.

    Returns
    -------
    face : (factor h, factor w) int64
    depth : (factor h, factor w) float32
        As in `Hits`.
    """
    face, depth = repeated(hits.face, factor), repeated(hits.depth, factor)
    row, column = (
        (factor * at[:, None, None] + part).ravel()
        for at, part in zip(np.nonzero(wanted), np.mgrid[:factor, :factor], strict=True)
    )
    hit = _through(rays, camera.finer(factor), column + 0.5, row + 0.5)
    face[row, column], depth[row, column] = hit.face, hit.distance
    return face, depth


def repeated(field: NDArray[Any], factor: int) -> NDArray[Any]:
    """Each pixel of a field (h, w) `factor` times each way."""
    return np.repeat(np.repeat(field, factor, axis=0), factor, axis=1)


def _through(rays: Rays, camera: Camera, x: FloatArray, y: FloatArray) -> FirstHits:
    """What rays through places of the picture meet; they start on one plane, so that depths compare."""
    back = rays.reach + float(np.linalg.norm(rays.middle - camera.centre))
    return rays.first_from(rays.local(camera.places(x, y, -back)), camera.ahead)


def places_of(vertices: FloatArray, faces: IntArray, hits: Hits) -> FloatArray:
    """(k, 3) place on the body of each pixel that shows it, in the order of `hits.seen`, mm."""
    seen = hits.seen
    return np.einsum("kc,kcd->kd", hits.weights[seen], vertices[faces[hits.face[seen]]])
