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
        i = np.clip(np.searchsorted(self.at, d, side="right") - 1, 0, len(self.ring) - 1)
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


@dataclass(frozen=True, eq=False)
class Slit:
    """One relief cut in the chart: a parabola's arc from an edge to its tip.

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
    """

    edge: Edge
    start: float
    tip: FloatArray
    bend: float = 0.0

    SIZE = 4  # numbers that describe it

    def numbers(self) -> FloatArray:
        """(4,) start, tip, bend: all in mm, so that one measure of change fits all."""
        return np.array([self.start, *self.tip, self.bend])

    def with_numbers(self, numbers: FloatArray) -> Slit:
        """The slit with other numbers."""
        return replace(self, start=float(numbers[0]), tip=np.array(numbers[1:3]), bend=float(numbers[3]))

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
        return self.curve_from(self.foot)

    def curve_from(self, foot: FloatArray) -> FloatArray:
        """The same with its foot moved."""
        t = np.linspace(0.0, 1.0, SAMPLES)[:, None]
        chord = self.tip - foot
        left = np.array([-chord[1], chord[0]]) / max(float(np.linalg.norm(chord)), 1e-12)
        return foot + t * chord + 4.0 * t * (1.0 - t) * self.bend * left

    def scaled(self, factor: float) -> Slit:
        """The same line, cut `factor` times as deep."""
        t = factor
        foot, chord = self.foot, self.tip - self.foot
        left = np.array([-chord[1], chord[0]]) / max(float(np.linalg.norm(chord)), 1e-12)
        # A part of a parabola is a parabola whose sagitta goes with the square of its length,
        # and whose chord turns a little.
        tip = foot + t * chord + 4.0 * t * (1.0 - t) * self.bend * left
        return replace(self, tip=tip, bend=self.bend * t * t)
