"""How much of the sky a place on the body sees."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.rays import Rays

# A model stands on its wheels: it is looked at from above, from the side and from a
# little below, but not up through its open bottom.
LOWEST = np.radians(-25.0)
# Rays start this far off the surface, as a share of the body's diagonal, so that
# single precision does not make a face hide itself.
OFF = 2e-5
# Directions that only graze a face say little about it.
GRAZING = 0.05
# Sine of the height above the horizon from which one looks into an open wagon.
HIGH = float(np.sin(np.radians(20.0)))


def sky_directions(count: int, turn: float = 0.0) -> FloatArray:
    """(count, 3) unit directions spread evenly from 25 degrees below the horizon to the zenith.

    A spherical Fibonacci lattice (Swinbank and Purser, 2006), turned about the vertical by
    `turn` radians, so that two of them do not look the same way.
    """
    rank = np.arange(count)
    z = np.sin(LOWEST) + (1.0 - np.sin(LOWEST)) * (rank + 0.5) / count
    angle = turn + 2.0 * np.pi * 0.6180339887498949 * rank
    flat = np.sqrt(1.0 - z**2)
    return np.stack([flat * np.cos(angle), flat * np.sin(angle), z], axis=1)


class Sky(NamedTuple):
    """What places see of the sky, added up over directions.

    Attributes
    ----------
    light : (k,) float64
        Share of a whole open hemisphere's light that arrives (cosine-weighted, 0 to 1).
    before, free : (k,) int16
        Directions on the place's side, and those of them that meet nothing.
    high_before, high_free : (k,) int16
        The same for directions from well above.
    """

    light: FloatArray
    before: NDArray[np.int16]
    free: NDArray[np.int16]
    high_before: NDArray[np.int16]
    high_free: NDArray[np.int16]

    def of(self, chosen: IntArray) -> Sky:
        """The same for some of the places."""
        light, before, free, high_before, high_free = self
        return Sky(light[chosen], before[chosen], free[chosen], high_before[chosen], high_free[chosen])

    def plus(self, other: Sky, own: int, others: int) -> Sky:
        """Together with what the same places see in other directions: how many these and those are."""
        light = (self.light * own + other.light * others) / (own + others)
        return Sky(light, *(a + b for a, b in zip(self[1:], other[1:], strict=True)))


def look_at_sky(rays: Rays, places: FloatArray, normals: FloatArray, directions: FloatArray) -> Sky:
    """What places on the body see of the sky.

    Parameters
    ----------
    rays : Rays
        The body.
    places, normals : (k, 3) float64
        Places on the body and the side that they look to.
    directions : (d, 3) float64
        From `sky_directions`, all of them.

    Returns
    -------
    Sky
    """
    start = rays.local(places + OFF * rays.reach * normals)
    towards = np.ascontiguousarray(normals.T, dtype=np.float32)
    light = np.zeros(len(places), dtype=np.float32)
    tally = np.zeros((4, len(places)), dtype=np.int16)
    for direction in directions.astype(np.float32):  # one direction at a time keeps the rays side by side
        cosine = direction @ towards
        facing = np.flatnonzero(cosine > GRAZING)
        free = facing[~rays.blocked_from(start[facing], direction)]
        light[free] += cosine[free]
        tally[0, facing] += 1
        tally[1, free] += 1
        if direction[2] > HIGH:
            tally[2, facing] += 1
            tally[3, free] += 1
    # Over a whole sphere of evenly spread directions, the cosines before a place add up to
    # a quarter of their number.
    whole = len(directions) * 2.0 / (1.0 - np.sin(LOWEST)) / 4.0
    return Sky(light.astype(np.float64) / whole, *tally)


def sample_faces(
    corners: FloatArray, areas: FloatArray, total: int, *, most: int = 48
) -> tuple[IntArray, FloatArray]:
    """Places spread over faces: more on larger ones, at least one on each.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corner positions.
    areas : (m,) float64
        Their areas.
    total : int
        About how many places beyond the first of each face.
    most : int
        Largest number on one face.

    Returns
    -------
    face : (k,) int64
        The face of each place, ascending.
    places : (k, 3) float64
    """
    share = areas / max(float(areas.sum()), 1e-300)
    number = np.clip(1 + np.floor(total * share), 1, most).astype(np.int64)
    face = np.repeat(np.arange(len(areas)), number)
    rank = np.arange(len(face)) - np.repeat(np.cumsum(number) - number, number)
    # The first place is the centroid; the others follow the R2 sequence (Roberts, 2018),
    # folded into the triangle.
    u = (0.5 + 0.7548776662466927 * rank) % 1.0
    v = (0.5 + 0.5698402909980532 * rank) % 1.0
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    u, v = np.where(rank == 0, 1 / 3, u), np.where(rank == 0, 1 / 3, v)
    weights = np.stack([1 - u - v, u, v], axis=1)
    return face, np.einsum("kc,kcd->kd", weights, corners[face])
