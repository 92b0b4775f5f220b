"""A first flat shape without a flipped face.

The longest edge of the patch is laid round a circle and every inner vertex in a
weighted mean of its neighbours; for positive weights and a convex outline no face
flips [1]_. The weights are those of a harmonic map, kept positive. Openings are
closed for this step alone by a fan round one extra vertex each.

References
----------
.. [1] W. T. Tutte, "How to draw a graph", Proc. London Math. Soc. 13, 1963; M. Floater,
   "One-to-one piecewise linear mappings over triangulations", Math. Comp. 72, 2003
   (both from memory).
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.means import Means, edge_weights
from unwrap.flatten.metric import Metric
from unwrap.flatten.system import System


def round_start(
    metric: Metric, places: FloatArray, loops: list[IntArray], system: System, *, even: bool = False
) -> FloatArray:
    """Flat shape with a round outline, of total area 1.

    Parameters
    ----------
    metric : Metric
        Of total area 1.
    places : (n, d) float64
        Where the vertices stand.
    loops : list of (b,) int64
        The patch's edges, the patch on their left.
    system : System
    even : bool
        Weigh all neighbours alike: worse, but safe on the thinnest faces.

    Returns
    -------
    points : (n, 2) float64
    """
    n = len(places)
    lengths = [np.linalg.norm(places[np.roll(loop, -1)] - places[loop], axis=1) for loop in loops]
    outer = int(np.argmax([length.sum() for length in lengths]))
    ring = loops[outer]
    # A little even spacing keeps very short edges from vanishing on the circle.
    length = lengths[outer] / lengths[outer].sum() + 0.1 / len(ring)
    angle = 2.0 * np.pi * np.concatenate([[0.0], np.cumsum(length)[:-1]]) / length.sum()
    points = np.zeros((n, 2))
    points[ring] = np.column_stack([np.cos(angle), np.sin(angle)])
    held = np.zeros(n, dtype=bool)
    held[ring] = True
    if not held.all():
        inner = ~held
        weights = np.ones(len(system.edges)) if even else edge_weights(metric, system)
        points[inner] = _means(weights, held, points, loops, outer, Means(system))[inner]
    return points / np.sqrt(np.pi)


def _means(
    weights: FloatArray,
    held: np.ndarray,
    points: FloatArray,
    loops: list[IntArray],
    outer: int,
    means: Means,
) -> FloatArray:
    # The middle of an opening's fan is the mean of its edge: taken out of the equations, it
    # leaves a matrix of rank one per opening (Sherman, Morrison, Woodbury).
    fans = [loop[~held[loop]] for k, loop in enumerate(loops) if k != outer]
    fans = [fan for fan in fans if len(fan) > 1]
    values = np.zeros((len(points), 2 + len(fans)))
    values[held, :2] = points[held]
    right, extra = np.zeros_like(values), np.zeros(len(points))
    for k, fan in enumerate(fans):
        extra[fan] += 1.0
        right[fan, 2 + k] = 1.0
    found = means.solve(weights, held, values, extra=extra, right=right)
    if not fans:
        return found
    first, spread = found[:, :2], found[:, 2:]
    mix = np.array([spread[fan].sum(axis=0) for fan in fans])
    size = np.diag([float(len(fan)) for fan in fans])
    return first + spread @ np.linalg.solve(size - mix, np.array([first[fan].sum(axis=0) for fan in fans]))
