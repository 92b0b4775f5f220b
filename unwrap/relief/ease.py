"""A flat shape that is beyond the film on as little of it as can be, and the spots where it still is.

The least worst strain shares out among all faces what a few of them ask: one sharply rounded corner puts a
whole roof beyond the film. Where the film cannot follow everywhere, a modeller is better off with
a few bad spots, which may be slit or pricked, and the rest at ease.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.energy import Work
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.flatten import notes_on
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.strain import excess, strain
from unwrap.relief.need import window_of

AT_EASE = 0.8  # of the distance from the window's middle to its ends, up to which nothing counts
ROUNDED = 0.2  # of it, over which the penalty turns from a parabola into a straight line
FAR, CRUSHED = 1.0, 0.1  # from there on the line bends up again: no spot is to be crushed to nothing
WORK = 1e-2  # share of least work mixed in, so that there is one best shape
STEPS = 80


@dataclass(frozen=True)
class Beyond:
    """How far a stretch is beyond the film, straight: that leaves few faces beyond, rather than all a little.

    The penalty of P. J. Huber, "Robust estimation of a location parameter", 1964, section 4, on
    what exceeds the window.

    Parameters
    ----------
    middle : float
        Middle of the window in ln s.
    reach : float
        Distance in ln s from the middle to the window's ends.
    """

    middle: float
    reach: float

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        over = np.maximum(np.abs(np.log(s) - self.middle) / self.reach - AT_EASE, 0.0)
        huber = np.where(over < ROUNDED, over * over / (2.0 * ROUNDED), over - 0.5 * ROUNDED)
        return huber + 0.5 * CRUSHED * np.square(np.maximum(over - FAR, 0.0)) + WORK * np.square(s - 1.0 / s)

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        t = (np.log(s) - self.middle) / self.reach
        over = np.maximum(np.abs(t) - AT_EASE, 0.0)
        slope = np.sign(t) * (np.minimum(over / ROUNDED, 1.0) + CRUSHED * np.maximum(over - FAR, 0.0))
        bent = np.where((over > 0.0) & (over < ROUNDED), 1.0 / ROUNDED, np.where(over > FAR, CRUSHED, 0.0))
        inverse = 1.0 / s
        square = inverse * inverse
        return slope * inverse / self.reach + 2.0 * WORK * (s - inverse * square), (
            bent / self.reach - slope
        ) * square / self.reach + WORK * (2.0 + 6.0 * square * square)


def at_ease(surface: FloatArray, faces: IntArray, film: Film, start: FloatArray) -> FloatArray:
    """(n, 2) flat shape that is beyond the film on as little of it as can be found, mm.

    Parameters
    ----------
    surface : (n, 3) float64
        mm.
    faces : (m, 3) int64
    film : Film
    start : (n, 2) float64
        A flat shape without a flipped face, mm.
    """
    size = float(np.sqrt(metric_of(surface, faces).areas.sum()))
    problem = Problem.of(metric_of(surface / size, faces), start)
    areas = problem.weights
    problem = replace(problem, weights=np.maximum(areas, float(np.median(areas))))
    points, _ = minimise(problem, Work(), start / size, steps=12, tolerance=1e-3)
    points, _ = minimise(problem, Beyond(*window_of(film)), points, steps=STEPS, tolerance=1e-3)
    return points * size


def eased(piece: FlatPiece) -> FlatPiece:
    """The piece laid flat at ease, if less of it is beyond the film then and it lies nowhere over itself."""
    points = at_ease(piece.surface, piece.faces, piece.film, piece.points)
    found = replace(
        piece,
        points=points,
        stretch=strain(piece.surface, points, piece.faces).stretch,
        overlap=overlaps(points, piece.faces),
    )
    if found.overlap or not (piece.overlap or found.area_beyond < piece.area_beyond):
        return piece
    if piece.cuts:
        return found
    worst = float(excess(found.stretch, piece.film).max())
    return replace(
        found, notes=notes_on(piece.surface, piece.faces, piece.film, piece.bound, worst, overlap=False)
    )


def spots_of(piece: FlatPiece) -> list[IntArray]:
    """The faces of each spot that is beyond the film, the largest spot first."""
    faces = np.flatnonzero(piece.beyond)
    if len(faces) == 0:
        return []
    held = sparse.coo_matrix(
        (np.ones(3 * len(faces)), (np.repeat(np.arange(len(faces)), 3), piece.faces[faces].ravel())),
        (len(faces), len(piece.points)),
    ).tocsr()
    number, spot = connected_components(held @ held.T, directed=False)
    spots = [faces[spot == k] for k in range(number)]
    return sorted(spots, key=lambda own: -float(piece.areas[own].sum()))
