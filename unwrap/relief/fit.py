"""Lay a cut patch flat so that all of it is inside the film's window, if that can be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.energy import Work
from unwrap.flatten.even_out import Aim, even_out
from unwrap.flatten.flat_piece import AREA_ALLOWED_BEYOND, FlatPiece
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.strain import needles, strain
from unwrap.relief.ground import Ground

SPARE = 0.99 * AREA_ALLOWED_BEYOND  # a little less than allowed, so that rounding does not decide
VERY_THIN = 1e-3  # height over base of a needle that says nothing of the film
OPENING = 5  # Newton steps until the lips stand apart
# Round tips the strain rises steeply: steps stay long only where the barrier gives way more slowly.
CUT = Aim(steps=24, fall=0.6, last=3e-3, spare=SPARE)


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

    The work is lowered until the lips stand apart, then the worst strain. A tip strains the faces
    round it without limit, the finer the more: as much of them as may be beyond the film does not count.
    Where the shape of least worst strain lies over itself, the last on the way there that does not is kept.

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
    points, _ = minimise(problem, Work(), cut.chart / size, steps=OPENING, tolerance=1e-3)
    way: list[tuple[float, FloatArray]] = []
    # What a cut has left thin beside it is measured well enough to hold the shape as any other face.
    thin = needles(metric) & (metric.height < VERY_THIN * metric.base)
    even_out(problem, points, film, replace(CUT, enough=enough), thin=thin, way=way)
    best = min(range(len(way)), key=lambda k: way[k][0])
    flat = _last_flat([points for _, points in way[: best + 1]], cut.faces)
    reach, points = way[best if flat is None else flat]
    piece = FlatPiece(
        points=points * size,
        faces=cut.faces,
        vertex=cut.vertex,
        surface=cut.surface,
        face=cut.face,
        stretch=strain(cut.surface, points * size, cut.faces).stretch,
        film=film,
        bound=bound,
        cuts=tuple(cuts),
    )
    return Fit(piece, reach, flat is None)


def _last_flat(shapes: list[FloatArray], faces: IntArray) -> int | None:
    """The last of the shapes on a way that lies nowhere over itself, or, by halves, one near to that."""
    if not overlaps(shapes[-1], faces):
        return len(shapes) - 1
    low, high = -1, len(shapes) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if overlaps(shapes[middle], faces):
            high = middle
        else:
            low = middle
    return None if low < 0 else low
