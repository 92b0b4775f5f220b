"""Reflect a patch to the body's other side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from unwrap.body.body import Body, FloatArray
from unwrap.errors import BadInput
from unwrap.regions.nearest import closest_points
from unwrap.regions.region import Joint, Patch

# Samples this far apart (as a share of the patch's size) find any difference that
# would show on the model.
SAMPLE_SHARE = 0.01


def reflect_patch(body: Body, patch: Patch, name: str, tolerance: float = 0.05) -> Patch:
    """Reflect a patch from left to right (y to -y).

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
        Same vertices and faces in the same order, y negated and faces turned so that
        they still wind counter-clockwise seen from outside.

    Raises
    ------
    BadInput
        If the body lies further than `tolerance` from the reflected patch, with the
        deviation and its place.
    """
    flip = np.array([1.0, -1.0, 1.0])
    vertices = patch.vertices * flip
    deviation, at = _deviation(body, patch, vertices)
    if deviation > tolerance:
        place = ", ".join(f"{value:.1f}" for value in at)
        raise BadInput(
            f"region '{name}': mirror_of = \"{patch.name}\" does not fit; the body's other side is "
            f"{deviation:.2f} mm off at [{place}] (up to {tolerance:g} mm is allowed); "
            f"mark it as a region of its own."
        )
    holes = patch.holes * np.array([1.0, -1.0, 1.0, 1.0])
    details = tuple(
        replace(detail, at=(detail.at[0], -detail.at[1], detail.at[2])) for detail in patch.details
    )
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


def _deviation(body: Body, patch: Patch, mirrored: FloatArray) -> tuple[float, FloatArray]:
    """How much further the body lies from the reflected patch than from the patch itself.

    Bridged details stand off the patch on both sides alike, so the distance on the
    patch's own side is what the other side's is compared with.
    """
    share = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1 / 3, 1 / 3, 1 / 3]])
    size = float(np.ptp(patch.vertices, axis=0).max())
    samples = _spread(patch.vertices, patch.faces, share, size * SAMPLE_SHARE)
    flip = np.array([1.0, -1.0, 1.0])
    here = distance_to_body(body, samples)
    there = distance_to_body(body, samples * flip)
    more = np.abs(there - here)
    worst = int(more.argmax())
    return float(more[worst]), (samples * flip)[worst]


def _spread(vertices: FloatArray, faces: np.ndarray, share: FloatArray, spacing: float) -> FloatArray:
    """Corners and middles of the faces, thinned to one per cell of the given size."""
    points = np.einsum("kc,mcd->mkd", share, vertices[faces]).reshape(-1, 3)
    cell = np.round(points / max(spacing, 1e-9)).astype(np.int64)
    _, first = np.unique(cell, axis=0, return_index=True)
    return points[np.sort(first)]


def distance_to_body(body: Body, points: FloatArray) -> FloatArray:
    """Distance of each point from the body's nearest face.

    Parameters
    ----------
    body : Body
        The shell.
    points : (k, 3) float64
        mm.

    Returns
    -------
    (k,) float64
        mm.
    """
    # Long triangles defeat a search by middles, so each is represented by samples no
    # further apart than the finest sensible grid; the exact distance then comes from
    # the faces behind the samples that are near.
    low, high = points.min(axis=0) - 1.0, points.max(axis=0) + 1.0
    corners = body.corners
    near = np.flatnonzero(((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)).all(axis=1))
    if not len(near):
        near = np.arange(len(corners))
    corners = corners[near]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    step = max(float(np.linalg.norm(high - low)) / 150, 1e-6)
    count = np.maximum(np.ceil(lengths.max(axis=1) / step).astype(np.int64), 1)
    owners, samples = [], []
    for number in np.unique(count):
        group = np.flatnonzero(count == number)
        i, j = np.meshgrid(np.arange(number + 1), np.arange(number + 1), indexing="ij")
        keep = i + j <= number
        u, v = i[keep] / number, j[keep] / number
        grid = np.stack([1 - u - v, u, v], axis=1)
        samples.append(np.einsum("kc,mcd->mkd", grid, corners[group]).reshape(-1, 3))
        owners.append(np.repeat(group, len(grid)))
    owner = np.concatenate(owners)
    tree = cKDTree(np.concatenate(samples))
    _, index = tree.query(points)
    best = np.linalg.norm(closest_points(corners[owner[index]], points) - points, axis=1)
    # Every face has a sample within `step` of each of its places, so none nearer than the
    # nearest sample's is missed by looking that much further.
    found = tree.query_ball_point(points, best + step)
    count_per_point = [len(group) for group in found]
    point = np.repeat(np.arange(len(points)), count_per_point)
    face = owner[np.concatenate([np.asarray(group, dtype=np.int64) for group in found])]
    pair = np.unique(point * len(corners) + face)
    point, face = np.divmod(pair, len(corners))
    np.minimum.at(
        best, point, np.linalg.norm(closest_points(corners[face], points[point]) - points[point], axis=1)
    )
    return best
