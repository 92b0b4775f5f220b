"""The way from a patch to its flat shape."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from unwrap.film import Film
from unwrap.flatten.bound import bound_of
from unwrap.flatten.check import check_patch
from unwrap.flatten.develop import developed_start
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.energy import Work, Worst, stretches
from unwrap.flatten.flat_piece import FlatPiece, FloatArray, IntArray
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.start import round_start
from unwrap.flatten.strain import excess, strain

# A development that stretches no face beyond this is a better start than a round outline.
DEVELOPED = 2.0
POWERS = tuple(4.0 * 2.0 ** (k / 2) for k in range(18))


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
    """

    points: FloatArray
    stretch: FloatArray
    worst: float
    overlap: bool
    steps: int


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
    """
    middle = vertices.mean(axis=0)
    size = float(np.sqrt(metric_of(vertices - middle, faces).areas.sum()))
    surface = (vertices - middle) / size
    metric = metric_of(surface, faces)
    problem = Problem.of(metric, surface)
    points = None if start is None else (start - start.mean(axis=0)) / size
    if points is None or not stretches(metric, points)[1].min() > 0.0:
        points = developed_start(metric, problem.system)
        large, small = stretches(metric, points)
        if not (small.min() > 1.0 / DEVELOPED and large.max() < DEVELOPED):
            points = round_start(metric, surface, boundary_loops(faces), problem.system)
    points, steps = minimise(problem, Work(), points)
    stretch = strain(surface, points, faces).stretch
    if thorough and float(excess(stretch, film).max()) > 1.0:
        points, more = even_out(problem, points, film)
        steps += more
        stretch = strain(surface, points, faces).stretch
    return Relaxed(points * size, stretch, float(excess(stretch, film).max()), overlaps(points, faces), steps)


def even_out(problem: Problem, points: FloatArray, film: Film) -> tuple[FloatArray, int]:
    """Lower the worst strain inside the film's window, from the shape of least work.

    The film's window [1 - compression, 1 + stretch] of film stretch is [-ln(1 + stretch),
    -ln(1 - compression)] of ln sigma. Its middle is kept; a rising power of the distance
    from it, summed over the faces, comes ever closer to the largest distance.
    """
    low, high = film.window
    middle = -0.5 * (np.log(low) + np.log(high))
    taken = 0
    for power in POWERS:
        s1, s2 = stretches(problem.metric, points)
        reach = float(np.maximum(np.abs(np.log(s1) - middle), np.abs(np.log(s2) - middle)).max())
        if reach <= 1e-7:
            break
        points, steps = minimise(problem, Worst(middle, reach, power, 1e-4), points, steps=2, tolerance=1e-3)
        taken += steps
    return points, taken


def flatten(vertices: ArrayLike, faces: ArrayLike, film: Film) -> FlatPiece:
    """Lay a patch flat, asking as little of the film as can be, without cuts.

    The film's work is minimised first; where that leaves a face outside the film's
    window, the worst strain inside the window is.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        Positions on the surface, mm.
    faces : (m, 3) array_like of int
        Triangles, counter-clockwise seen from outside: a connected patch with at least
        one edge and no handle.
    film : Film
        What the film can take up.

    Returns
    -------
    FlatPiece
        One point per used vertex, in the vertices' order. `notes` says when the piece is
        beyond the film or lies over itself.

    Raises
    ------
    ValueError
        If the patch cannot be flattened; names the face or the edge.
    """
    all_vertices, all_faces = check_patch(vertices, faces)
    used = np.unique(all_faces)
    new = np.full(len(all_vertices), -1)
    new[used] = np.arange(len(used))
    surface, triangles = all_vertices[used], new[all_faces]
    rest = relax(surface, triangles, film)
    return FlatPiece(
        points=rest.points,
        faces=triangles,
        vertex=used,
        surface=surface,
        face=np.arange(len(triangles)),
        stretch=rest.stretch,
        film=film,
        bound=bound_of(surface, triangles),
        notes=tuple(_notes(rest)),
    )


def could_fit(vertices: FloatArray, faces: IntArray, film: Film) -> bool:
    """False if the proven bound says that no flat shape without cuts is inside the film's window."""
    return bound_of(vertices, faces) <= film.ratio


def _notes(rest: Relaxed) -> list[str]:
    notes = []
    if rest.overlap:
        notes.append("the piece lies over itself on the sheet")
    if rest.worst > 1.0:
        notes.append(f"the worst face asks for {rest.worst:.2f} times what the film takes up")
    return notes
