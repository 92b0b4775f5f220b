"""The flat piece: a patch laid flat, with what the film must do to go back on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film

# A face may go this many times beyond the window and the piece still counts as
# within, as long as nearly all of the area is inside: slivers must not decide.
WORST_ALLOWED = 1.5
AREA_ALLOWED_BEYOND = 1e-3


@dataclass(frozen=True)
class StrainFigures:
    """Worst, 99th-percentile (by area) and area-weighted mean of one strain, as fractions >= 0."""

    worst: float
    p99: float
    mean: float


@dataclass(frozen=True, eq=False)
class FlatPiece:
    """A patch laid flat.

    Parameters
    ----------
    points : (k, 2) float64
        Flat positions, mm. Faces wind counter-clockwise, as seen from outside.
    faces : (m, 3) int64
        Triangles into `points`, in the order of the input faces. Where a relief cut
        passes through a face, its parts stand one after the other in its place.
    vertex : (k,) int64
        The input vertex of each point; a cut duplicates vertices. -1 where a cut
        made a vertex that the input does not have.
    surface : (k, 3) float64
        Where each point lies on the surface, mm.
    face : (m,) int64
        The input face that each face is (a part of); 0, 1, 2, ... without cuts.
    stretch : (m, 2) float64
        Principal film stretches per face, larger first; 1.0 = none, 1.02 = the film
        must grow by 2 % on the model.
    film : Film
        The film that it was flattened for.
    bound : float
        Proven lower bound on largest over smallest stretch of the uncut patch, >= 1.
    cuts : tuple of (n, 3) float64 arrays
        Relief cuts as polylines on the surface, from the edge to the tip, mm.
    notes : tuple of str
        What the user should know: how slivers were handled, why a piece is beyond
        the film. Empty when all is well.
    overlap : bool
        True if the piece lies over itself on the sheet: it cannot be printed as it is.
    uncut : FlatPiece, optional
        The same patch laid flat without relief cuts; None where there are none.
    """

    points: FloatArray
    faces: IntArray
    vertex: IntArray
    surface: FloatArray
    face: IntArray
    stretch: FloatArray
    film: Film
    bound: float = 1.0
    cuts: tuple[FloatArray, ...] = ()
    notes: tuple[str, ...] = ()
    overlap: bool = False
    uncut: FlatPiece | None = None

    @cached_property
    def areas(self) -> FloatArray:
        """(m,) areas on the surface, mm^2."""
        a, b, c = np.moveaxis(self.surface[self.faces], 1, 0)
        return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)

    @property
    def cut_length(self) -> float:
        """Length of all relief cuts over the surface, mm."""
        return float(sum(np.linalg.norm(np.diff(cut, axis=0), axis=1).sum() for cut in self.cuts))

    @cached_property
    def beyond(self) -> NDArray[np.bool_]:
        """(m,) True where a face is outside the film's window."""
        low, high = self.film.window
        return (self.stretch[:, 0] > high) | (self.stretch[:, 1] < low)

    @property
    def area_beyond(self) -> float:
        """Share of the area that is outside the film's window, 0 to 1."""
        return float(self.areas[self.beyond].sum() / self.areas.sum())

    @cached_property
    def within(self) -> bool:
        """At least 99.9 % of the area inside the window and no face beyond 1.5 times it."""
        worst_low = 1.0 - WORST_ALLOWED * self.film.compression
        worst_high = 1.0 + WORST_ALLOWED * self.film.stretch
        no_face_far = bool(self.stretch[:, 0].max() <= worst_high and self.stretch[:, 1].min() >= worst_low)
        return no_face_far and self.area_beyond <= AREA_ALLOWED_BEYOND

    @cached_property
    def stretch_figures(self) -> StrainFigures:
        """How far the film must grow (fractions, 0 where it need not)."""
        return _figures(np.maximum(self.stretch[:, 0] - 1.0, 0.0), self.areas)

    @cached_property
    def compression_figures(self) -> StrainFigures:
        """How far the film must shrink (fractions, 0 where it need not)."""
        return _figures(np.maximum(1.0 - self.stretch[:, 1], 0.0), self.areas)


def _figures(strain: FloatArray, areas: FloatArray) -> StrainFigures:
    order = np.argsort(strain)
    share = np.cumsum(areas[order]) / areas.sum()
    p99 = strain[order][min(int(np.searchsorted(share, 0.99)), len(order) - 1)]
    return StrainFigures(float(strain.max()), float(p99), float(np.average(strain, weights=areas)))
