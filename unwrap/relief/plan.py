"""Choose the slits: many beginnings on the coarse copy, each settled, the cheapest kept."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.flatten.flat_piece import FloatArray
from unwrap.relief.board import Board, Trial
from unwrap.relief.settle import settle
from unwrap.relief.slit import Edge, Slit

TARGET = 0.96  # need on the coarse copy at which the real patch is just within


def plan(board: Board, *, most: int | None = None, target: float = TARGET) -> list[Trial]:
    """Sets of slits that bring the coarse copy within the film, cheapest first.

    Parameters
    ----------
    board : Board
    most : int, optional
        Largest number of slits.
    target : float
        Largest need.

    Returns
    -------
    list of Trial
        Those that reach the target, cheapest first; then the others, nearest first.
        Empty if no slit can be drawn.
    """
    limit = 6 if most is None else min(most, 12)
    found: list[Trial] = []
    middle = heart(board)
    for count in range(1, limit + 1):
        trial = settle(board, even_slits(board, board.edges[0], middle, count, 0.6), target)
        if np.isfinite(trial.need):
            found.append(trial)
        # More slits of a useful depth cannot be shorter once the count has stopped paying.
        best = min((t.cost for t in found if t.need <= target * 1.01), default=np.inf)
        if trial.need <= target * 1.01 and trial.cost > 1.3 * best:
            break
    return sorted(
        found, key=lambda t: (t.need > target * 1.01, t.cost if t.need <= target * 1.01 else t.need)
    )


def even_slits(
    board: Board, edge: Edge, middle: FloatArray, count: int, depth: float, phase: float = 0.0
) -> tuple[Slit, ...]:
    """Straight slits evenly round an edge towards a point, `depth` of the way to it."""
    starts = edge.length * (np.arange(count) + phase) / count
    feet = edge.point(starts)
    return tuple(Slit(edge, float(s), f + depth * (middle - f)) for s, f in zip(starts, feet, strict=True))


def heart(board: Board) -> FloatArray:
    """The vertex of the copy that lies deepest inside its outer edge."""
    ring = shapely.LinearRing(board.edges[0].ring)
    away = shapely.distance(ring, shapely.points(board.ground.chart))
    return board.ground.chart[int(np.argmax(away))]
