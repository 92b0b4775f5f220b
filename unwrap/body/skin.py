"""The outside skin: which faces are seen from outside."""

from __future__ import annotations

import numpy as np

from unwrap.body.body import Body, BoolArray, FloatArray, IntArray
from unwrap.body.rays import Rays
from unwrap.body.sky import OFF, any_of, count_open, sample_faces, sky_directions

# Places on the whole body beyond the first of each face.
PLACES = 150_000
FIRST_LOOK, SECOND_LOOK = 12, 36
# A place that sees this share of the sky is outside whatever is behind it: the inside of
# an open wagon is seen too.
WIDE_OPEN = 0.35
# A place that sees less than this is looked at only through a hole.
PEEP = 0.02
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
    below the horizon. One that sees much of it is outside, one that sees none is not. In
    between (an inner wall seen through a window, the underside of a boiler seen between
    the frames) the two sides of the wall are compared: the side that sees less is inside.
    """
    if len(body.faces) == 0:
        return np.zeros(0, dtype=bool)
    rays = Rays(body.vertices, body.faces)
    face, places = sample_faces(body.corners, body.areas, PLACES)
    outside = places_outside(rays, body.faces, body.normals, face, places)
    return any_of(face, outside, len(body.faces))


def places_outside(
    rays: Rays, faces: IntArray, normals: FloatArray, face: IntArray, places: FloatArray
) -> BoolArray:
    """Which places on the body are outside; see `outside_faces`.

    Parameters
    ----------
    rays : Rays
        The body.
    faces, normals : (m, 3)
        Its faces and their outward normals.
    face : (k,) int64
        The face of each place.
    places : (k, 3) float64

    Returns
    -------
    (k,) bool
    """
    del faces
    normal = normals[face]
    looks = sky_directions(FIRST_LOOK + SECOND_LOOK)
    before, free = count_open(rays, places, normal, looks[:FIRST_LOOK])
    open_ = free / np.maximum(before, 1)
    outside = open_ >= 0.6
    doubt = np.flatnonzero(~outside)
    more_before, more_free = count_open(rays, places[doubt], normal[doubt], looks[FIRST_LOOK:])
    open_[doubt] = (free[doubt] + more_free) / np.maximum(before[doubt] + more_before, 1)
    outside |= open_ >= WIDE_OPEN

    between = np.flatnonzero(~outside & (open_ > PEEP))
    behind, thin = _other_side(rays, normals, places[between], normal[between])
    outside[between] = True
    wall = np.flatnonzero(thin)
    if len(wall):
        there_before, there_free = count_open(rays, behind[wall], -normal[between[wall]], looks)
        there = there_free / np.maximum(there_before, 1)
        outside[between[wall]] = open_[between[wall]] >= there
    return outside


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
