"""What the film must do on each face, and along which directions on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.film import Film
from unwrap.flatten.energy import split
from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.flatten.metric import metric_of


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
    found = split(metric_of(surface, faces), points)
    s1, s2 = found.s1, found.s2
    stretch = np.column_stack([1.0 / np.abs(s2), 1.0 / s1])
    # On the sheet the larger sigma lies along half the sum of the two parts' angles;
    # the film stretches most at right angles to it.
    angle = 0.5 * (np.arctan2(found.h, found.e) + np.arctan2(found.g, found.f)) + 0.5 * np.pi
    return Strain(stretch, np.column_stack([np.cos(angle), np.sin(angle)]), s2 <= 0.0)


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
