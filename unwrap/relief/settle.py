"""Shorten and shift a set of slits until no small change makes it cheaper."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.relief.board import Board, Trial
from unwrap.relief.slit import Slit

FINE = 0.04  # steps of fewer spacings than this are not worth a trial
WORTHWHILE = 1e-3  # share of the cost that a step has to promise
DEARER = 1.05  # times what another set costs at which one that falls short is given up
SHORT = 1.2  # a slit of fewer spacings than this may be dropped


def settle(board: Board, first: Trial, target: float, *, rounds: int = 20, below: float = np.inf) -> Trial:
    """Least cost near a set of slits at which the need is at most `target`.

    Sequential quadratic programming [1]_ in a trust region: each round the slopes of
    need and cost, and a running estimate of their curvature, give the best step; the
    region grows and shrinks with success. Slits that have become too short to matter
    are dropped.

    Parameters
    ----------
    board : Board
    first : Trial
        Where to begin.
    target : float
        Largest need allowed.
    rounds : int
        At most about this many trials.
    below : float
        What another set costs: one that has come to cost clearly more, and still does not reach
        the target, is given up.

    Returns
    -------
    Trial
        The cheapest that reached the target, else the one that came nearest to it.

    References
    ----------
    .. [1] M. J. D. Powell, "A fast algorithm for nonlinearly constrained optimization
       calculations", Lecture Notes in Mathematics 630, 1978 (from memory).
    """
    now = first
    kept = board.symmetry(first.slits)
    if kept is not None:
        now = board.moved(first, kept[0].made_even(first.slits, kept[1], board.edges))
    best = now
    if not np.isfinite(now.need):
        return now
    radius = 2.0 * board.spacing
    price = 0.0  # what one unit of need is worth, mm
    end = board.trials + rounds
    slopes = board.slopes(now)
    ties = _ties(board, now.slits)
    bending = _gentle(board, ties)
    while board.trials < end and radius > FINE * board.spacing:
        need, cost = (slope.ravel() @ ties for slope in slopes)
        # The logarithm of the need is nearer to linear than the need where that is far off.
        step, worth = _step(need, cost, bending, ties, now.need * np.log(target / now.need), radius)
        if worth > 0.0:
            price = max(0.5 * price, 2.0 * worth)
        full = (ties @ step).reshape(-1, Slit.SIZE)
        if now.reaches(target) and -float(cost @ step) < WORTHWHILE * now.cost:
            break
        new = board.moved(now, _moved(board, now.slits, full))
        new = _without_short(board, new, target, price)
        if _better(new, best, target):
            best = new
        better = _merit(new, target, price) < _merit(now, target, price)
        alike = len(new.slits) == len(now.slits)
        if better or (alike and new.mesh is now.mesh):
            # A step too far tells how the slopes turn as well as a good one does.
            after = board.slopes(new)
            if alike:
                turned = (after[1].ravel() @ ties - cost) + worth * (after[0].ravel() @ ties - need)
                bending = _learnt(bending, step, turned)
        if not better:
            radius = 0.4 * min(radius, _longest(full))
            continue
        radius = min(max(radius, 2.0 * _longest(full)), 4.0 * board.spacing)
        if not alike:
            ties = _ties(board, new.slits)
            bending = _gentle(board, ties)
        now, slopes = new, after
        if now.cost > DEARER * below and not now.reaches(target):
            break
    return _restored(board, now, best, target)


def _ties(board: Board, slits: tuple[Slit, ...]) -> FloatArray:
    """(5 n, k) the changes of n slits' numbers that are allowed, as columns."""
    kept = board.symmetry(slits)
    if kept is None or len(slits) == 0:
        return np.eye(Slit.SIZE * len(slits))
    return kept[0].ties(kept[1])


def _gentle(board: Board, ties: FloatArray) -> FloatArray:
    return ties.T @ ties / (4.0 * board.spacing)


