"""Rays against a triangle mesh: what is hit first, and whether anything is in the way."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numpy.typing import NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray

Places = NDArray[np.floating]

# One run over fewer rays than this costs less than handing it to a second thread.
SMALL = 20_000
THREADS = 2


class FirstHits(NamedTuple):
    """What each ray meets first.

    Attributes
    ----------
    face : (r,) int64
        The face, -1 where the ray meets nothing.
    distance : (r,) float64
        Along the ray, in lengths of its direction; infinite where it meets nothing.
    second, third : (r,) float32
        Barycentric weights of the place on the face's second and third corner.
    """

    face: IntArray
    distance: FloatArray
    second: NDArray[np.float32]
    third: NDArray[np.float32]

    @property
    def weights(self) -> FloatArray:
        """(r, 3) weights of the place on the face's three corners; 0 where the ray meets nothing."""
        weights = np.empty((len(self.face), 3))
        weights[:, 0], weights[:, 1], weights[:, 2] = 1.0 - self.second - self.third, self.second, self.third
        weights[self.face < 0] = 0.0
        return weights


class Rays:
    """A mesh made ready for rays.

    Embree works in single precision; the mesh is moved to its own middle first, so
    that a body far from the origin loses nothing.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        Triangles.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        mask = np.zeros(len(vertices), dtype=bool)
        mask[faces] = True
        used = vertices[mask] if mask.any() else np.zeros((1, 3))
        self.middle = 0.5 * (used.min(axis=0) + used.max(axis=0))
        self.reach = float(np.linalg.norm(np.ptp(used, axis=0))) or 1.0
        self._scene = rtcore_scene.EmbreeScene()
        moved = np.ascontiguousarray(vertices - self.middle, dtype=np.float32)
        # The scene keeps pointers only, so the geometry must live as long as it does.
        self._mesh = TriangleMesh(self._scene, moved, np.ascontiguousarray(faces, dtype=np.int32))

    def first(self, origins: Places, directions: Places) -> FirstHits:
        """What each ray meets first.

        Parameters
        ----------
        origins, directions : (r, 3) float
            Starting places and directions; both are broadcast against each other.

        Returns
        -------
        FirstHits
        """
        return self.first_within(origins, directions, np.inf)

    def first_within(self, origins: Places, directions: Places, reach: FloatArray | float) -> FirstHits:
        """What each ray meets first, no farther than `reach` (r,) lengths of its direction."""
        return _first_hits(*self._run(self._meet, origins, directions, reach))

    def first_from(self, starts: NDArray[np.float32], direction: FloatArray) -> FirstHits:
        """What rays from places made by `local` meet first, all in one direction."""
        d = np.broadcast_to(np.asarray(direction, dtype=np.float32), starts.shape)
        most = np.full(len(starts), 1e37, dtype=np.float32)
        return _first_hits(
            *self._in_halves(lambda o, d, most: self._meet(o, np.ascontiguousarray(d), most), starts, d, most)
        )

    def distance(
        self, starts: NDArray[np.float32], directions: NDArray[np.float32], reach: float
    ) -> NDArray[np.float32]:
        """How far rays from places made by `local` come, in lengths of their directions, at most `reach`."""
        most = np.full(len(starts), reach, dtype=np.float32)
        (far,) = self._in_halves(
            lambda o, d, most: (self._scene.run(o, np.ascontiguousarray(d), dists=most, query="DISTANCE"),),
            starts,
            directions,
            most,
        )
        return far

    def blocked(self, origins: Places, directions: Places) -> BoolArray:
        """(r,) True where anything at all is in the way of the ray."""
        (hit,) = self._run(
            lambda o, d, most: (self._scene.run(o, d, dists=most, query="OCCLUDED"),),
            origins,
            directions,
            np.inf,
        )
        return hit >= 0

    def blocked_from(self, starts: NDArray[np.float32], directions: NDArray[np.float32]) -> BoolArray:
        """(r,) True where anything is in the way from places made by `local`, in one direction or several."""
        (hit,) = self._in_halves(
            lambda o, d: (self._scene.run(o, np.ascontiguousarray(d), query="OCCLUDED"),),
            starts,
            np.broadcast_to(directions, starts.shape),
        )
        return hit >= 0

    def local(self, places: Places) -> NDArray[np.float32]:
        """Places in the frame and precision that the rays are shot in, for use more than once."""
        moved = np.empty(places.shape, dtype=np.float32)
        for axis, middle in enumerate(self.middle):  # column by column: twice as fast as by rows of three
            np.subtract(places[..., axis], middle, out=moved[..., axis], casting="same_kind")
        return moved

    def _meet(self, o: Any, d: Any, most: Any) -> tuple[NDArray[Any], ...]:
        found = self._scene.run(o, d, dists=most, output=1)
        return found["primID"], found["tfar"], found["u"], found["v"]

    def _run(
        self, run: Any, origins: Places, directions: Places, reach: FloatArray | float
    ) -> tuple[NDArray[Any], ...]:
        o, d = np.broadcast_arrays(self.local(origins), directions)
        o, d = np.ascontiguousarray(o), np.ascontiguousarray(d, dtype=np.float32)
        most = np.minimum(np.broadcast_to(reach, len(o)), 1e37).astype(np.float32)
        if len(o) == 0:  # one ray gives the arrays their types
            one = np.ones((1, 3), np.float32)
            return tuple(part[:0] for part in run(one, one, one[:, 0]))
        return self._in_halves(run, o, d, most)

    def _in_halves(self, run: Any, *columns: NDArray[Any]) -> tuple[NDArray[Any], ...]:
        """Run over rays, on two processors where there are many."""
        count = len(columns[0])
        if count < SMALL:
            return run(*columns)
        halves = [slice(k * count // THREADS, (k + 1) * count // THREADS) for k in range(THREADS)]
        with ThreadPoolExecutor(THREADS) as pool:
            parts = list(pool.map(lambda part: run(*(column[part] for column in columns)), halves))
        return tuple(np.concatenate(found) for found in zip(*parts, strict=True))


def _first_hits(prim: NDArray[Any], distance: NDArray[Any], u: NDArray[Any], v: NDArray[Any]) -> FirstHits:
    face = prim.astype(np.int64)
    far = distance.astype(np.float64)
    far[face < 0] = np.inf
    return FirstHits(face, far, u, v)
