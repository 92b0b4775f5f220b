"""Try sets of slits on a coarse copy: how much of the film they still ask, and which way is better."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.energy import Work, stretches
from unwrap.flatten.metric import Metric
from unwrap.flatten.newton import Problem, minimise
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.system import System
from unwrap.relief.band import Band
from unwrap.relief.drag import TrialMesh
from unwrap.relief.ease import at_ease
from unwrap.relief.field import Field
from unwrap.relief.ground import Ground
from unwrap.relief.mirror import Mirror
from unwrap.relief.need import Worst, need_of, pull_on_surface
from unwrap.relief.slit import SAMPLES, Edge, Slit
from unwrap.relief.trial_mesh import TrialMesher

FINER = 3  # times as many faces on a finer board
POWER = 8.0
RISING = ((3.0, 3), (5.0, 2))  # powers on the way to it, and Newton steps for each
RISING_AGAIN = ((3.0, 2), (5.0, 1))  # from a shape of nearly the same mesh that asks for clearly more
CLEARLY = 1.2  # times what that asked
EACH = 0.02  # of the root of the patch's area: the length of slit that one slit less is worth
TEARS = 4.0  # times as dear as elsewhere is a slit that leaves next to nothing of the film beside an edge
# The worst of a real patch, ln, goes with the need's and, this many times, its rise with twice the power:
# fitted to ninety sets on sixteen surfaces, 2.4 % off on average.
RISE, WORST = 2.6, 0.986
NEED_TOLERANCE = 5e-3  # of the power mean's sum: its root, the need, is then off by 1e-4
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
    mesh : TrialMesh or None
        The cut coarse copy as it was made.
    chart, surface : float64 arrays
        Its places now: it may have been moved along with the slits.
    points : (k, 2) float64 or None
        Its flat shape, mm.
    overlap : bool
        Whether that lies over itself.
    """

    slits: tuple[Slit, ...]
    need: float
    cost: float
    mesh: TrialMesh | None = None
    chart: FloatArray | None = None
    surface: FloatArray | None = None
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
        self.law = Worst.of(film, POWER)
        self.trials = 0
        self.finer_count = FINER * count

    def finer(self) -> Board:
        """The same with smaller faces: where tips come near each other, large ones stand in their way."""
        other = copy(self)
        other.__dict__.pop("bare", None)
        other.mesher = TrialMesher(self.field, self.finer_count, self.edges)
        other.spacing = other.mesher.spacing
        return other

    @cached_property
    def bare(self) -> Trial:
        """The coarse copy without slits."""
        return self.attempt(())

    def symmetry(self, slits: tuple[Slit, ...]) -> tuple[Mirror, IntArray] | None:
        """The first mirror that a set of slits keeps, and each slit's counterpart in it."""
        for mirror in self.mirrors:
            pairs = mirror.partners(slits)
            if pairs is not None:
                return mirror, pairs
        return None

    def cost(self, slits: tuple[Slit, ...]) -> float:
        """Weighted length of slits, mm, and a little for each: two short ones are more work than one."""
        lengths = self._costs([slit.curve() for slit in slits], slits)
        return float(lengths.sum()) + EACH * self.size * len(slits)

    def _costs(self, curves: list[FloatArray], slits: tuple[Slit, ...]) -> FloatArray:
        """(c,) costs of curves, equally many for each slit: a strip of film that tears costs too."""
        costs = self.field.costs(curves)
        if curves:
            through = np.repeat([slit.into is not None for slit in slits], len(curves) // len(slits))
            costs = costs + TEARS * self.mesher.strips(np.stack(curves), through)
        return costs

    def attempt(self, slits: tuple[Slit, ...]) -> Trial:
        """Cut a coarse mesh, lay it flat and measure."""
        self.trials += 1
        mesh = self.mesher.mesh(slits)
        if mesh is None:
            return Trial(slits, np.inf, self.cost(slits))
        ground = mesh.ground
        return self._measured(slits, mesh, ground.chart, ground.surface, None)

    def moved(self, trial: Trial, slits: tuple[Slit, ...]) -> Trial:
        """The same with other numbers of the slits: its mesh is moved along, if that does it no harm."""
        if trial.mesh is not None and trial.chart is not None:
            chart = trial.mesh.moved(slits)
            if chart is not None:
                self.trials += 1
                surface = self.field.places(chart)
                start = _carried(trial, chart - trial.chart), trial.need
                return self._measured(slits, trial.mesh, chart, surface, start)
        return self.attempt(slits)

    def beyond_at_ease(self, trial: Trial) -> float:
        """Share of a trial's area that is beyond the film even where all else has been put at ease."""
        assert trial.mesh is not None and trial.chart is not None and trial.surface is not None
        faces = trial.mesh.ground.faces
        metric = metric_in_order(trial.surface, faces)
        s = np.stack(stretches(metric, at_ease(trial.surface, faces, self.film, trial.chart)))
        return float(metric.areas[(self.law.distance(s) > 1.0).any(axis=0)].sum() / metric.areas.sum())

    def foreseen(self, trial: Trial) -> float:
        """What the worst of the real patch will ask, in distances to the window's ends, about.

        The need is a mean: where much of a patch is at ease, its worst part asks more. How far the need
        rises with a sharper power tells how much.
        """
        assert trial.mesh is not None and trial.surface is not None and trial.points is not None
        problem = _problem(trial.surface, trial.mesh.ground.faces, trial.mesh.system, self.size)
        law = replace(self.law, power=2.0 * POWER)
        points, _ = minimise(problem, law, trial.points / self.size, steps=30, tolerance=NEED_TOLERANCE)
        sharper = need_of(problem.metric, law, points)
        return float(WORST * trial.need * (sharper / trial.need) ** RISE)

    def _measured(
        self,
        slits: tuple[Slit, ...],
        mesh: TrialMesh,
        chart: FloatArray,
        surface: FloatArray,
        start: tuple[FloatArray, float] | None,
    ) -> Trial:
        points, need = laid_flat(surface, mesh.ground.faces, mesh.system, self.size, self.law, chart, start)
        over = overlaps(points, mesh.ground.faces)
        return Trial(slits, need, self.cost(slits), mesh, chart, surface, points, over)

    def slopes(self, trial: Trial) -> tuple[FloatArray, FloatArray]:
        """How need and cost change with each slit's numbers.

        Returns
        -------
        need : (s, 5) float64
            1/mm.
        cost : (s, 5) float64
            mm/mm.
        """
        mesh, chart, surface, points = trial.mesh, trial.chart, trial.surface, trial.points
        assert mesh is not None and chart is not None and surface is not None and points is not None
        metric = metric_in_order(surface, mesh.ground.faces)
        slant = self.field.slants(chart, 0.02 * self.spacing)
        pull = np.einsum("nij,ni->nj", slant, pull_on_surface(surface, metric, self.law, points))
        share, step = np.linspace(0.0, 1.0, SAMPLES), 1e-4 * self.spacing
        curves = []
        for slit in trial.slits:
            curve, way = slit.at(share), step * slit.slopes(share)
            curves += [*(curve + way), *(curve - way)]
        costs = self._costs(curves, trial.slits).reshape(len(trial.slits), 2, Slit.SIZE)
        return mesh.slopes(trial.slits, pull), (costs[:, 0] - costs[:, 1]) / (2.0 * step)


def _carried(trial: Trial, step: FloatArray) -> FloatArray:
    """The flat shape with its vertices moved to where it carries their new places in the chart."""
    mesh, chart, points = trial.mesh, trial.chart, trial.points
    assert mesh is not None and chart is not None and points is not None
    f = mesh.ground.faces
    before, after = (
        np.stack([c[f[:, 1]] - c[f[:, 0]], c[f[:, 2]] - c[f[:, 0]]], axis=2) for c in (chart, points)
    )
    way = (after @ np.linalg.inv(before)).reshape(-1, 4)
    corner, count = f.ravel(), np.bincount(f.ravel(), minlength=len(chart))
    mean = (
        np.stack([np.bincount(corner, np.repeat(w, 3), len(chart)) for w in way.T], axis=1) / count[:, None]
    )
    moved: FloatArray = points + np.einsum("nij,nj->ni", mean.reshape(-1, 2, 2), step)
    a, b, c = np.moveaxis(moved[f], 1, 0)
    sound = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0.0
    return moved if sound.all() else points


def flat_need(ground: Ground, film: Film, power: float = POWER) -> float:
    """Need of a coarse mesh as it stands; its chart is a flat shape to start from."""
    size = float(np.sqrt(metric_in_order(ground.surface, ground.faces).areas.sum()))
    system = Band(ground.faces, len(ground.surface))
    return laid_flat(ground.surface, ground.faces, system, size, Worst.of(film, power), ground.chart, None)[1]


def laid_flat(
    surface: FloatArray,
    faces: IntArray,
    system: Band,
    size: float,
    law: Worst,
    chart: FloatArray,
    start: tuple[FloatArray, float] | None,
) -> tuple[FloatArray, float]:
    """Flat shape of a coarse mesh that asks least of the film, mm, and its need.

    Rising powers lead there from the chart. `start` is the shape of nearly the same mesh, and what that
    needed: where it needs clearly more on this one, few faces are to blame, which a high power by itself
    brings back by no more than a seventh of their strain at a step.
    """
    problem = _problem(surface, faces, system, size)
    metric = problem.metric
    if start is None:
        points, _ = minimise(problem, Work(), chart / size, steps=1)
        rising: tuple[tuple[float, int], ...] = RISING
    else:
        points = start[0] / size
        rising = RISING_AGAIN if need_of(metric, law, points) > CLEARLY * start[1] else ()
    for power, steps in rising:
        points, _ = minimise(problem, replace(law, power=power), points, steps=steps, tolerance=0.1)
    # Slopes are right only where the least value is really reached: the last stage runs to its end.
    points, _ = minimise(problem, law, points, steps=60, tolerance=NEED_TOLERANCE)
    return points * size, need_of(metric, law, points)


def _problem(surface: FloatArray, faces: IntArray, system: Band, size: float) -> Problem:
    metric = metric_in_order(surface / size, faces)
    areas, count = metric.areas, len(surface)
    masses = np.bincount(faces.ravel(), np.repeat(areas / 3.0, 3), count).astype(np.float64)
    return Problem(metric, areas, masses, cast(System, system))


def metric_in_order(surface: FloatArray, faces: IntArray) -> Metric:
    """Metric of faces with their corners in the order given: a mesh that moves keeps its numbering."""
    a, b, c = (surface[faces[:, k]] for k in range(3))
    one, two = b - a, c - a
    base = np.sqrt(np.einsum("ij,ij->i", one, one))
    foot = np.einsum("ij,ij->i", one, two) / base
    rise = two - (foot / base)[:, None] * one
    return Metric(faces, base, foot, np.sqrt(np.einsum("ij,ij->i", rise, rise)))
