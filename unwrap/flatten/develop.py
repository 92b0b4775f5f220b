"""A first flat shape by development: every face turned into line with its neighbours.

On a developable patch this is already the answer, exactly. On a curved one the turns are
first made to close (`defects`), and the sides, so turned, are laid down in least squares. Needles do not
harm it, because neighbours are lined up along their longest common sides.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.defects import spread_defects
from unwrap.flatten.means import Means, edge_weights
from unwrap.flatten.metric import Metric
from unwrap.flatten.system import System

SCALED = (0.0, 0.5, 1.0)  # shares of the conformal scale taken: the more, the surer, but the more strained


def developments(metric: Metric, system: System) -> Iterator[FloatArray]:
    """Flat shapes of a patch by development, the least strained first, the surest last.

    Parameters
    ----------
    metric : Metric
        Of total area 1.
    system : System
        Of the same faces.

    Yields
    ------
    points : (n, 2) float64
        Faces may be flipped where the patch is deep.
    """
    weights, means = edge_weights(metric, system), Means(system)
    sides = _sides(metric)
    scale = spread_defects(metric, weights, means)
    turns = _turns(sides, weights * (scale[system.edges[:, 0]] - scale[system.edges[:, 1]]), system)
    cos, sin = np.cos(turns), np.sin(turns)
    turned = np.stack([cos * sides[0] - sin * sides[1], sin * sides[0] + cos * sides[1]])
    for share in SCALED:
        longer = np.exp(-share * scale[metric.faces].mean(axis=1))
        yield _positions(longer / np.average(longer, weights=metric.areas) * turned, weights, means)


def _sides(metric: Metric) -> FloatArray:
    """(2, 3, m) sides 0-1, 1-2, 2-0 of every face in its own plane."""
    base, foot, height = metric.base, metric.foot, metric.height
    return np.stack([np.stack([base, foot - base, -foot]), np.stack([np.zeros_like(base), height, -height])])


def _turns(sides: FloatArray, closing: FloatArray, system: System) -> FloatArray:
    """(m,) turn of every face that lines it up with its parent in a spanning tree.

    `closing` (e,) is added where an edge is crossed to its left.
    """
    angles, lengths = np.arctan2(sides[1], sides[0]), np.hypot(sides[0], sides[1])
    count = angles.shape[1]
    side = np.argsort(system.edge, axis=None, kind="stable")
    edge = system.edge.ravel()[side]
    second = np.flatnonzero(edge[1:] == edge[:-1]) + 1
    one, two = side[second - 1], side[second]
    # Seen from its two faces a common side runs in opposite directions.
    step = angles.ravel()[one] - angles.ravel()[two] + np.pi
    step += np.where(system.turned.ravel()[two], -1.0, 1.0) * closing[edge[second]]
    f, g = one % count, two % count
    length = lengths.ravel()[one]
    tree = minimum_spanning_tree(_graph(f, g, length.max(initial=0.0) / length, count))
    _, parent = breadth_first_order(tree, 0, directed=False)
    parent[0] = 0
    turn = np.zeros(count)
    for near, far, change in ((f, g, step), (g, f, -step)):
        on_tree = parent[far] == near
        turn[far[on_tree]] = change[on_tree]
    turn[0] = 0.0
    return _summed_to_root(turn, parent.astype(np.int64))


def _graph(f: IntArray, g: IntArray, weight: FloatArray, count: int) -> csr_array:
    # Two faces may share two sides; the lighter one is kept, as duplicates would be added up.
    low, high = np.minimum(f, g), np.maximum(f, g)
    order = np.lexsort((weight, high, low))
    low, high, weight = low[order], high[order], weight[order]
    first = np.ones(len(low), dtype=bool)
    first[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    return coo_array((weight[first], (low[first], high[first])), shape=(count, count)).tocsr()


def _summed_to_root(values: FloatArray, parent: IntArray) -> FloatArray:
    """Sums along the way to the root, whose own value is 0, by doubling the way summed."""
    total, up = values.copy(), parent
    while up.any():
        total += total[up]
        up = up[up]
    return total


def _positions(turned: FloatArray, weights: FloatArray, means: Means) -> FloatArray:
    """(n, 2) positions whose edges come nearest, in weighted least squares, to the turned sides (2, 3, m)."""
    system = means.system
    start, end = system.edges.T
    edge = system.edge.ravel()
    forward = np.where(system.turned, -1.0, 1.0)
    shared = np.bincount(edge, minlength=len(start))
    right = np.zeros((system.count, 2))
    for axis in (0, 1):
        wanted = np.bincount(edge, (forward * turned[axis]).ravel(), minlength=len(start)) * weights / shared
        right[:, axis] = np.bincount(end, wanted, system.count) - np.bincount(start, wanted, system.count)
    held = np.zeros(system.count, dtype=bool)
    held[0] = True
    return means.solve(weights, held, np.zeros((system.count, 2)), right=right)
