"""From a patch to a flat piece with as few and as short relief cuts as the film needs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from unwrap.film import Film
from unwrap.flatten import Relaxed, flatten, relax
from unwrap.flatten.bound import bound_of
from unwrap.flatten.flat_piece import FlatPiece, FloatArray
from unwrap.relief.board import Board
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.ground import Ground
from unwrap.relief.plan import plan
from unwrap.relief.slit import Slit, edges_of

COARSE = 450  # faces of the copy that cuts are planned on
MIDDLING = 4000  # faces of the copy that depths are settled on, where the patch has more


def relieve(
    vertices: ArrayLike,
    faces: ArrayLike,
    film: Film,
    *,
    cost: ArrayLike | None = None,
    keep_clear: ArrayLike | None = None,
    most: int | None = None,
) -> FlatPiece:
    """Lay a patch flat, with relief cuts where the film cannot follow it without.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        Positions on the surface, mm.
    faces : (m, 3) array_like of int
        Triangles, counter-clockwise seen from outside, as `flatten` takes them.
    film : Film
        What the film can take up.
    cost : (n,) array_like of float, optional
        What a millimetre of cut costs at each vertex; 1 = ordinary, less where a cut
        hides, more where it is looked at.
    keep_clear : (n,) array_like of bool, optional
        Vertices that no cut may come near.
    most : int, optional
        Largest number of cuts.

    Returns
    -------
    FlatPiece
        Without cuts exactly what `flatten` gives. `within` is False where no set of cuts
        was found that brings the piece inside the film's window; `notes` then says
        what would help.

    Raises
    ------
    ValueError
        If the patch cannot be flattened, or a weight has the wrong shape.
    """
    uncut = flatten(vertices, faces, film)
    if uncut.within or most == 0:
        return uncut
    count = len(np.asarray(vertices))
    price = _per_vertex(cost, count, "cost", 1.0)[uncut.vertex]
    clear = _per_vertex(keep_clear, count, "keep_clear", 0.0)[uncut.vertex] != 0.0
    ground = Ground(uncut.surface, uncut.points, uncut.faces, uncut.face, uncut.vertex)
    copy, corners, weights = coarse_copy(ground, COARSE)
    board = Board(copy, film, np.einsum("nk,nk->n", weights, price[corners]), clear[corners].any(axis=1))
    best = uncut
    for trial in plan(board, most=most)[:2]:
        piece = _finish(ground, uncut, film, trial.slits)
        if piece is not None and (not best.within or piece.cut_length < best.cut_length):
            best = piece
        if best.within:
            break
    return best if best.within else replace(best, notes=(*best.notes, *_helps(best, most)))


def _finish(ground: Ground, uncut: FlatPiece, film: Film, slits: tuple[Slit, ...]) -> FlatPiece | None:
    """The piece on the real mesh, all depths scaled together until it is just within."""
    real = _on(ground, slits)
    trial_ground = ground
    if len(ground.faces) > 1.5 * MIDDLING:
        trial_ground = coarse_copy(ground, MIDDLING)[0]
    rough = _on(trial_ground, slits)
    low, high = 0.0, np.inf
    factor, best, least = 1.0, None, np.inf
    for _ in range(6):
        piece = _piece(trial_ground, rough, film, factor)
        if piece is None:
            high = factor
        elif piece.within:
            high, best, least = factor, piece, factor
        else:
            low = factor
            best = piece if best is None else best
        if np.isinf(high):
            factor *= 1.06
        elif low == 0.0:
            factor *= 0.96
        elif high / low < 1.015:
            break
        else:
            factor = 0.5 * (low + high)
    if trial_ground is ground:
        return best if best is None else replace(best, bound=uncut.bound)
    factor = least if np.isfinite(least) else factor
    for _ in range(3):
        best = _piece(ground, real, film, factor)
        if best is None or best.within:
            break
        factor *= 1.03
    return best if best is None else replace(best, bound=uncut.bound)


def _on(ground: Ground, slits: tuple[Slit, ...]) -> tuple[Slit, ...]:
    """The slits with their starts measured along the edges of another mesh of the same chart."""
    edges = edges_of(ground)
    out = []
    for slit in slits:
        foot = slit.foot
        places = [edge.nearest(foot) for edge in edges]
        gaps = [np.linalg.norm(edge.point(s) - foot) for edge, s in zip(edges, places, strict=True)]
        i = int(np.argmin(gaps))
        out.append(replace(slit, edge=edges[i], start=places[i]))
    return tuple(out)


def _piece(ground: Ground, slits: tuple[Slit, ...], film: Film, factor: float) -> FlatPiece | None:
    try:
        cut, cuts = cut_curves(ground, [slit.scaled(factor).curve() for slit in slits])
    except CannotDraw:
        return None
    rest: Relaxed = relax(cut.surface, cut.faces, film, start=cut.chart)
    if rest.overlap:
        return None
    return FlatPiece(
        points=rest.points,
        faces=cut.faces,
        vertex=cut.vertex,
        surface=cut.surface,
        face=cut.face,
        stretch=rest.stretch,
        film=film,
        bound=bound_of(ground.surface, ground.faces),
        cuts=tuple(cuts),
    )


def _helps(piece: FlatPiece, most: int | None) -> list[str]:
    grow, shrink = piece.stretch_figures.worst, piece.compression_figures.worst
    notes = [
        f"beyond the film over {100 * piece.area_beyond:.1f} % of its area: it would have to grow by up to "
        f"{100 * grow:.1f} % and shrink by up to {100 * shrink:.1f} %"
    ]
    ways = ["a softer film", "two regions in the place of this one"]
    if most is not None:
        ways.insert(1, "more cuts")
    notes.append("what would help: " + ", ".join(ways[:-1]) + " or " + ways[-1])
    return notes


def _per_vertex(values: ArrayLike | None, count: int, name: str, default: float) -> FloatArray:
    if values is None:
        return np.full(count, default)
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (count,) or not np.isfinite(array).all() or (array < 0).any():
        raise ValueError(f"{name} must give one number >= 0 for each of the {count} vertices")
    return array
