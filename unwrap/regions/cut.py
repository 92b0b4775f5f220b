"""Cut a mesh open along edges."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray, IntArray
from unwrap.regions.edges import edge_table


def cut_along(
    vertices: FloatArray, faces: IntArray, cuts: IntArray | None = None
) -> tuple[FloatArray, IntArray, IntArray]:
    """Part a mesh along edges by giving both sides vertices of their own.

    Without any cut it still parts faces that touch in a vertex only, and at edges
    where more than two faces meet: what comes out is always a manifold.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Triangles.
    cuts : (c, 2) int64, optional
        Edges to part along, by their end vertices in any order.

    Returns
    -------
    vertices : (k, 3) float64
        Positions; unused vertices are gone.
    faces : (m, 3) int64
        The same triangles in the same order.
    source : (k,) int64
        The old vertex of each new one.
    """
    table = edge_table(faces)
    hold = table.pair[:, 0] >= 0
    if cuts is not None and len(cuts):
        size = np.int64(len(vertices))
        low, high = np.sort(cuts, axis=1).T
        hold &= ~np.isin(table.ends[:, 0] * size + table.ends[:, 1], low * size + high)
    # Two faces that meet at an edge which holds share the corners at both its ends.
    edges = np.flatnonzero(hold)
    joins = []
    for end in (0, 1):
        vertex = table.ends[edges, end]
        sides = []
        for side in (0, 1):
            face = table.pair[edges, side]
            corner = (faces[face] == vertex[:, None]).argmax(axis=1)
            sides.append(3 * face + corner)
        joins.append(np.stack(sides, axis=1))
    pairs = np.concatenate(joins)
    corners = faces.size
    graph = sp.coo_matrix(
        (np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(corners, corners)
    )
    count, label = connected_components(graph, directed=False)
    source = np.empty(count, dtype=np.int64)
    source[label] = faces.ravel()
    # keep the old order of the vertices where nothing was cut
    order = np.argsort(source, kind="stable")
    rank = np.empty(count, dtype=np.int64)
    rank[order] = np.arange(count)
    return vertices[source[order]], rank[label].reshape(-1, 3), source[order]
