"""Reflect a patch to the body's other side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.sky import sample_faces
from unwrap.errors import BadInput
from unwrap.regions.edges import face_normals
from unwrap.regions.nearest import distances
from unwrap.regions.region import Detail, Joint, Patch

# Places spread over the patch, and how near they may lie (as a share of its size): they
# find any difference that would show on the model.
PLACES = 6000
SAMPLE_SHARE = 0.01
# Where rays differ, one place in each cell of this share of the size is measured exactly.
DOUBT_SHARE = 0.05
# Rays start this far outside the patch, mm.
REACH = 2.0
# Rays are good to single precision; a smaller difference needs no second look, mm.
SURE = 0.005


def reflect_patch(body: Body, patch: Patch, name: str, tolerance: float = 0.05) -> Patch:
    """Reflect a patch from left to right, in the body's own middle plane.

    Parameters
    ----------
    body : Body
        The shell, which must be symmetrical there.
    patch : Patch
        The patch to reflect.
    name : str
        Name of the new patch's region.
    tolerance : float
        How far the body may be from symmetrical, mm.

    Returns
    -------
    Patch
        Same vertices and faces in the same order, on the other side of `body.middle`, and
        faces turned so that they still wind counter-clockwise seen from outside.

    Raises
    ------
    BadInput
        If the body lies further than `tolerance` from the reflected patch, with the
        deviation and its place.
    """
    vertices = reflected(patch.vertices, body.middle)
    deviation, at = _deviation(body, patch)
    if deviation > tolerance:
        place = ", ".join(f"{value:.1f}" for value in at)
        raise BadInput(
            f"region '{name}': mirror_of = \"{patch.name}\" does not fit; the body's other side is "
            f"{deviation:.2f} mm off at [{place}] (up to {tolerance:g} mm is allowed); "
            f"mark it as a region of its own."
        )
    holes = reflected(patch.holes, body.middle)
    details = reflected_details(patch.details, body.middle)
    # the two edges of a joint change places, as left and right do
    joints = tuple(Joint(first=joint.second, second=joint.first) for joint in patch.joints)
    return replace(
        patch,
        name=name,
        vertices=vertices,
        faces=patch.faces[:, [0, 2, 1]],
        joints=joints,
        details=details,
        holes=holes,
        mirror_of=patch.name,
    )


def reflected(places: FloatArray, middle: float) -> FloatArray:
    """Places (n, 3 or more) on the other side of the plane y = `middle`, mm."""
    there = places.copy()
    there[:, 1] = 2 * middle - there[:, 1]
    return there


def reflected_details(details: Sequence[Detail], middle: float) -> tuple[Detail, ...]:
    """Details on the other side of the plane y = `middle`, mm."""
    return tuple(
        replace(
            detail,
            at=(detail.at[0], 2 * middle - detail.at[1], detail.at[2]),
            course=detail.course * [1, -1, 1] + [0, 2 * middle, 0],
        )
        for detail in details
    )


def _deviation(body: Body, patch: Patch) -> tuple[float, FloatArray]:
    """How differently the body lies under the patch and under its reflection, and where, mm.

    Bridged details stand off the patch on both sides alike, so what rays meet on the
    patch's own side is what the other side is compared with. A ray beside an edge may
    just miss on one side; so the exact distance has the last word on every difference.
    """
    size = float(np.ptp(patch.vertices, axis=0).max())
    normals, areas = face_normals(patch.vertices, patch.faces)
    face, points = sample_faces(patch.vertices[patch.faces], areas, PLACES, most=PLACES)
    normals = normals[face]
    thin = _one_per_cell(points, size * SAMPLE_SHARE)
    points, normals = points[thin], normals[thin]
    flip = np.array([1.0, -1.0, 1.0])
    here = body.rays.first(points + REACH * normals, -normals).distance
    over = reflected(points, body.middle)
    there = body.rays.first(over + REACH * normals * flip, -normals * flip).distance
    more = np.abs(np.minimum(there, 2 * REACH) - np.minimum(here, 2 * REACH))
    doubt = np.flatnonzero(more > SURE)
    if not len(doubt):
        return float(more.max(initial=0.0)), over[0]
    doubt = doubt[_one_per_cell(points[doubt], size * DOUBT_SHARE)]
    exact = np.abs(distances(body.corners, over[doubt]) - distances(body.corners, points[doubt]))
    worst = int(exact.argmax())
    return float(exact[worst]), over[doubt][worst]


def _one_per_cell(points: FloatArray, spacing: float) -> IntArray:
    """One point of each cell of a grid."""
    cell = np.round(points / max(spacing, 1e-9)).astype(np.int64)
    return np.sort(np.unique(cell, axis=0, return_index=True)[1])
