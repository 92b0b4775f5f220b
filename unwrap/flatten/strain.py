"""What the film must do on each face, and along which directions on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.edges import interior_edges
from unwrap.flatten.energy import split
from unwrap.flatten.metric import Metric, metric_of

# A needle is a face both thin (height over longest side) and small beside its neighbours.
THIN, SMALL = 0.05, 0.05


@dataclass(frozen=True, eq=False)
class Strain:
    """Film strain per face.

    Parameters
    ----------
    stretch : (m, 2) float64
        Principal film stretches (sheet -> surface), larger first; 1.0 = none.
    directions : (m, 2) float64
        Unit vectors on the sheet along which the film stretch is the larger one; the
        smaller one is at right angles to it. The sign means nothing.
    flipped : (m,) bool
        True where a face lies on its back.
    """

    stretch: FloatArray
    directions: FloatArray
    flipped: np.ndarray


def strain(surface: FloatArray, points: FloatArray, faces: IntArray) -> Strain:
    """Film strain of a flat shape.

    A needle's height is a matter of rounding and says nothing of the film, which takes no
    notice of so thin a strip. So a needle is given the strain of the sound faces on its
    sides: the area mean of their strain tensors.

    Parameters
    ----------
    surface : (k, 3) float64
        Where each point lies on the surface, mm.
    points : (k, 2) float64
        Flat positions, mm.
    faces : (m, 3) int64

    Returns
    -------
    Strain
    """
    metric = metric_of(surface, faces)
    found = split(metric, points)
    s1, s2 = found.s1, found.s2
    # On the sheet the larger sigma lies along half the sum of the two parts' angles.
    angle = 0.5 * (np.arctan2(found.h, found.e) + np.arctan2(found.g, found.f))
    flipped = s2 <= 0.0
    s2 = np.abs(s2)
    thin = needles(metric)
    if thin.any():
        s1[thin], s2[thin], angle[thin] = _with_neighbours(metric.areas, faces, s1, s2, angle, thin)
    # The film stretches most where sigma is least, at right angles to the larger one.
    angle = angle + 0.5 * np.pi
    directions = np.column_stack([np.cos(angle), np.sin(angle)])
    return Strain(np.column_stack([1.0 / s2, 1.0 / s1]), directions, flipped)


def needles(metric: Metric) -> np.ndarray:
    """(m,) bool: faces too thin, and too small beside their neighbours, to be measured alone."""
    thin = metric.height < THIN * metric.base
    if not thin.any():
        return thin
    _, pairs = interior_edges(metric.faces)
    areas = metric.areas
    around = np.bincount(pairs[:, 0], areas[pairs[:, 1]], len(areas))
    around += np.bincount(pairs[:, 1], areas[pairs[:, 0]], len(areas))
    return thin & (areas < SMALL * around)


def _with_neighbours(
    areas: FloatArray, faces: IntArray, s1: FloatArray, s2: FloatArray, angle: FloatArray, thin: np.ndarray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Stretches and angle of the needles, from area means of sigma^2 as a tensor on the sheet."""
    mean, half = 0.5 * (s1**2 + s2**2), 0.5 * (s1**2 - s2**2)
    parts = areas * np.stack([mean, half * np.cos(2 * angle), half * np.sin(2 * angle), np.ones_like(s1)])
    total = np.zeros_like(parts)
    _, pairs = interior_edges(faces)
    for mine, other in (pairs.T, pairs.T[::-1]):
        for row, part in zip(total, parts, strict=True):
            row += np.bincount(mine, np.where(thin[other], 0.0, part[other]), len(areas))
    # With needles all round there is nothing better than its own.
    total = np.where(total[3] > 0.0, total, parts)
    middle, real, imaginary = total[:3, thin] / total[3, thin]
    wide = np.minimum(np.hypot(real, imaginary), middle)
    return np.sqrt(middle + wide), np.sqrt(middle - wide), 0.5 * np.arctan2(imaginary, real)


def crosses(
    surface: FloatArray, points: FloatArray, faces: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middles, directions and stretches per face, ready to draw as crosses on the sheet.

    Returns
    -------
    middles : (m, 2) float64
        mm on the sheet.
    directions : (m, 2, 2) float64
        Unit vectors: along the larger and along the smaller film stretch.
    stretch : (m, 2) float64
    """
    found = strain(surface, points, faces)
    along = found.directions
    across = np.column_stack([-along[:, 1], along[:, 0]])
    return points[faces].mean(axis=1), np.stack([along, across], axis=1), found.stretch


def excess(stretch: FloatArray, film: Film) -> FloatArray:
    """How many times the film's take-up each face asks for: 1.0 = just all of it.

    Parameters
    ----------
    stretch : (m, 2) float64
        Principal film stretches, larger first.
    film : Film

    Returns
    -------
    (m,) float64
        The larger of growth over `film.stretch` and shrinking over `film.compression`; 0 for
        no strain, inf for a strain of a kind that the film cannot take at all.
    """
    grow = np.maximum(stretch[:, 0] - 1.0, 0.0)
    shrink = np.maximum(1.0 - stretch[:, 1], 0.0)
    return np.maximum(_share(grow, film.stretch), _share(shrink, film.compression))


def _share(part: FloatArray, whole: float) -> FloatArray:
    if whole > 0.0:
        return part / whole
    return np.where(part > 1e-9, np.inf, 0.0)
