"""Where cuts cost least: the cheapest ways from an edge into a patch's middle."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray
from unwrap.relief.field import Field
from unwrap.relief.slit import Edge, Slit

UNEVEN = 1.3  # dearest over cheapest ground from which the price has a say in where to begin
WAYS = 3
APART = 0.125  # share of the edge that their feet are apart


def cheap_ways(field: Field, edge: Edge, middle: FloatArray, depth: float) -> list[Slit]:
    """Slits along the cheapest ways from an edge to a point, `depth` of the way; none where all costs alike.

    Parameters
    ----------
    field : Field
    edge : Edge
    middle : (2,) float64
        Where the ways lead, in the chart, mm.
    depth : float

    Returns
    -------
    list of Slit
        Cheapest first, on separate parts of the edge.
    """
    ground, price = field.ground, np.where(field.clear, 1e3, field.price)
    if price.max() < UNEVEN * price.min():
        return []
    f = ground.faces
    one, two = np.concatenate([f, np.roll(f, -1, axis=1)], axis=0).reshape(2, -1)
    length = np.linalg.norm(ground.surface[one] - ground.surface[two], axis=1)
    weight = length * 0.5 * (price[one] + price[two])
    # An edge inside comes from both its faces: once is enough.
    count = len(ground.chart)
    rows, columns = np.concatenate([one, two]), np.concatenate([two, one])
    key = np.unique(rows * count + columns, return_index=True)[1]
    graph = coo_matrix(
        (np.concatenate([weight, weight])[key], (rows[key], columns[key])), shape=(count, count)
    )
    heart = int(np.argmin(np.linalg.norm(ground.chart - middle, axis=1)))
    found = dijkstra(graph.tocsr(), directed=False, indices=np.array([heart]), return_predecessors=True)
    away, before = (a[0] for a in found)
    rim = np.asarray(cKDTree(ground.chart).query(edge.ring)[1])
    places = edge.at[:-1]
    chosen: list[float] = []
    slits: list[Slit] = []
    for j in np.argsort(away[rim]).tolist():
        apart = [abs((places[j] - c + 0.5 * edge.length) % edge.length - 0.5 * edge.length) for c in chosen]
        if min(apart, default=np.inf) < APART * edge.length:
            continue
        way = [int(rim[j])]
        while way[-1] != heart:
            way.append(int(before[way[-1]]))
        slits.append(_along(edge, float(places[j]), ground.chart[way], depth))
        chosen.append(float(places[j]))
        if len(slits) == WAYS:
            break
    return slits


def _along(edge: Edge, start: float, way: FloatArray, depth: float) -> Slit:
    """The slit nearest to a polyline's first part."""
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
    shares = np.linspace(0.0, depth * at[-1], len(way))
    return Slit.along(edge, start, np.column_stack([np.interp(shares, at, way[:, i]) for i in (0, 1)]))
