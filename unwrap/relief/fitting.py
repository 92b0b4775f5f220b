"""Fitting slits: how a piece gets round a knob, pipe or bracket that is already on the model."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from shapely.ops import substring

from unwrap.arrays import FloatArray
from unwrap.flatten.edges import boundary_edges, boundary_loops
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.relief.coarse import coarse_copy, locate
from unwrap.relief.field import FORBIDDEN
from unwrap.relief.ground import Ground

# How far apart the corners of an even copy lie, mm, and how many faces it may have.
FINE, COUNTS = 0.8, (1500, 8000)
# A slit keeps this far off other parts' holes, mm.
OFF_HOLES = 0.5
# A foot is moved along the edge by up to this many of those distances to leave it squarely.
BESIDE_FOOT = 6.0
# A straight run is priced every so often, mm.
SAMPLED = 0.3


@dataclass(frozen=True, eq=False)
class Fitting:
    """A hole for a part on the model, and the slit that leads to it.

    Parameters
    ----------
    at : (3,) float64
        Its middle on the surface, mm.
    hole : (3,) float64
        x, y and diameter on the flat piece, mm.
    slit : (n, 2) float64
        On the flat piece, from an edge to the hole's rim, mm; empty where the hole
        touches an edge.
    on_surface : (n, 3) float64
        The same on the model.
    """

    at: FloatArray
    hole: FloatArray
    slit: FloatArray
    on_surface: FloatArray

    @property
    def length(self) -> float:
        """Length of the slit over the surface, mm."""
        return float(np.linalg.norm(np.diff(self.on_surface, axis=0), axis=1).sum())


def fitting_slit(
    flat: FlatPiece,
    at: ArrayLike,
    diameter: float,
    *,
    cost: ArrayLike | None = None,
    keep_clear: ArrayLike | None = None,
    ground: Ground | None = None,
    made: Sequence[Fitting] = (),
    others: ArrayLike = (),
) -> Fitting:
    """Least visible slit from an edge of a piece to a part on the model, and a hole of its size.

    Relief cuts and openings count as edges, and so do the slits and holes that are `made` already.

    Parameters
    ----------
    flat : FlatPiece
    at : (3,) array_like of float
        Where the part stands, mm; moved to the nearest place of the piece.
    diameter : float
        Its diameter where it meets the surface, mm.
    cost : (n,) array_like of float, optional
        What a millimetre of slit costs at each input vertex, or at each point of `ground`
        where that is given; 1 = ordinary.
    keep_clear : (n,) array_like of bool, optional
        Where the slit may not come near, if there is another way.
    ground : Ground, optional
        An even copy of the flat piece, which knows what cuts cost better than a mesh of few
        faces does (`even_ground`).
    made : sequence of Fitting, optional
        Those on the piece that have their slits.
    others : (k, 3) array_like of float, optional
        x, y and diameter of holes that the slit has to keep off, mm on the flat piece.

    Returns
    -------
    Fitting

    Raises
    ------
    ValueError
        If the diameter is not above 0, or the place is further from the piece than
        the larger of 1 mm and the diameter.
    """
    place = np.asarray(at, dtype=np.float64)
    if not diameter > 0.0:
        raise ValueError(f"a fitting's diameter must be above 0, not {diameter}")
    near, middle = nearest_on_piece(flat, place)
    gap = float(np.linalg.norm(near - place))
    if gap > max(1.0, diameter):
        where = ", ".join(f"{x:.1f}" for x in place)
        raise ValueError(f"the fitting at ({where}) stands {gap:.1f} mm away from the piece")
    if ground is None:
        ground = Ground(flat.surface, flat.points, flat.faces, flat.face, flat.vertex)
        price = _prices(flat, cost, keep_clear)
    else:
        price = np.ones(len(ground.chart)) if cost is None else np.array(cost, dtype=np.float64)
        if keep_clear is not None:
            price[np.asarray(keep_clear, dtype=bool)] = FORBIDDEN
    for x, y, wide in np.reshape(np.asarray(others, dtype=np.float64), (-1, 3)):
        away = np.linalg.norm(ground.chart - (x, y), axis=1)
        price[away < 0.5 * wide + OFF_HOLES] = FORBIDDEN
    rings = [flat.points[loop] for loop in boundary_loops(flat.faces)]
    rings.sort(key=lambda ring: -abs(shapely.Polygon(ring).area))
    outline = shapely.Polygon(rings[0], rings[1:])
    opened = shapely.union_all([_opened(one) for one in made])
    hole = np.array([*middle, diameter])
    edges = shapely.union_all([outline.boundary, opened])
    if shapely.distance(edges, shapely.Point(middle)) <= 0.5 * diameter:
        return Fitting(near, hole, np.zeros((0, 2)), np.zeros((0, 3)))
    way = _straightened(ground, price, outline, opened, _cheapest(ground, price, opened, middle))
    way = _to_rim(way, opened, middle, 0.5 * diameter)
    return Fitting(near, hole, way, _on_surface(flat, way))


def even_ground(flat: FlatPiece) -> Ground:
    """An even copy of a flat piece, fine enough to find a slit's way on; its own mesh if there is none."""
    own = Ground(flat.surface, flat.points, flat.faces, flat.face, flat.vertex)
    count = int(np.clip(flat.areas.sum() * 4.0 / np.sqrt(3.0) / FINE**2, *COUNTS))
    try:
        return coarse_copy(own, count)[0]
    except ValueError:  # slits that stand closed, say: the mesh beside them is fine enough
        return own


