"""A first flat shape by development: every face turned into line with its neighbours.

On a developable patch this is already the answer, exactly; on a gently curved one the
gaps that the turned faces leave are shared out evenly by least squares. Needles do not
harm it, because neighbours are lined up along their longest common sides.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.flatten.metric import Metric
from unwrap.flatten.system import System


def developed_start(metric: Metric, system: System) -> FloatArray:
    """Flat shape of a patch by development; faces may be flipped where it is no plane's.

    Parameters
    ----------
    metric : Metric
        Of total area 1.
    system : System
        Of the same faces.

    Returns
    -------
    points : (n, 2) float64
    """
    sides = _sides(metric)
    turns = _turns(np.arctan2(sides[1], sides[0]), np.hypot(sides[0], sides[1]), system)
    cos, sin = np.cos(turns), np.sin(turns)
    return _positions(np.stack([cos * sides[0] - sin * sides[1], sin * sides[0] + cos * sides[1]]), system)


def _sides(metric: Metric) -> FloatArray:
    """(2, 3, m) sides 0-1, 1-2, 2-0 of every face in its own plane."""
    base, foot, height = metric.base, metric.foot, metric.height
    return np.stack([np.stack([base, foot - base, -foot]), np.stack([np.zeros_like(base), height, -height])])


def _turns(angles: FloatArray, lengths: FloatArray, system: System) -> FloatArray:
    """(m,) turn of every face that lines it up with its parent in a spanning tree."""
    count = angles.shape[1]
    side = np.argsort(system.edge, axis=None, kind="stable")
    edge = system.edge.ravel()[side]
    second = np.flatnonzero(edge[1:] == edge[:-1]) + 1
    one, two = side[second - 1], side[second]
    # Seen from its two faces a common side runs in opposite directions.
    step = angles.ravel()[one] - angles.ravel()[two] + np.pi
    f, g = one % count, two % count
    length = lengths.ravel()[one]
    tree = minimum_spanning_tree(_graph(f, g, length.max() / length, count))
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


def _positions(turned: FloatArray, system: System) -> FloatArray:
    """(n, 2) positions whose edges come nearest, in least squares, to the turned sides (2, 3, m)."""
    start, end = system.edges.T
    edge = system.edge.ravel()
    forward = np.where(system.turned, -1.0, 1.0)
    shared = np.bincount(edge, minlength=len(start))
    right = np.zeros((system.count, 2))
    for axis in (0, 1):
        wanted = np.bincount(edge, (forward * turned[axis]).ravel(), minlength=len(start)) / shared
        right[:, axis] = np.bincount(end, wanted, system.count) - np.bincount(start, wanted, system.count)
    held = np.zeros(system.count)
    held[0] = 1.0
    return system.solve_means(np.ones(len(start)), held, right)
