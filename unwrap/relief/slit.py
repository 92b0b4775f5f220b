"""A relief cut as a few numbers: where it starts, where its tip is, how it bends."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.edges import boundary_loops
from unwrap.relief.ground import Ground

SAMPLES = 33  # points along a slit


@dataclass(frozen=True, eq=False)
class Edge:
    """One closed edge of the patch in the chart, measured along its length.

    Parameters
    ----------
    ring : (n, 2) float64
        Its vertices, the patch on the left, mm.
    at : (n + 1,) float64
        Distance along it of each vertex, and its whole length last, mm.
    """

    ring: FloatArray
    at: FloatArray

    @classmethod
    def of(cls, ring: FloatArray) -> Edge:
        """Measure a closed ring."""
        step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
        return cls(ring, np.concatenate([[0.0], np.cumsum(step)]))

    @property
    def length(self) -> float:
        """Whole length, mm."""
        return float(self.at[-1])

    def point(self, distance: float | FloatArray) -> FloatArray:
        """The point(s) this far along."""
        d = np.asarray(distance) % self.length
        i = np.minimum(self.at.searchsorted(d, side="right") - 1, len(self.ring) - 1)
        share = (d - self.at[i]) / np.maximum(self.at[i + 1] - self.at[i], 1e-300)
        here, there = self.ring[i], self.ring[(i + 1) % len(self.ring)]
        return here + share[..., None] * (there - here)

    def inward(self, distance: float, reach: float) -> FloatArray:
        """Unit direction into the patch, judged over `reach` to both sides."""
        along = self.point(distance + reach) - self.point(distance - reach)
        return np.array([-along[1], along[0]]) / np.linalg.norm(along)

    def nearest(self, point: FloatArray) -> float:
        """Distance along the edge of its place nearest to a point."""
        along = np.roll(self.ring, -1, axis=0) - self.ring
        square = np.einsum("ij,ij->i", along, along)
        share = np.einsum("ij,ij->i", point - self.ring, along) / np.maximum(square, 1e-300)
        share = np.clip(share, 0.0, 1.0)
        gap = np.linalg.norm(self.ring + share[:, None] * along - point, axis=1)
        i = int(np.argmin(gap))
        return float(self.at[i] + share[i] * np.sqrt(square[i]))


def edges_of(ground: Ground) -> list[Edge]:
    """The patch's edges, longest first."""
    edges = [Edge.of(ground.chart[loop]) for loop in boundary_loops(ground.faces)]
    return sorted(edges, key=lambda edge: -edge.length)


def nearest_edge(edges: list[Edge], point: FloatArray) -> tuple[Edge, float]:
    """The edge that a point lies on or next to, and how far along."""
    places = [edge.nearest(point) for edge in edges]
    gaps = [float(np.linalg.norm(e.point(s) - point)) for e, s in zip(edges, places, strict=True)]
    i = int(np.argmin(gaps))
    return edges[i], places[i]


