"""The least worst strain: an interior-point method on the whole patch.

Let t be the distance of ln sigma from the middle of the film's window, for both principal
stretches of every face. The largest |t| is lowered by minimising, over the flat shape and
over a ceiling T above it,

    T - mu * sum over faces of weight * (ln(T - t) + ln(T + t)),

mu being halved after every Newton step [1]_. T has one equation of its own, so that each shape
has its best T at hand and the step in the shape costs one more right side (the rank-one term by
Sherman and Morrison's formula). Close to and beyond the ceiling the logarithm goes on as a
parabola [2]_: a few faces that a step throws beyond it need not hold up all the others, and are
brought back by the next.

Where a small share of the area need not count, as round the tips of cuts, the worst faces of that
share stand under a ceiling of their own, a little higher than T: in front of it, t is divided by that.

References
----------
.. [1] S. Boyd, L. Vandenberghe, *Convex Optimization*, 2004, sections 11.2 and 11.3.
.. [2] J. Hauser, A. Saccon, "A Barrier Function Method for the Optimization of Trajectory
   Functionals with Constraints", IEEE CDC 2006 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import BoolArray, FloatArray
from unwrap.film import Film
from unwrap.flatten.energy import derivatives, stretches
from unwrap.flatten.fronts import NotDefinite
from unwrap.flatten.metric import Metric
from unwrap.flatten.newton import ARMIJO, SHIFT, SHY, Problem, first_flip
from unwrap.flatten.one_core import on_one_core
from unwrap.flatten.strain import needles

FIRST = 0.25  # mu at the beginning, as a share of the worst |t|
LAST = 2e-4  # and at the end: the worst ln sigma is then about this much above the least
COARSE = 3000  # faces; below, the mesh itself costs most of half a per cent at 90 degrees,
LAST_COARSE = 5e-5  # and steps are cheap
ROUNDED = 0.2  # share of mu within which of the ceiling the parabola takes over
SHORT = 0.5  # a step cut down further than this is taken again with the same mu
HIGHER = 1.05  # times T: the highest ceiling of a face that need not count


@dataclass(frozen=True)
class Aim:
    """How far the worst strain is lowered, and at which pace.

    Parameters
    ----------
    steps : int
        At most this many Newton steps.
    fall : float
        mu after a step, as a share of mu before it.
    last : float, optional
        mu at the end, as a share of half the film's window in ln; else `LAST`.
    spare : float
        Share of the area whose worst faces need not count.
    enough : float
        Share of half the film's window at which it ends at once.
    """

    steps: int = 14
    fall: float = 0.5
    last: float | None = None
    spare: float = 0.0
    enough: float = 1.0


UNCUT = Aim()


@dataclass(frozen=True, eq=False)
class Ceiling:
    """The cost of one shape under its best ceiling.

    Parameters
    ----------
    top : float
        The ceiling T.
    value : float
        The cost.
    press : (2, m) float64
        What each stretch presses on the ceiling; they add up to 1.
    stiff : (2, m) float64
        By how much less if the ceiling were raised by 1.
    rest : (2, m) float64
        What each stretch presses the other way, on -T.
    rest_stiff : (2, m) float64
    """

    top: float
    value: float
    press: FloatArray
    stiff: FloatArray
    rest: FloatArray
    rest_stiff: FloatArray


def even_out(
    problem: Problem,
    points: FloatArray,
    film: Film,
    aim: Aim = UNCUT,
    *,
    thin: BoolArray | None = None,
    way: list[tuple[float, FloatArray]] | None = None,
) -> tuple[FloatArray, int]:
    """Lower the worst strain inside the film's window, from the shape of least work.

    The film's window [1 - compression, 1 + stretch] of film stretch is [-ln(1 + stretch),
    -ln(1 - compression)] of ln sigma; its middle is kept. It ends once every face is
    inside the window, or the worst strain is within about `LAST` of the least there is
    (`LAST_COARSE` on coarse patches), or as `aim` says.

    Needles do not count: at each step their own flat shape stands in for their shape on
    the surface, so that they follow their neighbours but cannot flip.

    Parameters
    ----------
    problem : Problem
    points : (n, 2) float64
        Flat shape without flipped faces.
    film : Film
    aim : Aim
    thin : (m,) bool, optional
        What counts as a needle, if not all that are thin and small.
    way : list of (float, (n, 2) float64), optional
        Gets every shape on the way, and how many times half the film's window its worst face asks for.

    Returns
    -------
    points : (n, 2) float64
    steps : int
        Newton steps taken.
    """
    low, high = film.window
    middle, half = -0.5 * float(np.log(low * high)), 0.5 * float(np.log(high / low))
    thin = needles(problem.metric) if thin is None else thin
    areas = problem.weights
    # Small faces weigh no less than half an ordinary one, or they would lag behind the others.
    weights = np.maximum(areas, 0.5 * float(areas.mean()))
    problem = replace(problem, weights=weights / weights.sum())
    last = LAST_COARSE if len(areas) < COARSE else LAST
    if aim.last is not None:
        last = aim.last * half
    best, least, mu, top = points, np.inf, 0.0, 0.0
    stand_in = _stand_in(problem, points, thin)
    t = _distances(stand_in.metric, points, middle)
    for step in range(aim.steps + 1):
        assert t is not None
        worst = worst_but(np.abs(t).max(axis=0)[~thin], areas[~thin], aim.spare)
        if way is not None:
            way.append((worst / half, points))
        if worst < least:
            best, least = points, worst
        if worst <= aim.enough * half or 0.0 < mu <= last or step == aim.steps:
            return best, step
        if mu == 0.0:
            mu, top = FIRST * worst, worst
        higher = np.clip(np.abs(t) / worst, 1.0, HIGHER) if aim.spare > 0.0 else np.ones_like(t)
        taken = _step(stand_in, points, t, middle, mu, top, higher)
        if taken is None:
            return best, step
        points, t, top, share = taken
        if thin.any():
            stand_in = _stand_in(problem, points, thin)
            t = _distances(stand_in.metric, points, middle)
        if share >= SHORT:
            mu = max(aim.fall * mu, 0.9 * last)
    return best, aim.steps


def worst_but(distance: FloatArray, areas: FloatArray, spare: float) -> float:
    """The largest of the faces' distances, those of the worst `spare` of the area left out."""
    if spare == 0.0:
        return float(distance.max())
    order = np.argsort(-distance)
    share = np.cumsum(areas[order]) / areas.sum()
    return float(distance[order][min(int(np.searchsorted(share, spare)), len(order) - 1)])


