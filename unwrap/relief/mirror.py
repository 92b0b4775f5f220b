"""Find a patch's plane of symmetry, and keep sets of slits symmetric about it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_edges
from unwrap.relief.ground import Ground
from unwrap.relief.slit import Edge, Slit, nearest_edge

ALIKE = 0.015  # share of the patch's size by which two sides may differ
NEIGHBOURS = 6  # vertices looked at round a counterpart for one of the same price
DEAR = 10.0  # prices above this are alike: nothing goes there
ACROSS = np.array([0.0, 1.0, 0.0])  # a vehicle is symmetric about y = 0 first of all


@dataclass(frozen=True, eq=False)
class Mirror:
    """A reflection of the chart that carries the patch onto itself.

    Parameters
    ----------
    matrix : (2, 2) float64
    shift : (2,) float64
        x -> matrix @ x + shift.
    near : float
        Distance within which two places are the same, mm.
    """

    matrix: FloatArray
    shift: FloatArray
    near: float

    @property
    def axis(self) -> FloatArray:
        """(2,) unit direction of the line of symmetry."""
        values, vectors = np.linalg.eigh(0.5 * (self.matrix + self.matrix.T))
        return vectors[:, int(np.argmax(values))]

    def reflected(self, points: FloatArray) -> FloatArray:
        """(..., 2) points on the other side."""
        return points @ self.matrix.T + self.shift

    def onto(self, points: FloatArray) -> FloatArray:
        """(..., 2) nearest points on the line of symmetry."""
        return 0.5 * (points + self.reflected(points))

    def image(self, slit: Slit, edges: list[Edge]) -> Slit:
        """The slit on the other side."""
        edge, start = nearest_edge(edges, self.reflected(slit.foot))
        tip = self.reflected(slit.tip)
        into = None if slit.into is None else nearest_edge(edges, tip)[0]
        return replace(slit, edge=edge, start=start, tip=tip, bend=-slit.bend, sway=-slit.sway, into=into)

    def partners(self, slits: tuple[Slit, ...]) -> IntArray | None:
        """Each slit's counterpart, itself if it lies on the line; None if the set is not symmetric."""
        if not slits:
            return np.zeros(0, dtype=np.int64)
        ends = np.array([[*s.foot, *s.tip] for s in slits])
        other = np.concatenate([self.reflected(ends[:, :2]), self.reflected(ends[:, 2:])], axis=1)
        gap = np.abs(ends[:, None] - other[None]).max(axis=2)
        found = np.argmin(gap, axis=1)
        good = gap[np.arange(len(slits)), found] < self.near
        return found if good.all() and (found[found] == np.arange(len(slits))).all() else None

    def made_even(self, slits: tuple[Slit, ...], partners: IntArray, edges: list[Edge]) -> tuple[Slit, ...]:
        """The slits with each pair's second an exact image of its first, and single ones on the line."""
        out = list(slits)
        for i, j in enumerate(partners.tolist()):
            if i == j:
                start = slits[i].edge.nearest(self.onto(slits[i].foot))
                tip, into = self.onto(slits[i].tip), slits[i].into
                if into is not None:
                    tip = into.point(into.nearest(tip))
                out[i] = replace(slits[i], start=start, tip=tip, bend=0.0, sway=0.0)
            elif i < j:
                out[j] = self.image(slits[i], edges)
        return tuple(out)

    def ties(self, partners: IntArray) -> FloatArray:
        """(5 n, k) every symmetric change of n slits' numbers as a sum of k columns."""
        size, columns = Slit.SIZE, []
        for i, j in enumerate(partners.tolist()):
            if i == j:
                column = np.zeros((len(partners), size))
                column[i, 1:3] = self.axis
                columns.append(column.ravel())
            elif i < j:
                for k in range(size):
                    column = np.zeros((len(partners), size))
                    column[i, k] = 1.0
                    change = column[i].copy()
                    column[j, 0], column[j, 3:] = -change[0], -change[3:]
                    column[j, 1:3] = self.matrix @ change[1:3]
                    columns.append(column.ravel())
        return np.stack(columns, axis=1)


def find_mirrors(ground: Ground, weights: FloatArray) -> tuple[Mirror, ...]:
    """The patch's symmetry from left to right as a reflection of its chart, if it has that.

    A vehicle's other symmetries are nearly always chance: held to them, cuts would be longer and
    look no better.

    Parameters
    ----------
    ground : Ground
        A middling copy of the patch, evenly meshed.
    weights : (n,) float64
        Price of a cut at each vertex, which has to be as symmetric as the surface.

    Returns
    -------
    tuple of Mirror
        One or none.
    """
    v = ground.surface
    corners = v[ground.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    centre = np.average(corners.mean(axis=1), axis=0, weights=area)
    at_vertex = np.zeros_like(v)
    for k in range(3):
        np.add.at(at_vertex, ground.faces[:, k], normal)
    at_vertex /= np.maximum(np.linalg.norm(at_vertex, axis=1, keepdims=True), 1e-300)
    size = float(np.linalg.norm(v.max(axis=0) - v.min(axis=0)))
    rim = np.unique(boundary_edges(ground.faces))
    spacing = float(np.sqrt(0.5 * area.mean() * 4.0 / np.sqrt(3.0)))
    near = ALIKE * size
    other = v - 2.0 * np.outer((v - centre) @ ACROSS, ACROSS)
    gaps, found = (np.asarray(a) for a in cKDTree(v).query(other, k=NEIGHBOURS))
    gap, index = gaps[:, 0], found[:, 0].astype(np.int64)
    off = np.abs(np.einsum("ij,ij->i", other - v[index], at_vertex[index]))
    if np.quantile(off, 0.99) > near or gap.max() > 2.0 * spacing + near:
        return ()
    if np.asarray(cKDTree(v[rim]).query(other[rim])[0]).max() > spacing + near:
        return ()
    # Where the price changes from one vertex to the next, one of several has to be alike.
    differ = np.abs(weights[found] - weights[:, None]).min(axis=1)
    if np.quantile(differ, 0.95) > 0.1 * max(float(np.ptp(np.minimum(weights, DEAR))), 1e-9):
        return ()
    mirror = _reflection(ground.chart, index, float(np.linalg.norm(np.ptp(ground.chart, axis=0))), spacing)
    return () if mirror is None else (mirror,)


def _reflection(chart: FloatArray, index: IntArray, size: float, spacing: float) -> Mirror | None:
    """The reflection of the chart nearest to carrying each point to its counterpart."""
    here, there = chart - chart.mean(axis=0), chart[index] - chart[index].mean(axis=0)
    u, _, vt = np.linalg.svd(there.T @ here)
    turn = u @ np.diag([1.0, -np.sign(np.linalg.det(u @ vt))]) @ vt
    shift = chart[index].mean(axis=0) - turn @ chart.mean(axis=0)
    # Its own inverse: the shift may only be along the reflected direction.
    shift = 0.5 * (shift - turn @ shift)
    turn = 0.5 * (turn + turn.T)
    left = chart @ turn.T + shift - chart[index]
    if float(np.sqrt((left**2).sum(axis=1).mean())) > 2.0 * ALIKE * size + 0.7 * spacing:
        return None
    return Mirror(turn, shift, 2.0 * ALIKE * size)
