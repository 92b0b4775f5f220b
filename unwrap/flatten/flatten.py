"""The way from a patch to its flat piece: check, relax, say what the user should know."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.bound import bound_of
from unwrap.flatten.check import check_patch
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.metric import metric_of
from unwrap.flatten.relax import relax
from unwrap.flatten.strain import needles


def flatten(vertices: ArrayLike, faces: ArrayLike, film: Film, *, thorough: bool = True) -> FlatPiece:
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
    thorough : bool
        False leaves the worst strain as the least work leaves it, and the bound at 1: a first answer.

    Returns
    -------
    FlatPiece
        One point per used vertex, in the vertices' order. `notes` says when the piece is
        beyond the film or lies over itself, and how needle faces were measured.

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
    rest = relax(surface, triangles, film, thorough=thorough)
    bound = bound_of(surface, triangles, rest.least) if thorough else 1.0
    return FlatPiece(
        points=rest.points,
        faces=triangles,
        vertex=used,
        surface=surface,
        face=np.arange(len(triangles)),
        stretch=rest.stretch,
        film=film,
        bound=bound,
        overlap=rest.overlap,
        notes=notes_on(surface, triangles, film, bound, rest.worst, rest.overlap),
    )


def could_fit(vertices: FloatArray, faces: IntArray, film: Film) -> bool:
    """False if the proven bound says that no flat shape without cuts is inside the film's window."""
    return bound_of(vertices, faces) <= film.ratio


def notes_on(
    surface: FloatArray, faces: IntArray, film: Film, bound: float, worst: float, overlap: bool
) -> tuple[str, ...]:
    """What the user should know of a patch laid flat without cuts.

    Parameters
    ----------
    surface, faces : (n, 3) float64, (m, 3) int64
    film : Film
    bound : float
        Proven bound on largest over smallest stretch.
    worst : float
        How many times what the film takes up the worst face asks.
    overlap : bool
        Whether it lies over itself.
    """
    notes = []
    if overlap:
        notes.append("the piece lies over itself on the sheet; it needs to be cut in two")
    if worst > 1.0:
        words = f"the worst face asks for {worst:.2f} times what the film takes up"
        if bound > film.ratio:
            words += (
                f", and no flat shape without cuts could fit (largest over smallest stretch >= {bound:.3f})"
            )
        notes.append(words)
    metric = metric_of(surface, faces)
    thin = needles(metric)
    if thin.any():
        share = float(metric.areas[thin].sum() / metric.areas.sum())
        count = int(thin.sum())
        those = "1 very thin triangle" if count == 1 else f"{count} very thin triangles"
        notes.append(
            f"{those} of the body ({share:.2%} of the area), measured together with what lies beside"
        )
    return tuple(notes)