def _opened(one: Fitting) -> shapely.Geometry:
    """What of a piece is cut away and slit for a fitting."""
    hole = shapely.Point(*one.hole[:2]).buffer(0.5 * one.hole[2], quad_segs=64)
    return shapely.union(hole, shapely.LineString(one.slit)) if len(one.slit) else hole


def nearest_on_piece(flat: FlatPiece, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Nearest place on the piece's surface, and where that is on the sheet."""
    a, b, c = np.moveaxis(flat.surface[flat.faces], 1, 0)
    best, found = np.inf, (a[0], flat.points[flat.faces[0, 0]])
    e1, e2, d = b - a, c - a, place - a
    d11, d12, d22 = ((x * y).sum(axis=1) for x, y in ((e1, e1), (e1, e2), (e2, e2)))
    p1, p2 = (d * e1).sum(axis=1), (d * e2).sum(axis=1)
    scale = d11 * d22 - d12 * d12
    u, v = (d22 * p1 - d12 * p2) / scale, (d11 * p2 - d12 * p1) / scale
    weights = [np.column_stack([1.0 - u - v, u, v])]
    for i, j in ((0, 1), (1, 2), (2, 0)):  # and on the faces' sides
        start, along = flat.surface[flat.faces[:, i]], flat.surface[flat.faces[:, j]]
        along = along - start
        t = np.clip(((place - start) * along).sum(axis=1) / (along * along).sum(axis=1), 0.0, 1.0)
        w = np.zeros((len(t), 3))
        w[:, i], w[:, j] = 1.0 - t, t
        weights.append(w)
    for w in weights:
        spot = np.einsum("mk,mkx->mx", w, flat.surface[flat.faces])
        gap = np.where(w.min(axis=1) >= -1e-12, np.linalg.norm(spot - place, axis=1), np.inf)
        f = int(np.argmin(gap))
        if gap[f] < best:
            best, found = gap[f], (spot[f], w[f] @ flat.points[flat.faces[f]])
    return found


def _prices(flat: FlatPiece, cost: ArrayLike | None, keep_clear: ArrayLike | None) -> FloatArray:
    """(k,) price per flat point; made vertices take the mean of their neighbours'."""
    price = np.ones(len(flat.points))
    known = flat.vertex >= 0
    if cost is not None:
        price[known] = np.asarray(cost, dtype=np.float64)[flat.vertex[known]]
    if keep_clear is not None:
        price[known] = np.where(
            np.asarray(keep_clear, dtype=bool)[flat.vertex[known]], FORBIDDEN, price[known]
        )
    if not known.all():
        start, end = flat.faces.ravel(), np.roll(flat.faces, -1, axis=1).ravel()
        both = np.concatenate([start, end]), np.concatenate([end, start])
        from_known = known[both[1]]
        total = np.bincount(both[0][from_known], price[both[1][from_known]], minlength=len(price))
        count = np.bincount(both[0][from_known], minlength=len(price))
        fill = np.divide(total, count, out=np.ones_like(total), where=count > 0)
        price[~known] = fill[~known]
    return price


def _cheapest(ground: Ground, price: FloatArray, opened: shapely.Geometry, middle: FloatArray) -> FloatArray:
    """Cheapest way along mesh edges from the patch's edge, or what is open already, to the middle."""
    n = len(ground.chart)
    corners, _, _ = locate(ground, middle[None])
    start, end = ground.faces.ravel(), np.roll(ground.faces, -1, axis=1).ravel()
    low, high = np.unique(np.sort(np.column_stack([start, end]), axis=1), axis=0).T
    first, second = np.concatenate([low, corners[0]]), np.concatenate([high, np.full(3, n)])
    places = np.concatenate([ground.chart, middle[None]])
    prices = np.append(price, price[corners[0]].min())
    length = np.linalg.norm(places[first] - places[second], axis=1) + 1e-12
    weight = length * 0.5 * (prices[first] + prices[second])
    graph = coo_matrix((weight, (first, second)), shape=(n + 1, n + 1)).tocsr()
    distance, before = (
        a[0] for a in dijkstra(graph, directed=False, indices=np.array([n]), return_predecessors=True)
    )
    rim = np.unique(boundary_edges(ground.faces))
    away = shapely.distance(shapely.points(ground.chart), opened)
    beside = np.flatnonzero(away < np.median(length)) if not opened.is_empty else rim[:0]
    to_edge = np.concatenate([distance[rim], distance[beside] + away[beside]])
    at = int(np.concatenate([rim, beside])[np.argmin(to_edge)])
    chain = [at]
    while chain[-1] != n:
        chain.append(int(before[chain[-1]]))
    way = places[chain]
    return _begun_at(opened, way) if np.argmin(to_edge) >= len(rim) else way


def _begun_at(opened: shapely.Geometry, way: FloatArray) -> FloatArray:
    """The way run back to the nearest place of what is open already."""
    foot = shapely.get_coordinates(shapely.shortest_line(opened, shapely.Point(way[0])))[0]
    return np.concatenate([foot[None], way]) if np.linalg.norm(foot - way[0]) > 1e-9 else way


def _straightened(
    ground: Ground, price: FloatArray, outline: shapely.Polygon, opened: shapely.Geometry, way: FloatArray
) -> FloatArray:
    """The way with every run replaced by a straight one where that stays inside and costs no more."""
    room = outline.buffer(1e-6)

    def toll(p: FloatArray, q: FloatArray) -> float:
        if not room.covers(shapely.LineString([p, q])):
            return np.inf
        length = float(np.linalg.norm(q - p))
        count = int(np.clip(length / SAMPLED, 24, 400))
        t = (np.arange(count) + 0.5)[:, None] / count
        corners, weights, inside = locate(ground, p + t * (q - p))
        values = np.where(inside, np.einsum("nk,nk->n", weights, price[corners]), 1.0)
        return length * float(values.mean())

    # The edge may be met elsewhere too: the straight way out of each point of the edge is tried first.
    rim = ground.chart[np.unique(boundary_edges(ground.faces))]
    nearest = rim[np.argsort(np.linalg.norm(rim - way[-1], axis=1))[:12]]
    # Squarely out of the whole edge, and of the edge where the way ends.
    around = shapely.Point(way[0]).buffer(BESIDE_FOOT * FINE)
    for side in (outline.boundary, shapely.intersection(outline.boundary, around)):
        if not side.is_empty:
            nearest = np.concatenate([_begun_at(side, way[-1:])[:1], nearest])
    if not opened.is_empty:
        nearest = np.concatenate([_begun_at(opened, way[-1:])[:1], nearest])
    total = sum(toll(p, q) for p, q in itertools.pairwise(way))
    direct = [(toll(p, way[-1]), k) for k, p in enumerate(nearest)]
    best = min(direct)
    if best[0] <= total:
        return np.array([nearest[best[1]], way[-1]])
    kept, i = [way[0]], 0
    while i < len(way) - 1:
        costs = np.cumsum([toll(p, q) for p, q in zip(way[i:-1], way[i + 1 :], strict=True)])
        j = len(way) - 1
        while j > i + 1 and toll(way[i], way[j]) > costs[j - i - 1] * (1.0 + 1e-9):
            j -= 1
        kept.append(way[j])
        i = j
    return _rounded(np.array(kept), room)


def _rounded(way: FloatArray, room: shapely.Polygon) -> FloatArray:
    """Corners cut twice (Chaikin), so that a blade follows in one sweep."""
    for _ in range(3):
        if len(way) < 3:
            break
        a, b = way[:-1], way[1:]
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 2)
        rounded = np.concatenate([way[:1], cut[1:-1], way[-1:]])
        if not room.covers(shapely.LineString(rounded)):
            break
        way = rounded
    return way


def _to_rim(way: FloatArray, opened: shapely.Geometry, middle: FloatArray, radius: float) -> FloatArray:
    """The way from where it last leaves an edge or what is open already, to the hole's rim."""
    line = shapely.LineString(way)
    met = shapely.get_coordinates(shapely.intersection(line, opened))
    start = max(shapely.line_locate_point(line, shapely.points(met)), default=0.0)
    line = substring(line, start, line.length)
    line = line.difference(shapely.Point(middle).buffer(radius, quad_segs=64))
    parts = [line] if line.geom_type == "LineString" else list(line.geoms)
    first = min(parts, key=lambda part: part.distance(shapely.Point(way[0])))
    # Close enough together that the slit follows the surface between its points.
    return shapely.get_coordinates(shapely.segmentize(first, max(first.length / 32.0, 1e-6)))


def _on_surface(flat: FlatPiece, way: FloatArray) -> FloatArray:
    corners, weights, _ = locate(Ground.of(flat.surface, flat.points, flat.faces), way)
    return np.einsum("nk,nkx->nx", weights, flat.surface[corners])
