"""Fitting slits: how a piece gets round a knob, pipe or bracket that is already on the model."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from unwrap.arrays import FloatArray
from unwrap.flatten.edges import boundary_edges, boundary_loops
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.relief.coarse import locate
from unwrap.relief.field import FORBIDDEN
from unwrap.relief.ground import Ground


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
) -> Fitting:
    """Least visible slit from an edge of a piece to a part on the model, and a hole of its size.

    Relief cuts and openings count as edges.

    Parameters
    ----------
    flat : FlatPiece
    at : (3,) array_like of float
        Where the part stands, mm; moved to the nearest place of the piece.
    diameter : float
        Its diameter where it meets the surface, mm.
    cost : (n,) array_like of float, optional
        What a millimetre of slit costs at each input vertex; 1 = ordinary.
    keep_clear : (n,) array_like of bool, optional
        Input vertices that the slit may not come near, where there is another way.

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
    near, middle = _nearest(flat, place)
    gap = float(np.linalg.norm(near - place))
    if gap > max(1.0, diameter):
        where = ", ".join(f"{x:.1f}" for x in place)
        raise ValueError(f"the fitting at ({where}) stands {gap:.1f} mm away from the piece")
    price = _prices(flat, cost, keep_clear)
    rings = [flat.points[loop] for loop in boundary_loops(flat.faces)]
    rings.sort(key=lambda ring: -abs(shapely.Polygon(ring).area))
    outline = shapely.Polygon(rings[0], rings[1:])
    hole = np.array([*middle, diameter])
    if shapely.distance(outline.boundary, shapely.Point(middle)) <= 0.5 * diameter:
        return Fitting(near, hole, np.zeros((0, 2)), np.zeros((0, 3)))
    way = _straightened(flat, price, outline, _cheapest(flat, price, middle))
    way = _to_rim(way, middle, 0.5 * diameter)
    return Fitting(near, hole, way, _on_surface(flat, way))


def _nearest(flat: FlatPiece, place: FloatArray) -> tuple[FloatArray, FloatArray]:
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


def _cheapest(flat: FlatPiece, price: FloatArray, middle: FloatArray) -> FloatArray:
    """Cheapest way along mesh edges from the patch's edge to the middle."""
    n = len(flat.points)
    ground = Ground.of(flat.surface, flat.points, flat.faces)
    corners, _, _ = locate(ground, middle[None])
    start, end = flat.faces.ravel(), np.roll(flat.faces, -1, axis=1).ravel()
    low, high = np.unique(np.sort(np.column_stack([start, end]), axis=1), axis=0).T
    first, second = np.concatenate([low, corners[0]]), np.concatenate([high, np.full(3, n)])
    places = np.concatenate([flat.points, middle[None]])
    prices = np.append(price, price[corners[0]].min())
    length = np.linalg.norm(places[first] - places[second], axis=1) + 1e-12
    weight = length * 0.5 * (prices[first] + prices[second])
    graph = coo_matrix((weight, (first, second)), shape=(n + 1, n + 1)).tocsr()
    distance, before = (
        a[0] for a in dijkstra(graph, directed=False, indices=np.array([n]), return_predecessors=True)
    )
    rim = np.unique(boundary_edges(flat.faces))
    at = int(rim[np.argmin(distance[rim])])
    chain = [at]
    while chain[-1] != n:
        chain.append(int(before[chain[-1]]))
    return places[chain]


def _straightened(
    flat: FlatPiece, price: FloatArray, outline: shapely.Polygon, way: FloatArray
) -> FloatArray:
    """The way with every run replaced by a straight one where that stays inside and costs no more."""
    ground = Ground.of(flat.surface, flat.points, flat.faces)
    room = outline.buffer(1e-9)

    def toll(p: FloatArray, q: FloatArray) -> float:
        if not room.covers(shapely.LineString([p, q])):
            return np.inf
        t = (np.arange(24) + 0.5)[:, None] / 24
        corners, weights, inside = locate(ground, p + t * (q - p))
        values = np.where(inside, np.einsum("nk,nk->n", weights, price[corners]), 1.0)
        return float(np.linalg.norm(q - p) * values.mean())

    # The edge may be met elsewhere too: the straight way out of each point of the edge is tried first.
    rim = flat.points[np.unique(boundary_edges(flat.faces))]
    shortest = rim[np.argsort(np.linalg.norm(rim - way[-1], axis=1))[:12]]
    total = sum(toll(p, q) for p, q in itertools.pairwise(way))
    direct = [(toll(p, way[-1]), p) for p in shortest]
    best = min(direct, key=lambda d: d[0])
    if best[0] <= total:
        return np.array([best[1], way[-1]])
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


def _to_rim(way: FloatArray, middle: FloatArray, radius: float) -> FloatArray:
    line = shapely.LineString(way).difference(shapely.Point(middle).buffer(radius, quad_segs=64))
    parts = [line] if line.geom_type == "LineString" else list(line.geoms)
    first = min(parts, key=lambda part: part.distance(shapely.Point(way[0])))
    # Close enough together that the slit follows the surface between its points.
    return shapely.get_coordinates(shapely.segmentize(first, max(first.length / 32.0, 1e-6)))


def _on_surface(flat: FlatPiece, way: FloatArray) -> FloatArray:
    corners, weights, _ = locate(Ground.of(flat.surface, flat.points, flat.faces), way)
    return np.einsum("nk,nkx->nx", weights, flat.surface[corners])
