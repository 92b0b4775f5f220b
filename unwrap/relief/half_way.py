"""Lines across a patch from edge to edge, part of the way between two of its sides.

Where a patch turns, as a flare does round its axis, a straight line across its flat shape cuts a corner off.
The level lines of a harmonic function, 0 on one side and 1 on the other, turn with it. Their small kinks are
smoothed without shrinking their bends [1]_.

References
----------
.. [1] G. Taubin, "A signal processing approach to fair surface design", SIGGRAPH 1995 (from memory).
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops
from unwrap.relief.coarse import corners_of
from unwrap.relief.ground import Ground

LEVELS = (0.5, 0.4, 0.6, 0.3, 0.7)
POINTS = 65  # along a line
ROUNDS = 20  # of smoothing: a level line bends a little at every edge of the mesh that it crosses


def lines_between_sides(copy: Ground) -> list[FloatArray]:
    """Lines across a coarse copy, between its two longest opposite sides and between what joins these.

    Parameters
    ----------
    copy : Ground
        An uncut patch, evenly meshed.

    Returns
    -------
    list of (65, 2) float64
        In the chart, edge to edge; none where the outer edge has fewer than four corners.
    """
    loop = max(boundary_loops(copy.faces), key=lambda k: _length(copy.chart[k]))
    ring = copy.chart[loop]
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    at = np.concatenate([[0.0], np.cumsum(step)])
    corners = corners_of(ring, at, float(np.median(step)))
    if len(corners) < 4:
        return []
    count = len(corners)
    lengths = np.diff(np.append(at[corners], at[corners[0]] + at[-1]))
    one = int(np.argmax(lengths))
    apart = [(one + k) % count for k in range(2, count - 1)]
    other = max(apart, key=lambda k: lengths[k])

    def run(first: int, last: int) -> IntArray:
        """The loop's vertices from one corner to another."""
        start, end = int(corners[first % count]), int(corners[last % count])
        return loop[(start + np.arange((end - start) % len(loop) + 1)) % len(loop)]

    pairs = [(run(one, one + 1), run(other, other + 1)), (run(one + 1, other), run(other + 1, one))]
    stiff = _stiffness(copy)
    found = []
    for low, high in pairs:
        height = np.zeros(len(copy.surface))
        height[high] = 1.0
        free = np.setdiff1d(np.arange(len(height)), np.concatenate([low, high]))
        height[free] = np.linalg.solve(stiff[np.ix_(free, free)], -stiff[free] @ height)
        found += [line for level in LEVELS if (line := _level_line(copy, height - level)) is not None]
    return found


def _stiffness(copy: Ground) -> FloatArray:
    """(n, n) half the cotangents of the angles that face each edge, as a sum of differences."""
    out = np.zeros((len(copy.surface), len(copy.surface)))
    for k in range(3):
        apex, i, j = (copy.faces[:, (k + n) % 3] for n in range(3))
        u, v = copy.surface[i] - copy.surface[apex], copy.surface[j] - copy.surface[apex]
        weight = 0.5 * np.einsum("mx,mx->m", u, v) / np.linalg.norm(np.cross(u, v), axis=1)
        for row, column, sign in ((i, i, 1.0), (j, j, 1.0), (i, j, -1.0), (j, i, -1.0)):
            np.add.at(out, (row, column), sign * weight)
    return out


def _length(ring: FloatArray) -> float:
    return float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())


def _level_line(copy: Ground, height: FloatArray) -> FloatArray | None:
    """Where a function is 0, if that is one line from edge to edge."""
    height = np.where(np.abs(height) < 1e-9, 1e-9, height)
    faces, count = copy.faces, len(copy.chart)
    start, end = faces, np.roll(faces, -1, axis=1)
    crossed = height[start] * height[end] < 0.0
    on_line = crossed.any(axis=1)
    # Every face on the line is entered by one edge and left by another.
    key = (np.minimum(start, end) * count + np.maximum(start, end))[on_line][crossed[on_line]].reshape(-1, 2)
    edges, uses = np.unique(key, return_counts=True)
    ends = edges[uses == 1]
    if len(ends) != 2:
        return None
    way = [int(ends[0])]
    beside: dict[int, list[int]] = {int(e): [] for e in edges}
    for p, q in key.tolist():
        beside[p].append(q)
        beside[q].append(p)
    seen = set(way)
    while way[-1] != ends[1]:
        following = [e for e in beside[way[-1]] if e not in seen]
        if not following:
            return None
        way.append(following[0])
        seen.add(following[0])
    i, j = np.divmod(np.array(way), count)
    share = (height[i] / (height[i] - height[j]))[:, None]
    return _smooth(copy.chart[i] * (1.0 - share) + copy.chart[j] * share)


def _smooth(line: FloatArray) -> FloatArray:
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    places = np.linspace(0.0, at[-1], POINTS)
    even = np.column_stack([np.interp(places, at, line[:, k]) for k in (0, 1)])
    # A step back after each step towards the neighbours' mean: else a bend would be drawn tighter.
    for share in ROUNDS * (0.5, -0.52):
        even[1:-1] += share * (0.5 * (even[:-2] + even[2:]) - even[1:-1])
    return even
