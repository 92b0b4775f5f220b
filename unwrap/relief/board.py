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
from typing import cast

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.energy import Work, Worst, stretches
from unwrap.flatten.metric import metric_of
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.system import System
from unwrap.relief.band import Band
from unwrap.relief.field import Field
from unwrap.relief.ground import Ground
from unwrap.relief.mirror import Mirror
from unwrap.relief.slit import Edge, Slit
from unwrap.relief.trial_mesh import TrialMesher

POWER = 8.0
SLACK = 1.005  # a need this many times the target counts as reached


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
    overlap : bool
        Whether that lies over itself.
    """

    slits: tuple[Slit, ...]
    need: float
    cost: float
    ground: Ground | None = None
    points: FloatArray | None = None
    overlap: bool = False

    def reaches(self, target: float) -> bool:
        """Whether the need is at most the target (within what a trial can tell) and nothing overlaps."""
        return self.need <= target * SLACK and not self.overlap


class Board:
    """A patch's coarse copy, with what every trial on it shares.

    Parameters
    ----------
    field : Field
        The patch as a middling copy.
    film : Film
    count : int
        Faces of the coarse meshes that trials are made on.
    mirrors : tuple of Mirror
        The symmetries of which slits are to keep one.
    """

    def __init__(self, field: Field, film: Film, count: int, mirrors: tuple[Mirror, ...] = ()) -> None:
        self.field = field
        self.mirrors = mirrors
        self.film = film
        self.mesher = TrialMesher(field, count)
        self.edges: list[Edge] = self.mesher.edges
        self.spacing = self.mesher.spacing
        a, b, c = np.moveaxis(field.ground.surface[field.ground.faces], 1, 0)
        self.size = float(np.sqrt(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()))
        self.trials = 0

    def symmetry(self, slits: tuple[Slit, ...]) -> tuple[Mirror, IntArray] | None:
        """The first mirror that a set of slits keeps, and each slit's counterpart in it."""
        for mirror in self.mirrors:
            pairs = mirror.partners(slits)
            if pairs is not None:
                return mirror, pairs
        return None

    def attempt(self, slits: tuple[Slit, ...], power: float = POWER) -> Trial:
        """Cut a coarse mesh, lay it flat and measure."""
        self.trials += 1
        cost = float(self.field.costs([slit.curve() for slit in slits]).sum())
        cut = self.mesher.mesh(slits)
        if cut is None:
            return Trial(slits, np.inf, cost)
        points, need = _laid_flat(cut, self.size, self._law(power))
        return Trial(slits, need, cost, cut, points * self.size, overlaps(points, cut.faces))

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
        law, flat = self._law(power), points / self.size
        slant = self.field.at(cut.chart)[:, 4:10].reshape(-1, 3, 2)
        tangent, held = _edge_tangents(cut)
        step = 1e-4 * self.spacing
        nudges = step * np.concatenate([np.eye(Slit.SIZE), -np.eye(Slit.SIZE)])
        curves = [[slit.with_numbers(slit.numbers() + d).curve() for d in nudges] for slit in trial.slits]
        costs = self.field.costs([curve for family in curves for curve in family])
        ahead, behind = np.moveaxis(costs.reshape(len(trial.slits), 2, Slit.SIZE), 1, 0)
        need = np.zeros((len(trial.slits), Slit.SIZE))
        for i, (slit, family) in enumerate(zip(trial.slits, curves, strict=True)):
            near, fade = _nearness(cut.chart, slit.curve(), 2.0 * self.mesher.size(slit.tip[None])[0])
            move = fade[None, :, None] * (np.stack(family) - slit.curve())[:, near]
            # A vertex on an edge slides along it, a corner stays.
            slide = np.einsum("kij,ij->ki", move, tangent)[:, :, None] * tangent
            move = np.where(held[:, None], slide, move)
            shift = np.einsum("nij,knj->kni", slant, move)
            sums = self._sums(cut, flat, shift, fade > 0.0, law)
            need[i] = (sums[: Slit.SIZE] - sums[Slit.SIZE :]) / (2.0 * step)
        # Derivative of the power mean from that of the sum inside it.
        need *= trial.need / law.power * trial.need**-law.power
        return need, (ahead - behind) / (2.0 * step)

    def _sums(
        self, cut: Ground, flat: FloatArray, shift: FloatArray, moving: np.ndarray, law: Worst
    ) -> FloatArray:
        """(k,) area-weighted sums of t^power over the faces that move, for k shifts of the surface."""
        faces = cut.faces[moving[cut.faces].any(axis=1)]
        used, local = np.unique(faces, return_inverse=True)
        copies, n = len(shift), len(used)
        places = ((cut.surface[used] + shift[:, used]) / self.size).reshape(-1, 3)
        every = (local.reshape(-1, 3)[None] + n * np.arange(copies)[:, None, None]).reshape(-1, 3)
        metric = metric_of(places, every)
        s1, s2 = stretches(metric, np.tile(flat[used], (copies, 1)))
        t1, t2 = (np.abs(np.log(np.maximum(s, 1e-9)) - law.middle) / law.reach for s in (s1, s2))
        return (metric.areas * (t1**law.power + t2**law.power)).reshape(copies, -1).sum(axis=1)

    def _law(self, power: float) -> Worst:
        return _law(self.film, power)


def flat_need(ground: Ground, film: Film, power: float = POWER) -> float:
    """Need of a coarse mesh as it stands; its chart is a flat shape to start from."""
    size = float(np.sqrt(metric_of(ground.surface, ground.faces).areas.sum()))
    return _laid_flat(ground, size, _law(film, power))[1]


def _laid_flat(cut: Ground, size: float, law: Worst) -> tuple[FloatArray, float]:
    problem = _problem(cut, size)
    points, _ = minimise(problem, Work(), cut.chart / size, steps=4, tolerance=1e-3)
    # Slopes are right only where the least value is really reached: the last stage runs to its end.
    points, _ = minimise(problem, law, points, steps=60, tolerance=1e-3)
    return points, _mean(problem, law, points)


def _law(film: Film, power: float) -> Worst:
    low, high = film.window
    return Worst(-0.5 * np.log(low * high), 0.5 * np.log(high / low), power, 1e-3)


def _problem(cut: Ground, size: float) -> Problem:
    metric = metric_of(cut.surface / size, cut.faces)
    areas, count = metric.areas, len(cut.surface)
    thirds = np.repeat(areas / 3.0, 3)
    masses = np.bincount(metric.faces.ravel(), weights=thirds, minlength=count).astype(np.float64)
    return Problem(metric, areas, masses, cast(System, Band(metric.faces, count)))


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
