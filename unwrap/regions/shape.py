"""What kind of shape a smooth part is: flat, cylinder, cone, domed or free."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from unwrap.arrays import FloatArray

Kind = Literal["flat", "cylinder", "cone", "domed", "free"]

# Normals of a flat part agree to this; a part that turns more is curved. Single
# precision on triangles of half a millimetre gives a few hundredths of a degree.
FLAT_TURN = np.radians(1.0)
# A sheet that bulges by less than this (mm) is flat to anyone who lays film on it.
FLAT_DEPTH = 0.08
# A ruled part's normals keep to a plane (cylinder) or a circle (cone) to this.
RULED_TURN = np.radians(2.0)
# Residual of a fitted circle against its radius that still is a cylinder or cone.
ROUND = 0.02
# Mean cosine between normals and radii from which on a part is round.
RADIAL = 0.95
# A part domes when its outside turns over at least this much solid angle (steradians).
DOME_TURN = 0.05


@dataclass(frozen=True)
class Shape:
    """A part's kind with the figures that describe it.

    Parameters
    ----------
    kind : str
        "flat", "cylinder", "cone", "domed" or "free".
    normal : (3,) tuple of float
        Mean outward direction; zero for a part that faces all ways (a whole tube).
    axis : (3,) tuple of float or None
        Direction of the axis of a cylinder or cone.
    centre : (3,) tuple of float or None
        A point on that axis, or a cone's apex, mm.
    radius : float or None
        A cylinder's radius, mm (a cone's mean radius).
    """

    kind: Kind
    normal: tuple[float, float, float]
    axis: tuple[float, float, float] | None = None
    centre: tuple[float, float, float] | None = None
    radius: float | None = None


def name_shape(corners: FloatArray, normals: FloatArray, areas: FloatArray, turn: float) -> Shape:
    """Name the shape of one smooth part.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corner positions per face, mm.
    normals : (m, 3) float64
        Outward unit normals.
    areas : (m,) float64
        mm^2.
    turn : float
        Total Gaussian curvature of the part, steradians (sum of angle defects).

    Returns
    -------
    Shape

    Notes
    -----
    The normals of a plane fall on one point of the unit sphere, those of a cylinder
    on a great circle, those of a cone on a small circle (the Gauss map; see M. do
    Carmo, Differential Geometry of Curves and Surfaces, 1976, section 3-2). So two
    eigenvalue problems on the normals and one circle fit tell the kinds apart.
    """
    weight = areas / areas.sum()
    mean = weight @ normals
    length = float(np.linalg.norm(mean))
    toward = mean / length if length > 0.05 else np.zeros(3)
    facing = _tuple(toward)
    if length > 0.05 and _share_within(np.arccos(np.clip(normals @ toward, -1, 1)), weight, FLAT_TURN):
        return Shape("flat", facing)
    if length > 0.99:
        off = corners.reshape(-1, 3) @ toward
        if np.ptp(off) < FLAT_DEPTH:
            return Shape("flat", facing)

    offset = normals - mean
    spread, directions = np.linalg.eigh((offset * weight[:, None]).T @ offset)
    points = corners.reshape(-1, 3)
    point_weight = np.repeat(areas / 3, 3)
    for axis in (directions[:, 0], np.linalg.eigh((normals * weight[:, None]).T @ normals)[1][:, 0]):
        lean = normals @ axis
        level = float(weight @ lean)
        if not _share_within(
            np.abs(np.arcsin(np.clip(lean, -1, 1)) - np.arcsin(np.clip(level, -1, 1))), weight, RULED_TURN
        ):
            continue
        if level < 0:
            axis, level = -axis, -level
        if level < np.sin(RULED_TURN):
            found = _circle(points, point_weight, axis)
            if found is not None and _radial(corners.mean(axis=1) - found[0], normals, axis, weight):
                centre, radius = found
                return Shape("cylinder", facing, _tuple(_forward(axis)), _tuple(centre), radius)
        elif spread[1] > 1e-6 and level < 0.999:
            apex = np.linalg.lstsq(
                normals * np.sqrt(weight)[:, None],
                np.sqrt(weight) * np.einsum("ij,ij->i", normals, corners[:, 0]),
                rcond=None,
            )[0]
            away = points - apex
            along = away @ axis
            reach = np.linalg.norm(away - along[:, None] * axis, axis=1)
            # on a cone the reach is proportional to the way from the apex
            slope = float(np.sum(point_weight * reach * along) / np.sum(point_weight * along * along))
            residual = np.sqrt(np.sum(point_weight * (reach - slope * along) ** 2) / point_weight.sum())
            if residual < ROUND * reach.max():
                return Shape(
                    "cone",
                    facing,
                    _tuple(_forward(axis)),
                    _tuple(apex),
                    float(np.average(reach, weights=point_weight)),
                )
    if turn > DOME_TURN and spread[1] > 0.15 * spread[2]:
        return Shape("domed", facing)
    return Shape("free", facing)


def _circle(points: FloatArray, weight: FloatArray, axis: FloatArray) -> tuple[FloatArray, float] | None:
    """Centre (on the axis) and radius of a cylinder with known axis, or None where it is not round."""
    first = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    middle = np.average(points, axis=0, weights=weight)
    x, y = (points - middle) @ first, (points - middle) @ second
    # Kasa's algebraic circle fit (I. Kasa, 1976): linear in centre and r^2 - |centre|^2
    root = np.sqrt(weight)
    solution = np.linalg.lstsq(
        np.stack([x, y, np.ones_like(x)], axis=1) * root[:, None], (x * x + y * y) * root, rcond=None
    )[0]
    cx, cy = solution[0] / 2, solution[1] / 2
    radius = float(np.sqrt(max(solution[2] + cx * cx + cy * cy, 0.0)))
    away = np.abs(np.hypot(x - cx, y - cy) - radius)
    if radius <= 0 or np.sqrt(np.average(away**2, weights=weight)) > ROUND * radius:
        return None
    return middle + cx * first + cy * second, radius


def _radial(away: FloatArray, normals: FloatArray, axis: FloatArray, weight: FloatArray) -> bool:
    """Whether normals point away from (or to) an axis, as on a round part; not on a box round a circle."""
    out = away - np.outer(away @ axis, axis)
    length = np.maximum(np.linalg.norm(out, axis=1), 1e-12)
    return abs(float(weight @ (np.einsum("ij,ij->i", out, normals) / length))) > RADIAL


def _share_within(angles: FloatArray, weight: FloatArray, limit: float, share: float = 0.97) -> bool:
    return bool(weight[angles <= limit].sum() >= share)


def _forward(axis: FloatArray) -> FloatArray:
    """One of the two directions of an axis, the same for every mesh of the body."""
    largest = np.abs(axis).argmax()
    return axis if axis[largest] > 0 else -axis


def _tuple(values: FloatArray) -> tuple[float, float, float]:
    a, b, c = (float(value) for value in values)
    return a, b, c
