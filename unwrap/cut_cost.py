"""What a relief cut costs at each place of a region: where it hides, and where it is looked at."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from unwrap.body.body import BoolArray, FloatArray
from unwrap.job import Job, RegionMark
from unwrap.regions.region import Patch

# Shares of an ordinary millimetre of cut: choices of ours, not measured.
UNDERNEATH, BEHIND, WISHED, ALONG_BAND = 0.4, 0.7, 0.3, 0.6
UNWISHED, THROUGH_LETTERS = 4.0, 6.0
# Common practice, no source: a bold letter is about as wide as it is high.
LETTER_WIDTH = 0.9


def cut_cost(job: Job, mark: RegionMark, patch: Patch) -> tuple[FloatArray | None, BoolArray | None]:
    """Cost of a millimetre of cut at each vertex, and where none may go.

    Parameters
    ----------
    job : Job
    mark : RegionMark
        The region, with its wishes.
    patch : Patch
        Its surface.

    Returns
    -------
    cost : (n,) float64 or None
        1 = ordinary; None where all is.
    keep_clear : (n,) bool or None
        None where cuts may go anywhere.
    """
    places, wishes = patch.vertices, mark.relief
    cost = np.ones(len(places))
    out = _normals(patch)
    cost[out[:, 0] < -0.7] *= BEHIND
    cost[out[:, 2] < -0.5] *= UNDERNEATH
    for band in job.marks_for(job.band, mark):
        width = sum(width for width, _ in band.pairs)
        cost[np.abs(places[:, 0] - band.at_x) <= 0.5 * width] *= ALONG_BAND
    cost[_near(places, wishes.prefer, wishes.reach)] *= WISHED
    cost[_near(places, wishes.avoid, wishes.reach)] *= UNWISHED
    for lettering in job.marks_for(job.lettering, mark):
        half = 0.5 * len(lettering.text_for(0)) * (LETTER_WIDTH * lettering.height + lettering.spacing)
        cost[_near(places, [lettering.at], max(half, lettering.height))] *= THROUGH_LETTERS
    clear = _near(places, wishes.keep_clear, wishes.reach)
    return (None if np.all(cost == 1.0) else cost), (clear if clear.any() else None)


def _near(places: FloatArray, points: list[tuple[float, float, float]], reach: float) -> BoolArray:
    if not points:
        return np.zeros(len(places), dtype=bool)
    near: BoolArray = np.asarray(cKDTree(np.array(points)).query(places)[0]) <= reach
    return near


def _normals(patch: Patch) -> FloatArray:
    """(n, 3) unit normals at the vertices, weighted by area."""
    a, b, c = np.moveaxis(patch.vertices[patch.faces], 1, 0)
    face = np.cross(b - a, c - a)
    normal = np.zeros_like(patch.vertices)
    np.add.at(normal, patch.faces, face[:, None])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    return np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
