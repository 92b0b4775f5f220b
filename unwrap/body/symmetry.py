"""How well a body matches its own reflection, and where the plane between its halves lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.rays import Rays
from unwrap.body.sky import sample_faces

if TYPE_CHECKING:
    # A body asks here for its middle, so at run time nothing is asked of it in turn.
    from unwrap.body.body import Body

# Places that are compared, about.
SAMPLES = 6000


@dataclass(frozen=True)
class Symmetry:
    """How well a body matches its own reflection.

    Parameters
    ----------
    axis : int
        0, 1 or 2: the reflection turns this coordinate round.
    middle : float
        Where the plane lies on that axis, mm.
    deviation : float
        Distance from the reflected surface to the surface that 90 % of it comes within, mm.
    worst : float
        The same for all of it that was tried, mm; 5 % of the diagonal where nothing is near.
    """

    axis: int
    middle: float
    deviation: float
    worst: float

    @property
    def line(self) -> str:
        """A sentence on it."""
        halves = ("front and rear", "left and right", "upper and lower")[self.axis]
        return (
            f"{halves} halves match about {'xyz'[self.axis]} = {self.middle:.2f} mm: "
            f"within {self.deviation:.2f} mm over 90 % of the surface, {self.worst:.2f} mm at worst"
        )


def find_symmetry(body: Body, axis: int = 1) -> Symmetry:
    """How well the body matches its reflection across a plane at right angles to an axis.

    The plane goes through the origin where that fits as well as any other. The middle of the
    body's extent is tried too, and the place that most of the surface agrees on from there: a
    lamp on one side only moves the first, not the second.

    Parameters
    ----------
    body : Body
    axis : int
        0, 1 or 2; 1 compares left and right.

    Returns
    -------
    Symmetry
    """
    rays = body.rays
    face, places = _places(body)
    weight = body.areas[face] / np.bincount(face, minlength=len(body.faces))[face]
    found = []
    middles = [0.0, float(body.bounds[:, axis].mean())]
    for middle in middles:
        gap = _reflected_gap(rays, body, face, places, axis, middle)
        distance = np.abs(gap)
        near = _weighted(distance, weight, 0.9)
        found.append(Symmetry(axis, middle, near, float(distance.max())))
        across: FloatArray = -body.normals[face][:, axis]
        beside = (np.abs(across) > 0.7) & (distance < 0.049 * rays.reach)
        if len(middles) < 4 and near > 1e-3 and beside.any():
            middles.append(middle + 0.5 * _weighted(gap[beside] / across[beside], weight[beside], 0.5))
    best = min(found, key=lambda one: one.deviation)
    return found[0] if found[0].deviation <= 1.05 * best.deviation + 1e-6 else best


def _places(body: Body) -> tuple[IntArray, FloatArray]:
    """Faces and a place on each, spread over the surface; of very many small faces some, by their area."""
    if len(body.faces) <= SAMPLES:
        return sample_faces(body.corners, body.areas, SAMPLES, most=64)
    random = np.random.default_rng(0)
    chosen = np.sort(random.choice(len(body.faces), SAMPLES, p=body.areas / body.areas.sum()))
    return chosen, body.vertices[body.faces[chosen]].mean(axis=1)


def _weighted(values: FloatArray, weight: FloatArray, share: float) -> float:
    """The value that this share of the weight lies below."""
    order = np.argsort(values)
    below = np.cumsum(weight[order]) / weight.sum()
    return float(values[order[min(int(np.searchsorted(below, share)), len(values) - 1)]])


def _reflected_gap(
    rays: Rays, body: Body, face: np.ndarray, places: FloatArray, axis: int, middle: float
) -> FloatArray:
    """(k,) way from each reflected place, along its normal, to the body's surface; below 0 inwards."""
    flip = np.ones(3)
    flip[axis] = -1.0
    mirrored = places * flip
    mirrored[:, axis] += 2 * middle
    normal = body.normals[face] * flip
    reach = 0.05 * rays.reach
    best = np.full(len(places), reach)
    for sign in (1.0, -1.0):
        # Start a little behind, so that a surface right at the place is met too.
        back = 1e-3 * rays.reach
        hit = rays.first_within(mirrored - sign * back * normal, sign * normal, reach + back)
        like = (hit.face >= 0) & (np.einsum("kd,kd->k", body.normals[hit.face], normal) > 0.5)
        there = sign * (hit.distance - back)
        best = np.where(like & (np.abs(there) < np.abs(best)), there, best)
    return best
