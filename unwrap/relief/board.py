"""Try sets of slits on a coarse copy: how much of the film they still ask, and which way is better.

The measure is the power mean, over the area, of each face's distance from the middle
of the film's window (1 at its ends) in the flat shape that makes it least. How it
changes when a slit moves needs no second flattening: at the least value the flat shape
may be held fixed while the surface's faces are dragged along with the slit (the
virtual extension of a crack [1]_, with the power mean in the place of elastic energy).

References
----------
.. [1] D. M. Parks, "A stiffness derivative finite element technique for determination
   of crack tip stress intensity factors", Int. J. Fracture 10, 1974 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import LinearNDInterpolator

from unwrap.film import Film
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.energy import Work, Worst, stretches
from unwrap.flatten.flat_piece import FloatArray
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.ground import Ground
from unwrap.relief.slit import Edge, Slit, edges_of

POWER = 8.0
FORBIDDEN = 1e3  # cost of a millimetre through ground to keep clear


@dataclass(frozen=True, eq=False)
class Trial:
    """A set of slits tried.

    Parameters
    ----------
    slits : tuple of Slit
    need : float
        Power mean of the distance from the window's middle; below about 1 the piece is
        within. inf if the slits cannot be cut.
    cost : float
        Weighted length of the slits, mm.
    ground : Ground or None
        The cut coarse copy.
    points : (k, 2) float64 or None
        Its flat shape, mm.
    """

    slits: tuple[Slit, ...]
    need: float
    cost: float
    ground: Ground | None = None
    points: FloatArray | None = None


class Board:
    """A coarse copy with what every trial on it shares.

    Parameters
    ----------
    ground : Ground
        The coarse copy, uncut.
    film : Film
    cost : (n,) float64
        Visibility cost per vertex; 1 = ordinary.
    clear : (n,) bool
        Vertices that no slit may touch.
    """

    def __init__(self, ground: Ground, film: Film, cost: FloatArray, clear: np.ndarray) -> None:
        self.ground = ground
        self.film = film
        self.edges: list[Edge] = edges_of(ground)
        a, b, c = np.moveaxis(ground.surface[ground.faces], 1, 0)
        self.area = float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
        self.spacing = float(np.sqrt(self.area / len(ground.faces) * 4.0 / np.sqrt(3.0)))
        self.slant = _slants(ground)
        price = np.where(clear, FORBIDDEN, cost)
        values = np.column_stack([ground.surface, price, self.slant.reshape(-1, 6)])
        self._field = LinearNDInterpolator(ground.chart, values)
        self.trials = 0

    def price(self, slits: tuple[Slit, ...]) -> float:
        """Weighted length of slits over the surface, mm."""
        return float(sum(self._price(slit.curve()) for slit in slits))

    def _price(self, curve: FloatArray) -> float:
        middle = 0.5 * (curve[1:] + curve[:-1])
        step = np.diff(curve, axis=0)
        values = self._field(middle)
        outside = np.isnan(values[:, 0])
        slant = np.where(outside[:, None, None], np.eye(3, 2), values[:, 4:].reshape(-1, 3, 2))
        price = np.where(outside, 1.0, values[:, 3])
        return float((np.linalg.norm(np.einsum("nij,nj->ni", slant, step), axis=1) * price).sum())

    def attempt(self, slits: tuple[Slit, ...], power: float = POWER) -> Trial:
        """Cut the copy, lay it flat and measure."""
        self.trials += 1
        cost = self.price(slits)
        try:
            cut, _ = cut_curves(self.ground, [slit.curve() for slit in slits])
        except CannotDraw:
            return Trial(slits, np.inf, cost)
        size = np.sqrt(self.area)
        problem = Problem.of(metric_of(cut.surface / size, cut.faces), cut.chart)
        points, _ = minimise(problem, Work(), cut.chart / size, steps=4, tolerance=1e-3)
        # Slopes are right only where the least value is really reached: the last stage runs to its end.
        points, _ = minimise(problem, self._law(power), points, steps=60, tolerance=1e-3)
        return Trial(slits, _mean(problem, self._law(power), points), cost, cut, points * size)

    def slopes(self, trial: Trial, power: float = POWER) -> tuple[FloatArray, FloatArray]:
        """How need and cost change with each slit's numbers.

        Returns
        -------
        need : (s, 4) float64
            1/mm.
        cost : (s, 4) float64
            mm/mm.
        """
        cut, points = trial.ground, trial.points
        assert cut is not None and points is not None
        size = np.sqrt(self.area)
        law, flat = self._law(power), points / size
        slant = self._slant_at(cut)
        tangent, held = _edge_tangents(cut)
        step = 1e-4 * self.spacing
        need = np.zeros((len(trial.slits), Slit.SIZE))
        cost = np.zeros_like(need)
        for i, slit in enumerate(trial.slits):
            numbers, curve = slit.numbers(), slit.curve()
            near, fade = _nearness(cut.chart, curve, 2.0 * self.spacing)
            for k in range(Slit.SIZE):
                nudge = np.zeros(Slit.SIZE)
                nudge[k] = step
                ahead, behind = slit.with_numbers(numbers + nudge), slit.with_numbers(numbers - nudge)
                drift = (ahead.curve() - behind.curve()) / (2.0 * step)
                move = fade[:, None] * drift[near]
                # A vertex on an edge slides along it, a corner stays.
                slide = np.einsum("ij,ij->i", move, tangent)[:, None] * tangent
                move = np.where(held[:, None], slide, move)
                shift = np.einsum("nij,nj->ni", slant, move)
                sides = []
                for sign in (1.0, -1.0):
                    moved = (cut.surface + sign * step * shift) / size
                    metric = metric_of(moved, cut.faces)
                    s1, s2 = stretches(metric, flat)
                    sides.append(_power_mean(metric.areas, law, s1, s2))
                need[i, k] = (sides[0] - sides[1]) / (2.0 * step)
                cost[i, k] = (self._price(ahead.curve()) - self._price(behind.curve())) / (2.0 * step)
        return need, cost

    def _law(self, power: float) -> Worst:
        low, high = self.film.window
        return Worst(-0.5 * np.log(low * high), 0.5 * np.log(high / low), power, 1e-3)

    def _slant_at(self, cut: Ground) -> FloatArray:
        """(k, 3, 2) derivative of surface by chart at the vertices of a cut copy."""
        out = np.empty((len(cut.surface), 3, 2))
        known = cut.vertex >= 0
        out[known] = self.slant[cut.vertex[known]]
        values = self._field(cut.chart[~known])[:, 4:].reshape(-1, 3, 2)
        out[~known] = np.where(np.isnan(values), 0.0, values)
        return out


def _mean(problem: Problem, law: Worst, points: FloatArray) -> float:
    s1, s2 = stretches(problem.metric, points)
    return _power_mean(problem.weights, law, s1, s2)


def _power_mean(weights: FloatArray, law: Worst, s1: FloatArray, s2: FloatArray) -> float:
    if not s2.min() > 0.0:
        return np.inf
    t1, t2 = (np.abs(np.log(s) - law.middle) / law.reach for s in (s1, s2))
    top = max(float(t1.max()), float(t2.max()), 1e-300)
    total = weights @ ((t1 / top) ** law.power + (t2 / top) ** law.power) / weights.sum()
    return top * float(total) ** (1.0 / law.power)


def _slants(ground: Ground) -> FloatArray:
    """(n, 3, 2) derivative of surface by chart at each vertex, averaged over its faces by area."""
    c, s, f = ground.chart, ground.surface, ground.faces
    plane = np.stack([c[f[:, 1]] - c[f[:, 0]], c[f[:, 2]] - c[f[:, 0]]], axis=2)
    space = np.stack([s[f[:, 1]] - s[f[:, 0]], s[f[:, 2]] - s[f[:, 0]]], axis=2)
    area = np.linalg.det(plane)
    slant = np.einsum("mij,mjk->mik", space, np.linalg.inv(plane)) * area[:, None, None]
    total = np.zeros((len(c), 3, 2))
    weight = np.zeros(len(c))
    for k in range(3):
        np.add.at(total, f[:, k], slant)
        np.add.at(weight, f[:, k], area)
    return total / weight[:, None, None]


def _nearness(points: FloatArray, curve: FloatArray, reach: float) -> tuple[np.ndarray, FloatArray]:
    """The curve sample nearest to each point, and a weight that fades from 1 on the curve to 0 at `reach`."""
    gap = np.linalg.norm(points[:, None] - curve[None], axis=2)
    near = np.argmin(gap, axis=1)
    return near, np.clip(1.0 - gap[np.arange(len(points)), near] / reach, 0.0, 1.0)


def _edge_tangents(cut: Ground) -> tuple[FloatArray, np.ndarray]:
    """Unit tangents of the patch's edge at its vertices (0 at corners), and which vertices lie on it.

    The lips of cuts are left free: they move with their slit.
    """
    edges = boundary_edges(cut.faces)
    step = cut.chart[edges[:, 1]] - cut.chart[edges[:, 0]]
    # The two lips of a cut are the same edge twice, in opposite directions.
    key = np.round(cut.chart[edges].sum(axis=1) / 1e-9).astype(np.int64)
    _, inverse, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    rim = count[inverse] == 1
    edges, step = edges[rim], step[rim]
    unit = step / np.linalg.norm(step, axis=1, keepdims=True)
    total = np.zeros_like(cut.chart)
    np.add.at(total, edges[:, 0], unit)
    np.add.at(total, edges[:, 1], unit)
    norm = np.linalg.norm(total, axis=1, keepdims=True)
    degree = np.bincount(edges.ravel(), minlength=len(total))
    held = degree > 0
    # Feet of slits have one rim edge; there the one tangent serves.
    corner = (degree == 2) & (norm[:, 0] < 2.0 * np.cos(np.radians(12.5)))
    tangent = np.divide(total, norm, out=np.zeros_like(total), where=norm > 0)
    tangent[corner] = 0.0
    return tangent, held
