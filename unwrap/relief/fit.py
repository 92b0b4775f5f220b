"""Lay a cut patch flat so that all of it is inside the film's window, if that can be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.film import Film
from unwrap.flatten.energy import Work, stretches
from unwrap.flatten.flat_piece import AREA_ALLOWED_BEYOND, FlatPiece
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.relief.ground import Ground
from unwrap.relief.need import Worst

# A reach that the stages after this power will not bring down to 1.
HOPELESS = {32.0: 1.2, 64.0: 1.1}
# The first stage runs to its end: what it leaves far off, higher powers mend only slowly.
STAGES = ((8.0, 30), (16.0, 10), (32.0, 12), (64.0, 12), (128.0, 12))


@dataclass(frozen=True, eq=False)
class Fit:
    """A cut patch laid flat.

    Parameters
    ----------
    piece : FlatPiece
    reach : float
        Distance from the middle of the film's window (1 at its ends) that no more than the
        area allowed beyond it exceeds.
    overlap : bool
        Whether the piece lies over itself.
    """

    piece: FlatPiece
    reach: float
    overlap: bool

    @property
    def good(self) -> bool:
        """Within the film and nowhere over itself."""
        return self.piece.within and not self.overlap


def fit(cut: Ground, film: Film, cuts: list[FloatArray], *, bound: float = 1.0, enough: float = 0.0) -> Fit:
    """Flat shape of a cut patch that asks least of the film.

    Rising powers of the distance from the middle of the window: a tip strains the faces round it without
    limit, the finer the more, and a power, unlike the worst strain, gives these up for all others.
    The small faces that a cut leaves weigh as much as ordinary ones, so that they do not lag
    behind, and of all stages that do not overlap the one with the least area beyond the film is kept.

    Parameters
    ----------
    cut : Ground
        The opened mesh; both lips of each cut still lie together in its chart.
    film : Film
    cuts : list of (n, 3) float64
        The cuts on the surface, edge to tip, mm.
    bound : float
        Proven bound of the uncut patch.
    enough : float
        A reach that is good enough to stop at.
    """
    a, b, c = np.moveaxis(cut.surface[cut.faces], 1, 0)
    size = float(np.sqrt(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()))
    metric = metric_of(cut.surface / size, cut.faces)
    problem = Problem.of(metric, cut.chart)
    areas = problem.weights
    problem = replace(problem, weights=np.maximum(areas, float(np.median(areas))))
    points, _ = minimise(problem, Work(), cut.chart / size, steps=6, tolerance=1e-3)
    best, least, crossed = points, np.inf, True
    for power, steps in STAGES:
        law = Worst.of(film, power)
        points, _ = minimise(problem, law, points, steps=steps, tolerance=0.3)
        s1, s2 = stretches(metric, points)
        reach = _reach(np.maximum(law.distance(s1), law.distance(s2)), areas)
        overlap = overlaps(points, cut.faces)
        if (overlap, reach) < (crossed, least):
            best, least, crossed = points, reach, overlap
        # What is far beyond the film, or has room to spare, need not be known to a hair.
        if not crossed and (least <= enough or least > HOPELESS.get(power, np.inf)):
            break
    s1, s2 = stretches(metric, best)
    piece = FlatPiece(
        points=best * size,
        faces=cut.faces,
        vertex=cut.vertex,
        surface=cut.surface,
        face=cut.face,
        stretch=np.column_stack([1.0 / s2, 1.0 / s1]),
        film=film,
        bound=bound,
        cuts=tuple(cuts),
    )
    return Fit(piece, least, crossed)


def _reach(distance: FloatArray, areas: FloatArray) -> float:
    order = np.argsort(-distance)
    share = np.cumsum(areas[order]) / areas.sum()
    # A little less than allowed, so that rounding does not decide.
    return float(
        distance[order][min(int(np.searchsorted(share, 0.99 * AREA_ALLOWED_BEYOND)), len(order) - 1)]
    )
