"""Bring planned slits to a real mesh, as deep as that needs them and no deeper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unwrap.film import Film
from unwrap.relief.board import Board, Trial
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.fit import Fit, fit
from unwrap.relief.ground import Ground
from unwrap.relief.settle import settle
from unwrap.relief.slit import Slit, edges_of

CLOSE = 0.994  # a reach between this and 1 is deep enough and not too deep


def on_mesh(ground: Ground, slits: tuple[Slit, ...]) -> tuple[Slit, ...]:
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


def cut_and_fit(
    ground: Ground, slits: tuple[Slit, ...], film: Film, factor: float, bound: float, *, enough: float = 0.0
) -> Fit | None:
    """The patch cut along the slits, each `factor` times as deep, and laid flat; None if it cannot be cut.

    Cuts are made in the order in which they come round the edge: that is the order at the bench.
    """
    try:
        in_turn = sorted(slits, key=lambda slit: (-slit.edge.length, slit.start % slit.edge.length))
        cut, cuts = cut_curves(ground, [slit.scaled(factor).curve() for slit in in_turn])
    except CannotDraw:
        return None
    return fit(cut, film, cuts, bound=bound, enough=enough)


def finish(
    board: Board, trial: Trial, ground: Ground, film: Film, *, bound: float = 1.0, rounds: int = 12
) -> tuple[Fit | None, tuple[Slit, ...]]:
    """Settle planned slits anew until the real mesh, not only the copy, is just within the film.

    Each time the copy's target is moved by what the real mesh was off.

    Returns
    -------
    fit : Fit or None
        The cheapest that is good, else the one nearest to it; None if none can be cut.
    slits : tuple of Slit
        Its slits.
    """
    best, slits = None, trial.slits
    for _ in range(4):
        found = cut_and_fit(ground, on_mesh(ground, trial.slits), film, 1.0, bound)
        if found is None:
            break
        if _better(found, best):
            best, slits = found, trial.slits
        if found.overlap or (found.good and found.reach > 0.985):
            break
        again = settle(
            board, trial.slits, trial.need * float(np.clip(0.995 / found.reach, 0.8, 1.1)), rounds=rounds
        )
        if again.need == trial.need and again.cost == trial.cost:
            break
        trial = again
    if best is None or best.overlap or (best.good and best.reach > CLOSE):
        return best, slits
    deeper, factor = deepen(ground, slits, film, bound=bound, tries=4, first=best)
    if deeper is not None and _better(deeper, best):
        return deeper, tuple(slit.scaled(factor) for slit in slits)
    return best, slits


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
    factor, slope = 1.0, -0.5  # change of ln(reach) with ln(factor), to begin with
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
            slope = float(np.clip((here[1] - last[1]) / (here[0] - last[0]), -3.0, -0.2))
        last = here
        factor = float(np.exp(here[0] + np.clip((np.log(0.997) - here[1]) / slope, -0.12, 0.12)))
        if not low < factor < high:
            factor = 0.5 * (low + high) if np.isfinite(high) else 1.03 * low
        if np.isfinite(high) and high / max(low, 1e-9) < 1.004:
            break
    return best


def _better(one: Fit, two: Fit | None) -> bool:
    if two is None or one.good != two.good:
        return two is None or one.good
    return one.piece.cut_length < two.piece.cut_length if one.good else one.reach < two.reach
