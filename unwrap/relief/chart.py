"""A flat shape to draw cuts on: one that nowhere lies over itself, however badly it fits the film."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten import relax
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.energy import Work
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.start import round_start

STEPS = 30  # towards the least work, for as long as nothing overlaps


def chart_of(uncut: FlatPiece) -> FloatArray:
    """Positions of an uncut piece's points in a shape to plan cuts on.

    The piece's own shape where that does not lie over itself. Else its openings are
    filled for the while: a filled opening cannot close up, and its edges cannot slide over each
    other. Where the outer edge crosses itself even so, the way from a round outline towards the least
    work is gone only as far as it does not.

    Parameters
    ----------
    uncut : FlatPiece

    Returns
    -------
    (k, 2) float64
        mm; no flipped face, no overlap.
    """
    if not overlaps(uncut.points, uncut.faces):
        return uncut.points
    surface, faces = filled(uncut.surface, uncut.faces)
    count = len(uncut.points)
    least = relax(surface, faces, uncut.film, thorough=False).points
    if not overlaps(least, faces):
        return least[:count]
    return _towards_least_work(surface, faces)[:count]


def filled(surface: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The patch with every edge but the longest closed by a fan round one new vertex in its middle."""
    loops = boundary_loops(faces)
    lengths = [np.linalg.norm(np.roll(surface[k], -1, axis=0) - surface[k], axis=1).sum() for k in loops]
    loops.pop(int(np.argmax(lengths)))
    middles = [surface[loop].mean(axis=0) for loop in loops]
    fans = [
        np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), len(surface) + k)])
        for k, loop in enumerate(loops)
    ]
    return np.concatenate([surface, np.reshape(middles, (-1, 3))]), np.concatenate([faces, *fans])


def _towards_least_work(surface: FloatArray, faces: IntArray) -> FloatArray:
    size = float(np.sqrt(metric_of(surface, faces).areas.sum()))
    places = (surface - surface.mean(axis=0)) / size
    metric = metric_of(places, faces)
    problem = Problem.of(metric, places)
    points = round_start(metric, places, boundary_loops(faces), problem.system, even=True)
    for _ in range(STEPS):
        further, _ = minimise(problem, Work(), points, steps=1, tolerance=1e-3)
        if overlaps(further, faces) or np.array_equal(further, points):
            break
        points = further
    return points * size
