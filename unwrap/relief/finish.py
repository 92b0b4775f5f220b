"""Bring planned slits to a real mesh, as deep as that needs them and no deeper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unwrap.film import Film
from unwrap.relief.board import Board, Trial
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.fit import Fit, fit
from unwrap.relief.ground import Ground
from unwrap.relief.plan import MOST, TARGET, Effort, one_more
from unwrap.relief.settle import settle
from unwrap.relief.slit import Slit, edges_of, nearest_edge

CLOSE = 0.985  # a reach between this and 1 is deep enough and not too deep
AIM = 0.993  # reach that a change of depth aims at
ENOUGH = 0.5  # share of the way to a new target that counts as getting on
SLIGHTLY = 0.9  # from this reach on a set is too deep by so little that cutting it less deep is all it needs
NEAR = 1.1  # and up to this one too shallow by so little


def on_mesh(ground: Ground, slits: tuple[Slit, ...]) -> tuple[Slit, ...]:
    """The slits with their starts measured along the edges of another mesh of the same chart."""
    edges = edges_of(ground)
    out = []
    for slit in slits:
        edge, start = nearest_edge(edges, slit.foot)
        into = None if slit.into is None else nearest_edge(edges, slit.tip)[0]
        out.append(replace(slit, edge=edge, start=start, into=into))
    return tuple(out)


def cut_and_fit(
    ground: Ground, slits: tuple[Slit, ...], film: Film, factor: float, bound: float, *, enough: float = 0.0
) -> Fit | None:
    """The patch cut along the slits, each `factor` times as deep, and laid flat; None if it cannot be cut.

    Cuts are made in the order in which they come round the edge: that is the order at the bench.
    """
    try:
        in_turn = sorted(slits, key=lambda slit: (-slit.edge.length, slit.start % slit.edge.length))
        curves = [slit.scaled(factor).curve() for slit in in_turn]
        cut, cuts = cut_curves(ground, curves, [slit.into is not None for slit in in_turn])
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
    tries: int = 6,
) -> tuple[Fit | None, tuple[Slit, ...]]:
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
        Real flattenings, at most.

    Returns
    -------
    fit : Fit or None
        The cheapest that is good, else the one nearest to it; None if none can be cut.
    slits : tuple of Slit
        Its slits.
    """
    best: Fit | None = None
    slits: tuple[Slit, ...] = ()
    trial, waiting = trials[0], [t for t in trials[1:] if len(t.slits) != len(trials[0].slits)]
    target, steep = TARGET, 1.0  # the latter: change of ln(reach) with ln(need)
    last: tuple[float, float] | None = None
    fine: Board | None = None
    spent = 0
    while spent < tries:
        found = cut_and_fit(ground, on_mesh(ground, trial.slits), film, 1.0, bound)
        spent += 1
        if found is not None and _better(found, best):
            best, slits = found, trial.slits
        stuck = None
        if found is not None and not found.overlap:
            if SLIGHTLY < found.reach < NEAR:
                deeper, factor = deepen(ground, trial.slits, film, bound=bound, tries=4, first=found)
                spent += 2
                if deeper is not None and _better(deeper, best):
                    best, slits = deeper, tuple(slit.scaled(factor) for slit in trial.slits)
                if deeper is not None and deeper.good:
                    break
            if last is not None and abs(np.log(trial.need / last[0])) > 0.02:
                steep = float(np.log(found.reach / last[1]) / np.log(trial.need / last[0]))
            last = trial.need, found.reach
            change = float(np.clip(np.log(0.99 / found.reach) / np.clip(steep, 0.8, 2.5), -0.3, 0.1))
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
        if best is not None and best.good:
            break
        other = _another(board, stuck, waiting, target, most)
        if other is None:
            break
        trial, last = other, None
    return best, slits


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
) -> tuple[Fit | None, float]:
    """Scale the depth of all slits together until the patch is just within the film.

    Returns
    -------
    fit : Fit or None
        The least deep that is good, else the one nearest to it; None if the slits
        cannot be cut.
    factor : float
        Its depth over the planned one.
    """
    real = on_mesh(ground, slits)
    factor, slope = 1.0, -1.5  # change of ln(reach) with ln(factor), to begin with
    low, high = 0.0, np.inf
    best: tuple[Fit | None, float] = (None, 1.0)
    last: tuple[float, float] | None = None
    for k in range(tries):
        found = first if k == 0 and first is not None else cut_and_fit(ground, real, film, factor, bound)
        if found is None or found.overlap:
            # Too deep for the patch, or the lips collide: what is cut must be shallower.
            if factor <= 0.9:
                break
            high, factor = factor, 0.5 * (max(low, 0.9 * factor) + factor)
            continue
        if _better(found, best[0]):
            best = (found, factor)
        if found.good and found.reach > CLOSE:
            break
        low, high = (low, min(high, factor)) if found.good else (max(low, factor), high)
        here = (float(np.log(factor)), float(np.log(found.reach)))
        if last is not None and abs(here[0] - last[0]) > 1e-6:
            slope = float(np.clip((here[1] - last[1]) / (here[0] - last[0]), -5.0, -0.3))
        last = here
        factor = float(np.exp(here[0] + np.clip((np.log(AIM) - here[1]) / slope, -0.12, 0.12)))
        if not low < factor < high:
            factor = 0.5 * (low + high) if np.isfinite(high) else 1.03 * low
        if np.isfinite(high) and high / max(low, 1e-9) < 1.004:
            break
    return best


def _better(one: Fit, two: Fit | None) -> bool:
    if two is None or one.good != two.good:
        return two is None or one.good
    return one.piece.cut_length < two.piece.cut_length if one.good else one.reach < two.reach
