"""Part a patch in two where slits cannot help: on a saddle their lips would lie over each other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.flat_piece import FlatPiece, FloatArray, IntArray
from unwrap.relief.board import flat_need
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.draw import CannotDraw, draw_curve
from unwrap.relief.ground import Ground
from unwrap.relief.relieve import relieve

TURNS = 8  # directions tried for the line
COARSE = 500


@dataclass(frozen=True, eq=False)
class Parted:
    """A patch as several pieces.

    Parameters
    ----------
    pieces : tuple of FlatPiece
        `vertex` and `face` of each count the input's.
    lines : tuple of (n, 3) float64
        Where they meet on the surface, edge to edge, mm: one of the two pieces at each
        line is to lap under the other.
    """

    pieces: tuple[FlatPiece, ...]
    lines: tuple[FloatArray, ...]

    @property
    def within(self) -> bool:
        """Whether every piece is inside the film's window."""
        return all(piece.within for piece in self.pieces)


def part(vertices: ArrayLike, faces: ArrayLike, film: Film, *, deepest: int = 2) -> Parted:
    """Lay a patch flat as one piece if that can be, else as several that meet along straight lines.

    Of lines through the patch's middle, the one is taken whose two sides ask least of the
    film; a side that is still beyond it is parted again.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        mm.
    faces : (m, 3) array_like of int
    film : Film
    deepest : int
        How often a side may be parted again; 2 gives at most four pieces.

    Returns
    -------
    Parted
    """
    v, f = np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64)
    whole = relieve(v, f, film)
    if whole.within or deepest == 0:
        return Parted((whole,), ())
    uncut = flatten(v, f, film)
    ground = Ground(uncut.surface, uncut.points, uncut.faces, uncut.face, uncut.vertex)
    line = _best_line(ground, film)
    if line is None:
        return Parted((whole,), ())
    drawn, chain = draw_curve(ground, line)
    parted = drawn.opened(chain)
    pieces: list[FlatPiece] = []
    lines = [drawn.surface[chain]]
    for which in _sides(parted.faces, len(parted.surface)):
        used, local = np.unique(parted.faces[which], return_inverse=True)
        side = part(parted.surface[used], local.reshape(-1, 3), film, deepest=deepest - 1)
        lines += side.lines
        for piece in side.pieces:
            known = piece.vertex >= 0
            vertex = np.where(known, parted.vertex[used][np.where(known, piece.vertex, 0)], -1)
            pieces.append(replace(piece, vertex=vertex, face=parted.face[which][piece.face]))
    return Parted(tuple(pieces), tuple(lines))


def _best_line(ground: Ground, film: Film) -> FloatArray | None:
    """The straight line across the chart whose two sides ask least of the film."""
    try:
        copy = coarse_copy(ground, COARSE)[0]
    except ValueError:
        return None
    a, b, c = np.moveaxis(copy.chart[copy.faces], 1, 0)
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    middle = np.average((a + b + c) / 3.0, axis=0, weights=area)
    reach = float(np.linalg.norm(np.ptp(copy.chart, axis=0)))
    rim = shapely.MultiLineString([copy.chart[e].tolist() for e in boundary_edges(copy.faces)])
    best, found = np.inf, None
    for turn in np.pi * np.arange(TURNS) / TURNS:
        ray = reach * np.array([np.cos(turn), np.sin(turn)])
        crossings = shapely.get_coordinates(
            shapely.LineString([middle - ray, middle + ray]).intersection(rim)
        )
        along = (crossings - middle) @ ray
        if not ((along < 0).any() and (along > 0).any()):
            continue
        start = crossings[np.argmax(np.where(along < 0, along, -np.inf))]
        end = crossings[np.argmin(np.where(along > 0, along, np.inf))]
        line = start + np.linspace(0.0, 1.0, 33)[:, None] * (end - start)
        try:
            drawn, chain = draw_curve(copy, line)
        except CannotDraw:
            continue
        parted = drawn.opened(chain)
        needs = []
        for which in _sides(parted.faces, len(parted.surface)):
            used, local = np.unique(parted.faces[which], return_inverse=True)
            side = Ground.of(parted.surface[used], parted.chart[used], local.reshape(-1, 3))
            needs.append(flat_need(side, film))
        if len(needs) == 2 and max(needs) < best:
            best, found = max(needs), line
    return found


def _sides(faces: IntArray, count: int) -> list[IntArray]:
    """Faces of each connected part."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    links = coo_matrix((np.ones(len(start)), (start, end)), shape=(count, count))
    label = connected_components(links, directed=False)[1][faces[:, 0]]
    return [np.flatnonzero(label == k) for k in np.unique(label)]