@dataclass(frozen=True, eq=False)
class Slit:
    """One relief cut in the chart: a cubic's arc over the straight line from an edge to its tip.

    Parameters
    ----------
    edge : Edge
        The edge that it starts on.
    start : float
        Distance along that edge, mm.
    tip : (2,) float64
        Its inner end, mm.
    bend : float
        How far the middle stands to the left of the straight line, mm.
    into : Edge, optional
        The other edge, where the slit runs through to one: its tip keeps to that.
    sway : float
        How much more its first half stands to the left than its second, mm.
    """

    edge: Edge
    start: float
    tip: FloatArray
    bend: float = 0.0
    into: Edge | None = None
    sway: float = 0.0

    SIZE = 5  # numbers that describe it

    def numbers(self) -> FloatArray:
        """(5,) start, tip, bend, sway: all in mm, so that one measure of change fits all."""
        return np.array([self.start, *self.tip, self.bend, self.sway])

    def with_numbers(self, numbers: FloatArray) -> Slit:
        """The slit with other numbers."""
        tip = np.array(numbers[1:3])
        if self.into is not None:
            tip = self.into.point(self.into.nearest(tip))
        start, bend, sway = (float(numbers[k]) for k in (0, 3, 4))
        return replace(self, start=start, tip=tip, bend=bend, sway=sway)

    @property
    def foot(self) -> FloatArray:
        """(2,) where it starts."""
        return self.edge.point(self.start)

    @property
    def chord(self) -> float:
        """Straight length, mm."""
        return float(np.linalg.norm(self.tip - self.foot))

    def curve(self) -> FloatArray:
        """(33, 2) points from the edge to the tip."""
        return self.at(np.linspace(0.0, 1.0, SAMPLES))

    def at(self, share: FloatArray) -> FloatArray:
        """(k, 2) points at shares of the way from the foot (0) to the tip (1)."""
        foot, t = self.foot, share[:, None]
        chord = self.tip - foot
        left = np.array([-chord[1], chord[0]]) / max(float(np.hypot(*chord)), 1e-12)
        return foot + t * chord + 4.0 * t * (1.0 - t) * (self.bend + (1.0 - 2.0 * t) * self.sway) * left

    def slopes(self, share: FloatArray) -> FloatArray:
        """(5, k, 2) how the points at these shares move with each of the slit's numbers."""
        foot, t = self.foot, share[:, None]
        chord = self.tip - foot
        length = max(float(np.hypot(*chord)), 1e-12)
        ahead, left = chord / length, np.array([-chord[1], chord[0]]) / length
        bow = 4.0 * t * (1.0 - t)
        lean = bow * (1.0 - 2.0 * t)
        # A turn of the chord turns the bow with it: its left goes backwards along it.
        turn = -(bow * self.bend + lean * self.sway) / length * ahead
        step = 1e-5 * length
        tangent = (self.edge.point(self.start + step) - self.edge.point(self.start - step)) / (2.0 * step)
        tips = np.eye(2)
        if self.into is not None:
            at = self.into.nearest(self.tip)
            slide = self.into.point(at + step) - self.into.point(at - step)
            slide /= max(float(np.hypot(*slide)), 1e-300)
            tips = np.outer(slide, slide)
        by_tip = [t * d + (left @ d) * turn for d in tips]
        return np.stack([(1.0 - t) * tangent - (left @ tangent) * turn, *by_tip, bow * left, lean * left])

    def way(self, factor: float) -> FloatArray:
        """(33, 2) its curve, `factor` times as deep; one that runs through stays as it is.

        Beyond its tip it goes straight on: a cubic would swing away there.
        """
        if self.into is not None or factor == 1.0:
            return self.curve()
        share = np.linspace(0.0, factor, SAMPLES)
        ahead = self.tip - self.at(np.array([1.0 - 1e-6]))[0]
        return self.at(np.minimum(share, 1.0)) + 1e6 * np.maximum(share - 1.0, 0.0)[:, None] * ahead

    @classmethod
    def along(cls, edge: Edge, start: float, way: FloatArray) -> Slit:
        """The slit through both ends of a polyline (n, 2) and what lies a third of the way from each."""
        chord = way[-1] - way[0]
        length = max(float(np.hypot(*chord)), 1e-12)
        ahead, left = chord / length, np.array([-chord[1], chord[0]]) / length
        places = (way - way[0]) @ ahead / length
        # A way that turns back is followed by its own length.
        if not (np.diff(places) > 0.0).all():
            places = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
            places /= max(float(places[-1]), 1e-12)
        first, second = np.interp([1.0 / 3.0, 2.0 / 3.0], places, (way - way[0]) @ left)
        bend, sway = 9.0 / 16.0 * (first + second), 27.0 / 16.0 * (first - second)
        return cls(edge, start, way[-1], float(bend), sway=float(sway))
