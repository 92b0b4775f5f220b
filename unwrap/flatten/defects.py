"""Share out a patch's curvature so that turning from face to face closes round every vertex.

Round a vertex the angles of the faces fall short of a full turn by the vertex's defect. Faces
turned one after the other into a plane therefore come back with a gap. The least change, in
weighted squares, of the turns across edges that closes every gap is weight * (u_i - u_j)
across the edge i-j, u solving the weighted Laplace equation with the defects on the
right and u = 0 on the outer edge [1]_. So u is also the logarithm of the scale that a conformal
flat shape has with an outer edge true to length, and the closed turns are that shape's [2]_.

An opening counts as one vertex, with the defect that a cap over it would have: where the
patch could lie flat all defects are nought, and openings cost nothing.

References
----------
.. [1] K. Crane, M. Desbrun, P. Schröder, "Trivial Connections on Discrete Surfaces",
   Computer Graphics Forum 29(5), 2010 (from memory).
.. [2] R. Sawhney, K. Crane, "Boundary First Flattening", ACM TOG 37(1), 2017 (abstract; the use
   made here from memory).
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.means import Means
from unwrap.flatten.metric import Metric


def spread_defects(metric: Metric, weights: FloatArray, means: Means) -> FloatArray:
    """(n,) logarithm u of the conformal scale.

    Parameters
    ----------
    metric : Metric
    weights : (e,) float64
        Per edge, > 0.
    means : Means
    """
    count = means.system.count
    total = _angles_round(metric, means.system.corner, count)
    loops = boundary_loops(metric.faces)
    openings = _without_outer(metric, loops, count)
    held = np.zeros(count, dtype=bool)
    values = np.zeros((count, 1 + len(openings)))
    for loop in loops:
        held[loop] = True
    for k, loop in enumerate(openings):
        values[loop, 1 + k] = 1.0
    right = np.zeros_like(values)
    right[:, 0] = 2.0 * np.pi - total
    found = means.solve(weights, held, values, right=right)
    if not openings:
        return found[:, 0]
    # The value of each opening follows from what must flow out of it.
    low, high = means.system.edges.T
    flow = weights[:, None] * (found[low] - found[high])
    out = np.stack(
        [np.bincount(low, f, count) - np.bincount(high, f, count) for f in flow.T],
        axis=1,
    )
    out = np.array([out[loop].sum(axis=0) for loop in openings])
    defects = np.array([2.0 * np.pi + (np.pi - total[loop]).sum() for loop in openings])
    return found[:, 0] + found[:, 1:] @ np.linalg.solve(out[:, 1:], defects - out[:, 0])


def _angles_round(metric: Metric, corner: IntArray, count: int) -> FloatArray:
    """(n,) sum of the faces' angles at every vertex."""
    first = np.arctan2(metric.height, metric.foot)
    second = np.arctan2(metric.height, metric.base - metric.foot)
    angles = np.stack([first, second, np.pi - first - second])
    return np.bincount(corner.ravel(), angles.ravel(), count).astype(np.float64)


def _without_outer(metric: Metric, loops: list[IntArray], count: int) -> list[IntArray]:
    """The loops but the longest."""
    if len(loops) == 1:
        return []
    base, foot, height = metric.base, metric.foot, metric.height
    sides = np.stack([base, np.hypot(base - foot, height), np.hypot(foot, height)])
    start, end = metric.faces.T, np.roll(metric.faces, -1, axis=1).T
    following = np.full(count, -1)
    for loop in loops:
        following[loop] = np.roll(loop, -1)
    rim = following[start] == end
    along = np.zeros(count)
    along[start[rim]] = sides[rim]
    outer = int(np.argmax([along[loop].sum() for loop in loops]))
    return [loop for k, loop in enumerate(loops) if k != outer]
