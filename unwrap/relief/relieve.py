"""From a patch to a flat piece with as few and as short relief cuts as the film needs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.one_core import on_one_core
from unwrap.relief.board import Board, Trial
from unwrap.relief.chart import chart_of
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.crumple import (
    crumple,
    flat_but_for_spots,
    measured_on,
    pressed_smooth,
    told_of_crumple,
)
from unwrap.relief.ease import eased
from unwrap.relief.field import FORBIDDEN, Field
from unwrap.relief.finish import TRIES, finish, finish_large
from unwrap.relief.fit import Fit
from unwrap.relief.ground import Ground
from unwrap.relief.mirror import find_mirrors
from unwrap.relief.plan import MOST, TARGET, gets_on, plan
from unwrap.relief.slit import Slit
from unwrap.relief.spots import at_few_spots

COARSE = 450  # faces of the copy that cuts are planned on
WORTH = 0.8  # what slits that do not bring a piece within must leave, at most, of the area beyond the film
UNSEEN = 0.5  # need of the copy below which it shows nothing of what puts the patch beyond the film
SMOOTH = 0.45  # of the planning mesh's spacing: how far a ragged outline is smoothed to plan on it
OTHERS, SHORTER = 4, 0.95  # how many sets may collide, and what the next has to cost of the last
MIDDLING = 4000  # faces of the copy that depths are settled on, where the patch has more


@on_one_core
def relieve(
    vertices: ArrayLike,
    faces: ArrayLike,
    film: Film,
    *,
    cost: ArrayLike | None = None,
    keep_clear: ArrayLike | None = None,
    most: int | None = None,
    symmetric: bool = True,
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
    symmetric : bool
        Whether a symmetric patch gets symmetric cuts. Weights that are not symmetric
        make this no symmetric patch.

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
    if uncut.within:
        return uncut
    count = len(np.asarray(vertices))
    price = _per_vertex(cost, count, "cost", 1.0)[uncut.vertex]
    clear = _per_vertex(keep_clear, count, "keep_clear", 0.0)[uncut.vertex] != 0.0
    helps = _helps(most, bool(clear.any()))

    def left_uncut(*why: str) -> FlatPiece:
        calm = eased(uncut)
        return calm if calm.within else replace(calm, notes=(*calm.notes, *why))

    over = crumple(uncut)
    if over.any():
        said = told_of_crumple(uncut, over)
        smooth = pressed_smooth(uncut, over)
        if smooth is not None:
            laid = relieve(
                smooth,
                uncut.faces,
                film,
                cost=price,
                keep_clear=clear,
                most=most,
                symmetric=symmetric,
            )
            if laid.within and not laid.overlap:
                laid = measured_on(laid, uncut)
                return laid if laid.within else replace(laid, notes=(*laid.notes, said))
        if flat_but_for_spots(uncut, over):
            return left_uncut(said)
    if most == 0:
        return left_uncut("no relief cuts are allowed in it", helps)
    if clear[boundary_edges(uncut.faces)].all():
        return left_uncut("no relief cut can begin anywhere: all of its edges are to be kept clear", helps)
    ground = Ground(uncut.surface, chart_of(uncut), uncut.faces, uncut.face, uncut.vertex)
    try:
        board = _board(ground, uncut.areas.sum(), film, price, clear, symmetric)
    except ValueError:
        return left_uncut("its outline is too intricate to plan relief cuts on", helps)
    dearest = float(price.max())
    limit = MOST if most is None else most
    calm, spotted = at_few_spots(board, ground, uncut, limit, lambda s: not _trespasses(board, s, dearest))
    if calm is not None and calm.within:
        return calm
    unseen = board.bare.need < UNSEEN
    planned = [] if unseen else plan(board, most=most)
    good = min((spot for spot in spotted if spot.piece.within), key=lambda spot: spot.cost, default=None)
    if good is not None and not any(t.reaches(TARGET) and t.cost < good.cost for t in planned[:1]):
        return good.piece
    allowed = [t for t in planned if not _trespasses(board, t.slits, dearest)]
    if planned and not allowed and not spotted:
        return left_uncut("every relief cut that helps would go through ground to keep clear", helps)
    best = _finished(board, allowed, ground, uncut.bound, most) if allowed else None
    if best is not None and best.good:
        return replace(best.piece, uncut=uncut)
    if good is not None:
        return good.piece
    calm = eased(uncut) if calm is None else calm
    cut = [spot.piece for spot in spotted]
    if best is not None and not best.overlap:
        cut.append(eased(replace(best.piece, uncut=calm)))
    least = min(cut, key=lambda piece: piece.area_beyond, default=None)
    if least is None and unseen:
        why = (
            "what is beyond the film is too small for relief cuts: prick it there, or touch it in with paint"
        )
        return replace(calm, notes=(*calm.notes, why))
    if least is None:
        # Where it curves like a saddle, more cuts are no help either.
        why = "no relief cut was found that helps: where a surface curves like a saddle, lips would overlap"
        return replace(calm, notes=(*calm.notes, why, helps if planned else _helps(None, bool(clear.any()))))
    if least.area_beyond > WORTH * calm.area_beyond:
        why = "the relief cuts that were found leave nearly as much of it beyond the film"
        return replace(calm, notes=(*calm.notes, why, helps))
    return replace(least, notes=(*least.notes, helps))


def _board(
    ground: Ground, area: float, film: Film, price: FloatArray, clear: NDArray[np.bool_], symmetric: bool
) -> Board:
    try:
        return _board_on(coarse_copy(ground, MIDDLING), film, price, clear, symmetric)
    except ValueError:  # a ragged outline
        smooth = SMOOTH * float(np.sqrt(area / COARSE))
        return _board_on(coarse_copy(ground, MIDDLING, smooth), film, price, clear, symmetric)


def _board_on(
    made: tuple[Ground, IntArray, FloatArray],
    film: Film,
    price: FloatArray,
    clear: NDArray[np.bool_],
    symmetric: bool,
) -> Board:
    copy, corners, weights = made
    barred = np.asarray(clear[corners].any(axis=1))
    field = Field.of(copy, np.einsum("nk,nk->n", weights, price[corners]), barred)
    mirrors = find_mirrors(copy, np.where(field.clear, FORBIDDEN, field.price)) if symmetric else ()
    return Board(field, film, COARSE, mirrors)


def _trespasses(board: Board, slits: tuple[Slit, ...], dearest: float) -> bool:
    """Whether a slit of the set goes through ground to keep clear."""
    costs = board.field.costs([slit.curve() for slit in slits])
    return any(c > 5.0 * max(dearest, 1.0) * s.chord for c, s in zip(costs, slits, strict=True))


def _finished(
    board: Board, trials: list[Trial], ground: Ground, bound: float, most: int | None
) -> Fit | None:
    """The piece on the real mesh, nowhere over itself if one of the sets gives such a piece."""
    best = None
    for _ in range(OTHERS):
        best = _finished_with(board, trials, ground, bound, most)
        if best is None or not best.overlap:
            break
        # Lips that collide on the real mesh may not, where slits are shorter.
        trials = [t for t in trials[1:] if t.cost < SHORTER * trials[0].cost]
        if not trials:
            break
    return best


def _finished_with(
    board: Board, trials: list[Trial], ground: Ground, bound: float, most: int | None
) -> Fit | None:
    """The piece on the real mesh; where that is fine, slits are settled on the middling copy of it."""
    # Sets that hardly help are tried as they are: one of them may still leave less of the area beyond.
    tries = TRIES if gets_on(board, trials) else 1
    if len(ground.faces) > 1.5 * MIDDLING:
        return finish_large(board, trials, ground, bound=bound, most=most, tries=tries)
    return finish(board, trials, ground, board.film, bound=bound, most=most, tries=tries)[0]


def _helps(most: int | None, barred: bool) -> str:
    ways = ["a softer film", "two regions in the place of this one"]
    if barred:
        ways.insert(0, "less ground to keep clear")
    if most is not None:
        ways.insert(0, f"more cuts than {most}" if most else "cuts")
    return "what would help: " + ", ".join(ways[:-1]) + " or " + ways[-1]


def _per_vertex(values: ArrayLike | None, count: int, name: str, default: float) -> FloatArray:
    if values is None:
        return np.full(count, default)
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (count,) or not np.isfinite(array).all() or (array < 0).any():
        raise ValueError(f"{name} must give one number >= 0 for each of the {count} vertices")
    return array
