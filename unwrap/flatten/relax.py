"""From a patch to a flat shape at rest: least work first, then the least worst strain."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.develop import developments
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.energy import Work, stretches
from unwrap.flatten.even_out import even_out
from unwrap.flatten.metric import Metric, metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.start import round_start
from unwrap.flatten.strain import excess, needles, strain

SQUASHED = 0.02  # a development that squashes no face below this is a better start than a round outline
# Needles are held no lower than this against their base while the worst strain is lowered: a step stops short
# of the first flip, and would otherwise be no longer than the lowest needle is high.
LOW = 1e-4
AT_REST = 1e-9  # a shape that strains no face by more is what a step would end at, to rounding
ENOUGH = 1e-5  # the work's last step promises no more than this share of it


@dataclass(frozen=True, eq=False)
class Relaxed:
    """A flat shape at rest.

    Parameters
    ----------
    points : (n, 2) float64
        Flat positions, mm, in the order of the vertices.
    stretch : (m, 2) float64
        Principal film stretches per face, larger first.
    worst : float
        How many times the film's take-up the worst face asks for; <= 1 is within.
    overlap : bool
        True if the shape lies over itself.
    steps : int
        Newton steps taken.
    least : (n, 2) float64
        The shape of least work, mm; `points` itself where that is within the film.
    """

    points: FloatArray
    stretch: FloatArray
    worst: float
    overlap: bool
    steps: int
    least: FloatArray


def relax(
    vertices: FloatArray,
    faces: IntArray,
    film: Film,
    *,
    start: FloatArray | None = None,
    thorough: bool = True,
) -> Relaxed:
    """Flat shape that asks least of the film; no checks, for repeated use.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm; every vertex is used by a face.
    faces : (m, 3) int64
        A patch as `check_patch` lets through.
    film : Film
    start : (n, 2) float64, optional
        A flat shape to start from. One with a flipped face is not used.
    thorough : bool
        False leaves the worst strain as the least work leaves it, which is quicker.

    Returns
    -------
    Relaxed

    Raises
    ------
    ValueError
        If no flat shape without a flipped face can be started from.
    """
    middle = vertices.mean(axis=0)
    size = float(np.sqrt(metric_of(vertices - middle, faces).areas.sum()))
    surface = (vertices - middle) / size
    metric = metric_of(surface, faces)
    problem = Problem.of(metric, surface)
    points = None if start is None else (start - start.mean(axis=0)) / size
    if points is None or not _unflipped(metric, points):
        points = _first(metric, surface, problem)
    stretch, steps = strain(surface, points, faces).stretch, 0
    if np.abs(stretch - 1.0).max() > AT_REST:
        points, steps = minimise(problem, Work(), points, tolerance=ENOUGH)
        stretch = strain(surface, points, faces).stretch
    least = points
    if thorough and float(excess(stretch, film).max()) > 1.0:
        points, more = _evened_out(problem, points, film)
        steps += more
        stretch = strain(surface, points, faces).stretch
    worst = float(excess(stretch, film).max())
    return Relaxed(points * size, stretch, worst, overlaps(points * size, faces), steps, least * size)


def _first(metric: Metric, surface: FloatArray, problem: Problem) -> FloatArray:
    thin = needles(metric)
    for points in developments(metric, problem.system):
        upright = _with_tips_placed(metric, points, thin)
        if stretches(metric, upright)[1].min() > SQUASHED:
            return upright
    loops = boundary_loops(metric.faces)
    for even in (False, True):
        points = round_start(metric, surface, loops, problem.system, even=even)
        if _unflipped(metric, points):
            return points
    raise ValueError(
        "the patch cannot be laid flat without a fold: it is far deeper than its edge is long;"
        " mark it as several smaller regions"
    )


def _with_tips_placed(metric: Metric, points: FloatArray, thin: np.ndarray) -> FloatArray:
    """The shape with the tips of needles put to where their own faces want them.

    Least squares leave a needle's tip a hair off, which is much beside its height.
    """
    if not thin.any():
        return points
    points = points.copy()
    a, b, tip = metric.faces[thin].T
    share, rise = metric.foot[thin] / metric.base[thin], metric.height[thin] / metric.base[thin]
    for _ in range(3):
        along = points[b] - points[a]
        across = np.column_stack([-along[:, 1], along[:, 0]])
        points[tip] = points[a] + share[:, None] * along + rise[:, None] * across
    return points


def _evened_out(problem: Problem, points: FloatArray, film: Film) -> tuple[FloatArray, int]:
    """`even_out` with the lowest needles held higher meanwhile."""
    metric = problem.metric
    low = needles(metric) & (metric.height < LOW * metric.base)
    if low.any():
        held = replace(metric, height=np.where(low, LOW * metric.base, metric.height))
        lifted = _with_tips_placed(held, points, low)
        if _unflipped(held, lifted):
            evened, steps = even_out(replace(problem, metric=held), lifted, film)
            evened = _with_tips_placed(metric, evened, low)
            if _unflipped(metric, evened):
                return evened, steps
    return even_out(problem, points, film)


def _unflipped(metric: Metric, points: FloatArray) -> bool:
    return bool(np.isfinite(points).all()) and bool(stretches(metric, points)[1].min() > 0.0)
