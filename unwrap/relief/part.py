"""Part a patch where slits cannot help: on a saddle their lips would lie over each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.relief.board import flat_need
from unwrap.relief.chart import chart_of
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.crumple import beyond_only_where_crumpled, crumple, flat_but_for_spots
from unwrap.relief.draw import CannotDraw, draw_curve
from unwrap.relief.ground import Ground
from unwrap.relief.half_way import lines_between_sides
from unwrap.relief.mirror import find_mirrors
from unwrap.relief.relieve import UNSEEN, relieve

TURNS = 8  # directions tried for the line
COARSE = 500
EASIER = 0.9  # share of what a crumpled whole asks that its sides may ask, at most
DEARNESS = 0.25  # power of a line's price by which what it leaves to the film counts as more
CLEARLY = 0.97  # a line has to ask less than this share of what the one along the symmetry asks


SAME_PLACE = 1e-6  # mm
BENT = 0.05  # share of its length that a line's end may be moved by so that it closes on itself


@dataclass(frozen=True, eq=False)
class Side:
    """One of the parts of a patch, as a patch of its own.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    faces : (m, 3) int64
    vertex : (n,) int64
        The whole patch's vertex that each is; -1 where the parting made one.
    face : (m,) int64
        The whole patch's face that each is (a part of).
    flat : FlatPiece
        This side laid flat, with relief cuts of its own if need be.
    """

    vertices: FloatArray
    faces: IntArray
    vertex: IntArray
    face: IntArray
    flat: FlatPiece


@dataclass(frozen=True, eq=False)
class Parting:
    """Where a patch was parted.

    Parameters
    ----------
    line : (n, 3) float64
        On the surface, edge to edge, mm.
    under, over : tuple of int
        The sides on one side of it, which are to lap under those on the other.
    """

    line: FloatArray
    under: tuple[int, ...]
    over: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Parted:
    """A patch as several pieces.

    Parameters
    ----------
    sides : tuple of Side
    partings : tuple of Parting
        Empty where it is one piece.
    """

    sides: tuple[Side, ...]
    partings: tuple[Parting, ...] = ()

    @property
    def within(self) -> bool:
        """Whether every piece is inside the film's window."""
        return all(side.flat.within for side in self.sides)


def part(
    vertices: ArrayLike,
    faces: ArrayLike,
    film: Film,
    *,
    cost: FloatArray | None = None,
    keep_clear: np.ndarray | None = None,
    whole: FlatPiece | None = None,
    deepest: int = 2,
) -> Parted:
    """Lay a patch flat as one piece if that can be, else as several that meet along smooth lines.

    Of straight lines through the patch's middle and of lines that run between two of its sides,
    the one is taken whose two sides ask least of the film; on a symmetric patch a straight one
    along or square to its line of symmetry unless another is clearly better. A patch that fits
    the film but lies over itself is parted by the shortest.
    A side that still does not lie flat within the film is parted again.
    A line keeps off ground to keep clear, and has to help the more the dearer its way is.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        mm.
    faces : (m, 3) array_like of int
    film : Film
    cost : (n,) float64, optional
        As for `relieve`, on the sides too.
    keep_clear : (n,) bool, optional
    whole : FlatPiece, optional
        What `relieve` gave for the patch, if that is known.
    deepest : int
        How often a side may be parted again; 2 gives at most four pieces.

    Returns
    -------
    Parted
        One side where the patch fits uncut or with slits and nowhere lies over itself, or where no
        line parts it in two.
    """
    v, f = np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64)
    if whole is None:
        whole = relieve(v, f, film, cost=cost, keep_clear=keep_clear)
    one = Side(v, f, np.arange(len(v)), np.arange(len(f)), whole)
    if deepest == 0 or (not whole.overlap and (whole.within or _crumpled(whole))):
        return Parted((one,))
    uncut = whole if not whole.cuts else flatten(v, f, film)
    ground = Ground(uncut.surface, chart_of(uncut), uncut.faces, uncut.face, uncut.vertex)
    price = np.ones(len(v)) if cost is None else np.asarray(cost, dtype=np.float64)
    if keep_clear is not None:
        price = np.where(keep_clear, np.inf, price)
    line = _best_line(ground, film, whole, price[ground.vertex])
    if line is None:
        return Parted((one,))
    try:
        drawn, chain = draw_curve(ground, _met(ground, line), to_edge=True)
    except CannotDraw:  # the mesh carries no such line: it grazes an opening, say
        return Parted((one,))
    parted = drawn.opened(chain)
    # What the parting made takes the values of what stands nearest.
    near = np.where(parted.vertex >= 0, parted.vertex, np.asarray(cKDTree(v).query(parted.surface)[1]))
    sides: list[Side] = []
    partings: list[Parting] = []
    ends = [0]
    for which in _sides(parted.faces, len(parted.surface)):
        used, local = np.unique(parted.faces[which], return_inverse=True)
        found = part(
            parted.surface[used],
            local.reshape(-1, 3),
            film,
            cost=None if cost is None else cost[near[used]],
            keep_clear=None if keep_clear is None else keep_clear[near[used]],
            deepest=deepest - 1,
        )
        for inner in found.partings:
            under, over = (tuple(k + ends[-1] for k in group) for group in (inner.under, inner.over))
            partings.append(Parting(inner.line, under, over))
        vertex, face = parted.vertex[used], parted.face[which]
        for side in found.sides:
            known = np.where(side.vertex >= 0, vertex[side.vertex], -1)
            sides.append(Side(side.vertices, side.faces, known, face[side.face], side.flat))
        ends.append(len(sides))
    between = Parting(drawn.surface[chain], tuple(range(ends[1])), tuple(range(ends[1], ends[2])))
    return Parted(tuple(sides), (between, *partings))


