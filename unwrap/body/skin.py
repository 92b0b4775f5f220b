"""The outside skin: which faces are seen from outside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.rays import Rays
from unwrap.body.sky import GRAZING, OFF, Sky, look_at_sky, sample_faces, sky_directions

# Places on the whole body beyond the first of each face.
PLACES = 150_000
FIRST_LOOK, SECOND_LOOK, OTHER_LOOK = 12, 28, 24
# A place with this share of an open hemisphere's light, or this share of the directions from
# well above, is outside whatever is behind it: the inside of an open wagon is seen too.
WELL_LIT = 0.45
FROM_ABOVE = 0.45
# A place with less light than this is looked at through a hole only.
PEEP = 0.01
# Beyond so many places, those within a cell of this share of the diagonal are judged by
# a few of them, where these agree.
CROWDED, GATHER, VOICES = 300_000, 1 / 250, 3
INSIDE, OUTSIDE, UNSURE = np.int8(0), np.int8(1), np.int8(2)
# A face of many places needs this share of them outside.
FEW = 0.04
# Two sides of a wall are compared where it is thinner than this share of the diagonal.
WALL = 0.05


def outside_faces(body: Body) -> BoolArray:
    """Which faces are seen from outside.

    Parameters
    ----------
    body : Body
        In mm, +z up.

    Returns
    -------
    (m,) bool
        True where some part of a face is on the outside: the sides of an opening too, as
        far as they are seen. False for the inner side of a wall, ribs, and what is buried
        in another part.

    Notes
    -----
    Each place on a face looks for the sky in directions from the zenith to 25 degrees
    below the horizon. One that sees much of it, or much of what is well above, is outside;
    one that sees none is not. In between (an inner wall seen through a window, the underside
    of a boiler seen from the side) the two sides of the wall are compared: the side that gets
    less light is inside. Where there is no second side near, or what is behind gets even less
    (a rib in a cab, the cab's rear wall before a closed bunker, the back of a deep recess), the
    place goes with what it looks at: it is outside when most of that is sky or outside. This is
    asked again until nothing changes, so that the outside spreads from where it is sure into
    recesses, but through a window only as far as the window fills most of the view.
    """
    if len(body.faces) == 0:
        return np.zeros(0, dtype=bool)
    face, places = sample_faces(body.corners, body.areas, PLACES)
    verdict = _verdicts(body.rays, body.normals, face, places)
    # A large face is outside with more than a stray place.
    enough = np.maximum(1, FEW * np.bincount(face, minlength=len(body.faces)))
    number = np.bincount(face[verdict == OUTSIDE], minlength=len(body.faces))
    unsure = np.flatnonzero(verdict == UNSURE)
    if len(unsure):
        met = _looks_at(body.rays, places[unsure], body.normals[face[unsure]])
        unsure = face[unsure]
        while (fresh := _mostly(np.append(number >= enough, [False, True]), met)).any():
            np.add.at(number, unsure[fresh], 1)
            unsure, met = unsure[~fresh], met[~fresh]
    return np.asarray(number >= enough)


def _verdicts(rays: Rays, normals: FloatArray, face: IntArray, places: FloatArray) -> NDArray[np.int8]:
    """`_judge`, with a few places of a very fine mesh speaking for their neighbours where they agree."""
    if len(places) <= CROWDED:
        return _judge(rays, normals, face, places)
    spoken, speaker = _speakers(rays, places, normals[face])
    said = _judge(rays, normals, face[spoken], places[spoken])
    low, high = np.full(speaker.max() + 1, UNSURE), np.full(speaker.max() + 1, INSIDE)
    np.minimum.at(low, speaker[spoken], said)
    np.maximum.at(high, speaker[spoken], said)
    verdict = low[speaker]
    torn = np.flatnonzero((low < high)[speaker])
    verdict[torn] = _judge(rays, normals, face[torn], places[torn])
    return verdict


def _judge(rays: Rays, normals: FloatArray, face: IntArray, places: FloatArray) -> NDArray[np.int8]:
    """Which places on the body are outside by their light: `INSIDE`, `OUTSIDE` or `UNSURE`.

    Parameters
    ----------
    rays : Rays
        The body.
    normals : (m, 3) float64
        Its faces' outward normals.
    face : (k,) int64
        The face of each place.
    places : (k, 3) float64

    Returns
    -------
    (k,) int8
    """
    normal = normals[face]
    first = look_at_sky(rays, places, normal, sky_directions(FIRST_LOOK, turn=0.3))
    # What is far beyond doubt already needs no second look.
    verdict = np.where(first.light >= 1.3 * WELL_LIT, OUTSIDE, INSIDE)
    doubt = np.flatnonzero(verdict == INSIDE)
    more = look_at_sky(rays, places[doubt], normal[doubt], sky_directions(SECOND_LOOK, turn=1.1))
    sky = first.of(doubt).plus(more, FIRST_LOOK, SECOND_LOOK)
    plain = (sky.light >= WELL_LIT) | _from_above(sky, FROM_ABOVE)
    verdict[doubt[plain]] = OUTSIDE
    between = np.flatnonzero(~plain & (sky.light > PEEP))
    verdict[doubt[between]] = UNSURE
    behind, thin = _other_side(rays, normals, places[doubt[between]], normal[doubt[between]])
    wall = between[thin]
    there = look_at_sky(rays, behind[thin], -normal[doubt[wall]], sky_directions(OTHER_LOOK, turn=1.1))
    verdict[doubt[wall[sky.light[wall] < there.light]]] = INSIDE
    return verdict


def _looks_at(rays: Rays, places: FloatArray, normal: FloatArray) -> NDArray[np.int32]:
    """(k, d) the face that each place sees in each direction: -1 the sky, -2 nothing, from behind itself."""
    start = places + OFF * rays.reach * normal
    directions = sky_directions(OTHER_LOOK)
    met = np.full((len(places), len(directions)), -2, dtype=np.int32)
    for column, direction in enumerate(directions):
        facing = np.flatnonzero(normal @ direction > GRAZING)
        met[facing, column] = rays.first(start[facing], direction).face
    return met


def _mostly(seen: BoolArray, met: NDArray[np.int32]) -> BoolArray:
    """(k,) whether most of what each place looks at is seen; the last but one of `seen` is nothing."""
    return 2 * np.count_nonzero(seen[met], axis=1) >= np.count_nonzero(met > -2, axis=1)


def _from_above(sky: Sky, share: float) -> BoolArray:
    return sky.high_free >= share * np.maximum(sky.high_before, 6)


def _speakers(rays: Rays, places: FloatArray, normal: FloatArray) -> tuple[IntArray, IntArray]:
    """Gather places that lie together and look the same way.

    Returns
    -------
    spoken : (s,) int64
        Up to `VOICES` places of each gathering.
    speaker : (k,) int64
        The gathering of each place.
    """
    cell = np.floor((places - rays.middle) / (GATHER * rays.reach)).astype(np.int64) + 4096
    way = np.round(1.5 * normal).astype(np.int64) + 2
    key = ((cell[:, 0] << 13 | cell[:, 1]) << 13 | cell[:, 2]) << 9 | (
        way[:, 0] << 6 | way[:, 1] << 3 | way[:, 2]
    )
    _, speaker = np.unique(key, return_inverse=True)
    order = np.argsort(speaker, kind="stable")
    size = np.bincount(speaker)
    start = np.cumsum(size) - size
    rank = np.arange(len(order)) - start[speaker[order]]
    # Spread over the gathering: its places number k * size / VOICES.
    step = np.maximum(size // VOICES, 1)[speaker[order]]
    return order[(rank % step == 0) & (rank < VOICES * step)], speaker


def _other_side(
    rays: Rays, normals: FloatArray, places: FloatArray, normal: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Where the wall behind each place ends, and whether that is near."""
    hit = rays.first(places - OFF * rays.reach * normal, -normal)
    thin = hit.distance < WALL * rays.reach
    # Only a face that looks the other way ends the material.
    leaves = np.einsum("kd,kd->k", normals[hit.face], normal) < -0.3
    distance = np.where(thin, hit.distance, 0.0) + OFF * rays.reach
    return places - distance[:, None] * normal, thin & leaves
