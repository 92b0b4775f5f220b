"""Bring planned slits to a real mesh, as deep as that needs them and no deeper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.film import Film
from unwrap.relief.board import Board, Trial
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.fit import Fit, fit
from unwrap.relief.ground import Ground
from unwrap.relief.need import window_of
from unwrap.relief.plan import MOST, TARGET, Effort, one_more
from unwrap.relief.settle import settle
from unwrap.relief.slit import Slit, edges_of, nearest_edge

JUST = 0.99  # reach that planned sets are settled for
UNSURE = 0.04  # ln of what a set asks more or less than that, up to which a fit tells better
CLOSE = 0.992  # a reach between this and 1 is deep enough and not too deep
AIM = 0.9965  # reach that a change of depth aims at
ON_COPY = 0.985  # share of the film's window that the copy of a large mesh is brought within
JUST_WITHIN = 0.999  # reach at which the mesh itself is let rest
LARGE_TRIES = 3  # flattenings of a large mesh
TRIES = 8  # real flattenings after which no other set is begun
ENOUGH = 0.5  # share of the way to a new target that counts as getting on
SLIGHTLY = 0.9  # from this reach on a set is too deep by so little that cutting it less deep is all it needs
NEAR = 1.05  # and up to this one too shallow by so little
FUTILE = -0.4  # of ln(reach) with ln(depth): what is cut deeper to no more effect is bound elsewhere


def on_mesh(ground: Ground, slits: tuple[Slit, ...]) -> tuple[Slit, ...]:
    """The slits with their starts measured along the edges of another mesh of the same chart."""
    edges = edges_of(ground)
    out = []
    for slit in slits:
        edge, start = nearest_edge(edges, slit.foot)
        into = None if slit.into is None else nearest_edge(edges, slit.tip)[0]
        out.append(replace(slit, edge=edge, start=start, into=into))
    return tuple(out)


def cut_along(
    ground: Ground, slits: tuple[Slit, ...], factor: float = 1.0
) -> tuple[Ground, list[FloatArray]]:
    """The patch cut along the slits, each `factor` times as deep, and the cuts on the surface.

    They are made in the order in which they come round the edge: that is the order at the bench.
    """
    in_turn = sorted(slits, key=lambda slit: (-slit.edge.length, slit.start % slit.edge.length))
    curves = [slit.way(factor) for slit in in_turn]
    return cut_curves(ground, curves, [slit.into is not None for slit in in_turn])


def cut_and_fit(
    ground: Ground, slits: tuple[Slit, ...], film: Film, factor: float, bound: float, *, enough: float = 0.0
) -> Fit | None:
    """The patch cut along the slits, each `factor` times as deep, and laid flat; None if it cannot be cut."""
    try:
        cut, cuts = cut_along(ground, slits, factor)
    except CannotDraw:
        return None
    return fit(cut, film, cuts, bound=bound, enough=enough)


def finish(
    board: Board,
    trials: list[Trial],
    ground: Ground,
    film: Film,
    *,
    bound: float = 1.0,
    most: int | None = None,
    tries: int = TRIES,
) -> tuple[Fit | None, Trial, float]:
    """Bring the most hopeful of the planned sets just within the film on the real mesh, not only on the copy.

    What the real mesh was off moves the target on the copy; the set is settled anew for that, and where it
    cannot reach it, another of the planned sets takes its place, or a slit is added.

    Parameters
    ----------
    board : Board
    trials : list of Trial
        Planned sets, best first.
    ground : Ground
        The real mesh.
    film : Film
    bound : float
        Proven bound of the uncut patch.
    most : int, optional
        Largest number of slits.
    tries : int
        Real flattenings.

    Returns
    -------
    fit : Fit or None
        The cheapest that is good, else the one nearest to it; None if none can be cut.
    trial : Trial
        Its slits.
    factor : float
        How many times as deep they are cut.
    """
    best: Fit | None = None
    chosen, depth = trials[0], 1.0
    trial, waiting = trials[0], [t for t in trials[1:] if len(t.slits) != len(trials[0].slits)]
    target, steep = TARGET, 1.0  # the latter: change of ln(reach) with ln(need)
    trial = _as_foreseen(board, trial)
    last: tuple[float, float] | None = None
    fine: Board | None = None
    harmful = False  # whether to cut the set in hand deeper as it is did not help
    spent = 0
    while spent < tries:
        found = cut_and_fit(ground, on_mesh(ground, trial.slits), film, 1.0, bound)
        spent += 1
        if found is not None and _better(found, best):
            best, chosen, depth = found, trial, 1.0
        stuck = None
        if found is not None and not found.overlap:
            if SLIGHTLY < found.reach < (1.0 if harmful else NEAR):
                deeper, factor, more = deepen(ground, trial.slits, film, bound=bound, first=found)
                spent += more
                if deeper is not None and _better(deeper, best):
                    best, chosen, depth = deeper, trial, factor
                if deeper is not None and deeper.good:
                    break
                harmful = True
            if spent >= tries:
                break
            if last is not None and abs(np.log(trial.need / last[0])) > 0.02:
                steep = float(np.log(found.reach / last[1]) / np.log(trial.need / last[0]))
            last = trial.need, found.reach
            change = float(np.clip(np.log(JUST / found.reach) / np.clip(steep, 0.8, 2.5), -0.3, 0.1))
            target = trial.need * float(np.exp(change))
            stuck = settle(board, trial, target)
            if (
                fine is None
                and len(ground.faces) > board.finer_count
                and np.log(stuck.need / trial.need) / change <= ENOUGH
            ):
                fine = board.finer()
                finer = fine.attempt(trial.slits)
                if np.isfinite(finer.need):
                    board, trial = fine, finer
                    target = trial.need * float(np.exp(change))
                    stuck = settle(board, trial, target)
                    last = trial.need, found.reach
            if np.log(stuck.need / trial.need) / change > ENOUGH:
                trial = stuck
                continue
        if spent >= tries or (best is not None and best.good):
            break
        other = _another(board, stuck, waiting, target, most)
        if other is None:
            break
        trial, last, harmful = other, None, False
    return best, chosen, depth


def finish_large(
    board: Board,
    trials: list[Trial],
    ground: Ground,
    *,
    bound: float,
    most: int | None,
    tries: int,
) -> Fit | None:
    """`finish` on the middling copy, then on the real mesh, of which few flattenings can be afforded.

    A large mesh asks a little more than its copy: that is finished for a film that takes up so much less.
    """
    best: Fit | None = None
    film, share = board.film, ON_COPY
    for _ in range(LARGE_TRIES):
        rough, trial, depth = finish(
            board, trials, board.field.ground, _narrower(film, share), most=most, tries=tries
        )
        if rough is None:
            break
        real = on_mesh(ground, trial.slits)
        found = cut_and_fit(ground, real, film, depth, bound, enough=JUST_WITHIN)
        if found is not None and _better(found, best):
            best = found
        if found is None or found.good or not rough.good:
            break
        trials, share = [trial, *trials], share * JUST / found.reach
    return best


def _narrower(film: Film, share: float) -> Film:
    """The film with this share of its window, in ln, about the same middle."""
    middle, reach = window_of(film)
    least, most = np.exp(-middle + share * reach * np.array([-1.0, 1.0]))  # of the film's own stretch
    return Film(float(most) - 1.0, 1.0 - float(least))


def _as_foreseen(board: Board, trial: Trial) -> Trial:
    """The set settled for a need at which the real patch should be just within, where it is not yet."""
    for _ in range(2):
        change = np.log(JUST / board.foreseen(trial))
        if abs(change) < UNSURE:
            break
        settled = settle(board, trial, trial.need * float(np.exp(np.clip(change, -0.3, 0.1))))
        if not np.isfinite(settled.need):
            break
        trial = settled
    return trial


def _another(
    board: Board, stuck: Trial | None, waiting: list[Trial], target: float, most: int | None
) -> Trial | None:
    """What to try in the place of a set that cannot reach the target.

    The set with another slit, or the next that waits, whichever is cheaper.
    """
    found = []
    if stuck is not None and np.isfinite(stuck.need):
        found.append(one_more(board, stuck, target, Effort(), MOST if most is None else most))
    if waiting:
        found.append(settle(board, waiting.pop(0), target))

    def rank(trial: Trial) -> tuple[bool, float]:
        there = trial.reaches(1.02 * target)
        return not there, trial.cost if there else trial.need

    return min((t for t in found if t is not None and np.isfinite(t.need)), key=rank, default=None)


def deepen(
    ground: Ground,
    slits: tuple[Slit, ...],
    film: Film,
    *,
    bound: float = 1.0,
    tries: int = 5,
    first: Fit | None = None,
    factor: float = 1.0,
) -> tuple[Fit | None, float, int]:
    """Scale the depth of all slits together until the patch is just within the film.

    Begins at `factor` times the planned depth; `first` is the fit there, where that is known.

    Returns
    -------
    fit : Fit or None
        The least deep that is good, else the one nearest to it; None if the slits
        cannot be cut.
    factor : float
        Its depth over the planned one.
    spent : int
        Real flattenings that it took.
    """
    real = on_mesh(ground, slits)
    high = np.inf
    known: list[tuple[float, float]] = []  # ln(factor) and ln(reach) of what was laid flat
    best: tuple[Fit | None, float] = (None, 1.0)
    spent, last = 0, np.inf
    for k in range(tries):
        found = first if k == 0 and first is not None else cut_and_fit(ground, real, film, factor, bound)
        spent += found is not None and found is not first
        if found is None or found.overlap:
            # Too deep for the patch, or the lips collide: what is cut must be shallower.
            if factor <= 0.9:
                break
            high, factor = factor, 0.5 * (max(1.0, 0.9 * factor) + factor)
            continue
        if best[0] is not None and abs(found.piece.cut_length / last - 1.0) < 5e-4:
            break  # slits that run through are as deep as they can be
        last = found.piece.cut_length
        worse = best[0] is not None and not best[0].good and not _better(found, best[0])
        if _better(found, best[0]):
            best = (found, factor)
        if (found.good and found.reach > CLOSE) or (worse and factor > 1.0):
            break
        known.append((float(np.log(factor)), float(np.log(found.reach))))
        if len(known) == 2 and not found.good and _slope(known) > FUTILE:
            break
        next_one = float(np.exp(_next_depth(known)))
        if abs(next_one / factor - 1.0) < 0.001:
            break
        factor = next_one if next_one < high else 0.5 * (factor + high)
    return *best, spent


def _next_depth(known: list[tuple[float, float]]) -> float:
    """The ln(depth) at which the reach should meet what is aimed at, from those that are known."""
    aim = float(np.log(AIM))
    shallow = [k for k in known if k[1] > 0.0]
    deep = [k for k in known if k[1] <= 0.0]
    if shallow and deep:
        # Between the two that stand nearest, away from both.
        (a, u), (b, v) = max(shallow), min(deep)
        return a + float(np.clip((u - aim) / (u - v), 0.15, 0.85)) * (b - a)
    b, v = known[-1]
    slope = float(np.clip(_slope(known), -4.0, -0.5)) if len(known) > 1 else -1.5
    return b + float(np.clip((aim - v) / slope, -0.12, 0.12))


def _slope(known: list[tuple[float, float]]) -> float:
    (a, u), (b, v) = known[0], known[-1]
    return (v - u) / (b - a)


def _better(one: Fit, two: Fit | None) -> bool:
    if two is None or one.good != two.good:
        return two is None or one.good
    return one.piece.cut_length < two.piece.cut_length if one.good else one.reach < two.reach