def _crumpled(whole: FlatPiece) -> bool:
    """Whether a piece is beyond the film for crumpled spots alone, which no parting mends."""
    over = crumple(whole)
    return bool(over.any()) and (flat_but_for_spots(whole, over) or beyond_only_where_crumpled(whole))


def _best_line(ground: Ground, film: Film, whole: FlatPiece, price: FloatArray) -> FloatArray | None:
    """The line across the chart whose two sides ask least of the film; the shortest straight one where
    the whole fits the film; None where the copy shows that parting is of no help.

    `price` is what a cut costs at each point of the ground, infinite where none may go.
    """
    try:
        copy, corners, _ = coarse_copy(ground, COARSE)
    except ValueError:
        return None
    toll = _Toll(copy, price[corners].max(axis=1))
    shortest, best, found = whole.within, np.inf, None
    if not whole.overlap:
        asked = flat_need(copy, film)
        if asked < UNSEEN:
            return None
        if crumple(whole).any():
            best = EASIER * asked
    a, b, c = np.moveaxis(copy.chart[copy.faces], 1, 0)
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    middle = np.average((a + b + c) / 3.0, axis=0, weights=area)
    if not shapely.contains_xy(shapely.polygons(copy.chart[copy.faces]), *middle).any():
        middle = copy.chart[_half_way(copy, area)]
    mirrors = find_mirrors(copy, np.ones(len(copy.chart)))
    first = 0.0
    if mirrors:
        middle = mirrors[0].onto(middle)
        first = float(np.arctan2(*mirrors[0].axis[::-1]))
    reach = float(np.linalg.norm(np.ptp(copy.chart, axis=0)))
    rim = shapely.MultiLineString([copy.chart[e].tolist() for e in boundary_edges(copy.faces)])
    # The two even directions come first, so that another has to be clearly better.
    for k in sorted(range(TURNS), key=lambda k: k % (TURNS // 2)):
        turn = first + np.pi * k / TURNS
        line = _across(middle, reach * np.array([np.cos(turn), np.sin(turn)]), rim)
        need = np.inf if line is None else _need(copy, line, film) * toll.of(line)
        if shortest and line is not None and np.isfinite(need):
            need = float(np.linalg.norm(line[-1] - line[0])) * toll.of(line)
        even = k % (TURNS // 2) == 0
        if need < best * (1.0 if even or not mirrors else CLEARLY):
            best, found = need, line
    for line in [] if shortest else lines_between_sides(copy):
        need = _need(copy, line, film) * toll.of(line)
        if need < CLEARLY * best:
            best, found = need, line
    return found


class _Toll:
    """By how much more a line has to help for the ground that it runs through."""

    def __init__(self, copy: Ground, price: FloatArray) -> None:
        self.near = cKDTree(copy.chart)
        self.price = price
        open_to_cuts = price[np.isfinite(price)]
        self.usual = float(np.median(open_to_cuts)) if len(open_to_cuts) else 1.0

    def of(self, line: FloatArray) -> float:
        """1 on ordinary ground, infinite through ground to keep clear."""
        mean = float(self.price[self.near.query(line)[1]].mean())
        return (mean / self.usual) ** DEARNESS


def _met(ground: Ground, line: FloatArray) -> FloatArray:
    """The line with its end bent to where it began, if both are on one joint: parts have to meet there."""
    edges = boundary_edges(ground.faces)
    first, second = edges.T
    start = _nearest_on(ground.chart[first], ground.chart[second], line[0])
    i = int(np.argmin(start[1]))
    place = ground.surface[first[i]] + start[0][i] * (ground.surface[second[i]] - ground.surface[first[i]])
    share, gap = _nearest_on(ground.surface[first], ground.surface[second], place)
    there = ground.chart[first] + share[:, None] * (ground.chart[second] - ground.chart[first])
    away = np.linalg.norm(there - line[-1], axis=1)
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    same = (gap < SAME_PLACE) & (away < BENT * length)
    if not same.any():
        return line
    end = there[np.argmin(np.where(same, away, np.inf))]
    share_of_way = np.linspace(0.0, 1.0, len(line))[:, None]
    bent: FloatArray = line + np.clip(4.0 * share_of_way - 3.0, 0.0, 1.0) * (end - line[-1])
    return bent


def _nearest_on(start: FloatArray, end: FloatArray, point: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(e,) share of the way along segments to what is nearest to a point, and its distance."""
    along = end - start
    share = np.einsum("ij,ij->i", point - start, along) / np.einsum("ij,ij->i", along, along)
    share = np.clip(share, 0.0, 1.0)
    return share, np.linalg.norm(start + share[:, None] * along - point, axis=1)


def _half_way(copy: Ground, area: FloatArray) -> int:
    """The vertex half way along a patch that turns round its own middle, which lies beside it."""
    start, end = copy.faces.ravel(), np.roll(copy.faces, -1, axis=1).ravel()
    length = np.linalg.norm(copy.surface[start] - copy.surface[end], axis=1)
    ways = coo_matrix((length, (start, end)), shape=(len(copy.surface),) * 2).tocsr()
    # an edge inside the patch stands there once each way
    far = int(dijkstra(ways, False, np.array([0]))[0].argmax())
    away = dijkstra(ways, False, np.array([far]))[0]
    level = away[copy.faces].mean(axis=1)
    order = np.argsort(level)
    half = level[order][np.searchsorted(np.cumsum(area[order]), 0.5 * area.sum())]
    near = np.flatnonzero(np.abs(away - half) <= length.max())
    return int(near[np.linalg.norm(copy.chart[near] - copy.chart[near].mean(axis=0), axis=1).argmin()])


def _across(middle: FloatArray, ray: FloatArray, rim: shapely.Geometry) -> FloatArray | None:
    """The run of a line through the middle, from the edge before it to the edge after it."""
    crossings = shapely.get_coordinates(shapely.LineString([middle - ray, middle + ray]).intersection(rim))
    along = (crossings - middle) @ ray
    if not ((along < 0).any() and (along > 0).any()):
        return None
    start = crossings[np.argmax(np.where(along < 0, along, -np.inf))]
    end = crossings[np.argmin(np.where(along > 0, along, np.inf))]
    run: FloatArray = start + np.linspace(0.0, 1.0, 33)[:, None] * (end - start)
    return run


def _need(copy: Ground, line: FloatArray, film: Film) -> float:
    """What the needier of the two sides asks of the film; inf where the line does not part it in two."""
    try:
        drawn, chain = draw_curve(copy, line)
    except CannotDraw:
        return np.inf
    parted = drawn.opened(chain)
    needs = []
    for which in _sides(parted.faces, len(parted.surface)):
        used, local = np.unique(parted.faces[which], return_inverse=True)
        needs.append(
            flat_need(Ground.of(parted.surface[used], parted.chart[used], local.reshape(-1, 3)), film)
        )
    return max(needs) if len(needs) == 2 else np.inf


def _sides(faces: IntArray, count: int) -> list[IntArray]:
    """Faces of each connected part."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    links = coo_matrix((np.ones(len(start)), (start, end)), shape=(count, count))
    label = connected_components(links, directed=False)[1][faces[:, 0]]
    return [np.flatnonzero(label == k) for k in np.unique(label)]