def _longest(step: FloatArray) -> float:
    return float(np.linalg.norm(step.reshape(-1, Slit.SIZE), axis=1).max(initial=0.0))


def _step(
    need: FloatArray, cost: FloatArray, bending: FloatArray, ties: FloatArray, room: float, radius: float
) -> tuple[FloatArray, float]:
    """Step that lowers the cost most while the need rises by at most `room`.

    No slit's numbers change by more than `radius`. Returns the step and what one unit
    of need is worth.
    """
    room = max(room, -0.7 * radius * float(np.linalg.norm(need)))
    held = 0.0
    for _ in range(30):
        stiff = bending + held * np.eye(len(cost))
        free, pull = np.linalg.solve(stiff, np.column_stack([-cost, need])).T
        worth = max(0.0, (need @ free - room) / max(float(need @ pull), 1e-100))
        step = free - worth * pull
        if _longest(ties @ step) <= radius:
            break
        held = max(2.0 * held, 0.05 / radius)
    long = _longest(ties @ step)
    return step * min(1.0, radius / long) if long > 0.0 else step, worth


def _learnt(bending: FloatArray, moved: FloatArray, turned: FloatArray) -> FloatArray:
    """The curvature estimate after one more step (damped so that it stays positive)."""
    stiff = bending @ moved
    along = float(moved @ stiff)
    if along <= 1e-12:
        return bending
    found = float(moved @ turned)
    keep = 1.0 if found >= 0.2 * along else 0.8 * along / (along - found)
    turned = keep * turned + (1.0 - keep) * stiff
    return bending - np.outer(stiff, stiff) / along + np.outer(turned, turned) / float(moved @ turned)


def _moved(board: Board, slits: tuple[Slit, ...], step: FloatArray) -> tuple[Slit, ...]:
    """The slits after a step; one that would leave the patch or meet another takes less of it."""
    share = np.ones(len(slits))
    moved = slits
    kept = board.symmetry(slits)
    for _ in range(4):
        moved = tuple(s.with_numbers(s.numbers() + k * d) for s, k, d in zip(slits, share, step, strict=True))
        if kept is not None:
            moved = kept[0].made_even(moved, kept[1], board.edges)
        bad = board.mesher.at_fault(moved)
        if not bad.any():
            break
        share[bad if kept is None else bad | bad[kept[1]]] *= 0.4
    return moved


def _merit(trial: Trial, target: float, price: float) -> float:
    if not np.isfinite(trial.need):
        return np.inf
    return trial.cost + price * max(0.0, trial.need - target)


def _better(one: Trial, two: Trial, target: float) -> bool:
    fits, fitted = one.reaches(target), two.reaches(target)
    if fits and fitted:
        return one.cost < two.cost
    return fits or (not fitted and (one.overlap, one.need) < (two.overlap, two.need))


def _without_short(board: Board, trial: Trial, target: float, price: float) -> Trial:
    kept = tuple(slit for slit in trial.slits if slit.chord > SHORT * board.spacing)
    if len(kept) in (0, len(trial.slits)):
        return trial
    if (board.symmetry(trial.slits) is None) != (board.symmetry(kept) is None):
        return trial
    shorter = board.attempt(kept)
    return shorter if _merit(shorter, target, price) <= _merit(trial, target, price) else trial


def _restored(board: Board, now: Trial, best: Trial, target: float) -> Trial:
    """The last trial brought back to the target along the need's slope, if that is better."""
    for _ in range(4):
        if now.reaches(target) or not np.isfinite(now.need) or now.need > 1.3 * target:
            break
        need, _cost = board.slopes(now)
        ties = _ties(board, now.slits)
        along = ties @ (ties.T @ need.ravel())
        steep = float(along @ need.ravel())
        if steep <= 0.0:
            break
        step = (1.1 * (target - now.need) / steep * along).reshape(-1, Slit.SIZE)
        new = board.moved(now, _moved(board, now.slits, step))
        if not new.need < now.need:
            break
        now = new
    return now if _better(now, best, target) else best
