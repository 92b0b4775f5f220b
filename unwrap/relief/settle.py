"""Shorten and shift a set of slits until no small change makes it cheaper."""

from __future__ import annotations

import numpy as np

from unwrap.flatten.flat_piece import FloatArray
from unwrap.relief.board import Board, Trial
from unwrap.relief.slit import Slit


def settle(board: Board, slits: tuple[Slit, ...], target: float, *, rounds: int = 15) -> Trial:
    """Least cost near a set of slits at which the need is at most `target`.

    Sequential linear programming in a ball: each round the need's and the cost's slopes
    give the best step inside a trust radius, which grows and shrinks with success.
    Slits that have become too short to matter are dropped.

    Parameters
    ----------
    board : Board
    slits : tuple of Slit
        Where to begin.
    target : float
        Largest need allowed.
    rounds : int
        At most this many trials.

    Returns
    -------
    Trial
        The cheapest that reached the target, else the one that came nearest to it.
    """
    now = board.attempt(slits)
    best = now
    radius = 4.0 * board.spacing
    price = 0.0  # what one unit of need is worth, mm
    slopes = None
    for _ in range(rounds):
        if not np.isfinite(now.need) or radius < 0.1 * board.spacing:
            break
        if slopes is None:
            slopes = board.slopes(now)
        need, cost = slopes
        step, worth = _step(need, cost, target - now.need, radius)
        price = max(price, 1.5 * worth)
        new = board.attempt(_moved(now.slits, step))
        new = _without_short(board, new, target, price)
        if _better(new, best, target):
            best = new
        if _merit(new, target, price) < _merit(now, target, price):
            now, slopes = new, None
            radius *= 1.4
        else:
            radius *= 0.4
    return best


def _step(need: FloatArray, cost: FloatArray, room: float, radius: float) -> tuple[FloatArray, float]:
    """Step of at most `radius` that lowers the cost most while the need rises by at most `room`.

    Returns the step and the cost of one unit of need along the best direction.
    """
    n, c = need.ravel(), cost.ravel()
    steep = float(n @ n)
    if steep == 0.0:
        return np.zeros_like(need), 0.0
    worth = max(0.0, -float(n @ c) / steep)
    along = n / np.sqrt(steep)
    free = -radius * c / max(float(np.linalg.norm(c)), 1e-300)
    if n @ free <= room:
        return free.reshape(need.shape), worth
    share = room / np.sqrt(steep)
    if share <= -radius:
        return (-radius * along).reshape(need.shape), worth
    across = -(c - (c @ along) * along)
    length = float(np.linalg.norm(across))
    reach = np.sqrt(max(radius**2 - share**2, 0.0))
    step = share * along + (across / length * reach if length > 1e-12 else 0.0)
    return step.reshape(need.shape), worth


def _moved(slits: tuple[Slit, ...], step: FloatArray) -> tuple[Slit, ...]:
    return tuple(s.with_numbers(s.numbers() + d) for s, d in zip(slits, step, strict=True))


def _merit(trial: Trial, target: float, price: float) -> float:
    return trial.cost + price * max(0.0, trial.need - target)


def _better(one: Trial, two: Trial, target: float) -> bool:
    fits, fitted = one.need <= target * 1.001, two.need <= target * 1.001
    if fits and fitted:
        return one.cost < two.cost
    return fits or (not fitted and one.need < two.need)


def _without_short(board: Board, trial: Trial, target: float, price: float) -> Trial:
    kept = tuple(slit for slit in trial.slits if slit.chord > 1.2 * board.spacing)
    if len(kept) in (0, len(trial.slits)):
        return trial
    shorter = board.attempt(kept)
    return shorter if _merit(shorter, target, price) <= _merit(trial, target, price) else trial