@on_one_core
def _step(
    problem: Problem,
    points: FloatArray,
    t: FloatArray,
    middle: float,
    mu: float,
    top: float,
    higher: FloatArray,
) -> tuple[FloatArray, FloatArray, float, float] | None:
    """One Newton step: the new shape, its t, its ceiling, the share of the step; None if none goes down.

    `higher` (2, m) is how many times as high as the ceiling each stretch's own is.
    """
    metric, weights, system = problem.metric, problem.weights, problem.system
    now = _ceiling(t / higher, weights, mu, top)
    s = np.exp(t + middle)
    sign = np.where(t < 0.0, -1.0, 1.0) / higher
    pull = sign * (now.press - now.rest)
    force = pull / s
    bend = ((now.stiff + now.rest_stiff) / (higher * higher) - pull) / (s * s)

    def forces(
        part: slice, s1: FloatArray, s2: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        return force[0, part], bend[0, part], force[1, part], bend[1, part]

    lift = sign * (now.stiff - now.rest_stiff) / s
    slope, same, pair = derivatives(metric, forces, points, (lift[0], lift[1]))
    right = np.stack([-system.gather(slope[0]), system.gather(slope[1])], axis=2)
    stiffness = float(same[0].sum() + same[2].sum())
    try:
        found = system.solve(same, pair, SHIFT * stiffness * problem.masses, right)
    except NotDefinite:
        return None
    give = float((now.stiff + now.rest_stiff).sum())
    share = np.vdot(right[:, :, 1], found[:, :, 0]) / max(
        give - float(np.vdot(right[:, :, 1], found[:, :, 1])), 1e-3 * give
    )
    move = found[:, :, 0] + share * found[:, :, 1]
    promise = float(np.vdot(right[:, :, 0], move))
    if not np.isfinite(promise) or promise <= 0.0:
        return None
    size = min(1.0, SHY * first_flip(metric, points, move))
    for _ in range(25):
        there = points + size * move
        new = _distances(metric, there, middle)
        if new is not None:
            after = _ceiling(new / higher, weights, mu, now.top)
            if after.value <= now.value - ARMIJO * size * promise:
                return there, new, after.top, size
        size *= 0.6
    return None


def _distances(metric: Metric, points: FloatArray, middle: float) -> FloatArray | None:
    """(2, m) ln sigma less the middle of the window; None if a face is flipped."""
    s1, s2 = stretches(metric, points)
    if not s2.min() > 0.0:
        return None
    return np.log(np.stack([s1, s2])) - middle


def _ceiling(t: FloatArray, weights: FloatArray, mu: float, top: float) -> Ceiling:
    """The best ceiling of a shape, looked for from `top` on."""
    size, rounded = np.abs(t), ROUNDED * mu
    pull = mu * weights
    least = 0.2 * float(size.max())
    for _ in range(50):
        near = 1.0 / np.maximum(top - size, rounded)
        far = 1.0 / (top + size)
        beyond = 1.0 - (top - size) * near  # 0 up to where the parabola takes over
        press, rest = pull * near * (1.0 + beyond), pull * far
        stiff, rest_stiff = pull * near * near, rest * far
        # The presses fall with the ceiling, ever more slowly: Newton's method cannot overshoot for long.
        change = (float((press + rest).sum()) - 1.0) / float((stiff + rest_stiff).sum())
        if abs(change) <= 1e-4 * mu:  # its square is what the cost is off by
            break
        top = max(top + change, least)
    cost = pull * (beyond * (1.0 + 0.5 * beyond) + np.log(near * far))
    return Ceiling(top, top + float(cost.sum()), press, stiff, rest, rest_stiff)


def _stand_in(problem: Problem, points: FloatArray, thin: np.ndarray) -> Problem:
    """The problem with the needles' flat shapes as their shapes."""
    if not thin.any():
        return problem
    metric = problem.metric
    f = metric.faces[thin]
    one, two = points[f[:, 1]] - points[f[:, 0]], points[f[:, 2]] - points[f[:, 0]]
    length = np.linalg.norm(one, axis=1)
    base, foot, height = metric.base.copy(), metric.foot.copy(), metric.height.copy()
    base[thin] = length
    foot[thin] = np.einsum("ij,ij->i", one, two) / length
    height[thin] = (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) / length
    return replace(problem, metric=Metric(metric.faces, base, foot, height))
