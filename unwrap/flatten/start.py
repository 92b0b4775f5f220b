"""A first flat shape without a flipped face.

The longest edge of the patch is laid round a circle and every inner vertex in the
mean of its neighbours; for positive weights and a convex outline no face flips [1]_.
Openings are closed for this step alone by a fan round one extra vertex.

References
----------
.. [1] W. T. Tutte, "How to draw a graph", Proc. London Math. Soc. 13, 1963; M. Floater,
   "One-to-one piecewise linear mappings over triangulations", Math. Comp. 72, 2003
   (both from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, diags_array
from scipy.sparse.linalg import splu

from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.flat_piece import FloatArray, IntArray


def round_start(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Flat shape with a round outline, of the same total area as the patch.

    Parameters
    ----------
    vertices : (n, 3) float64
    faces : (m, 3) int64
        Every vertex is used.

    Returns
    -------
    points : (n, 2) float64
    """
    n = len(vertices)
    loops = boundary_loops(faces)
    lengths = [np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1) for loop in loops]
    outer = int(np.argmax([length.sum() for length in lengths]))
    edges = [faces.ravel(), np.roll(faces, -1, axis=1).ravel()]
    rows, columns = [edges[0], edges[1]], [edges[1], edges[0]]
    extra = n
    for k, loop in enumerate(loops):
        if k == outer:
            continue
        hub = np.full(len(loop), extra)
        rows += [loop, hub]
        columns += [hub, loop]
        extra += 1
    row, column = np.concatenate(rows), np.concatenate(columns)
    graph = coo_matrix((np.ones(len(row)), (row, column)), shape=(extra, extra)).tocsr()
    graph.data[:] = 1.0
    ring = loops[outer]
    # A little even spacing keeps very short edges from vanishing on the circle.
    length = lengths[outer] / lengths[outer].sum() + 0.1 / len(ring)
    angle = 2.0 * np.pi * np.concatenate([[0.0], np.cumsum(length)[:-1]]) / length.sum()
    points = np.zeros((extra, 2))
    points[ring] = np.column_stack([np.cos(angle), np.sin(angle)])
    inner = np.ones(extra, dtype=bool)
    inner[ring] = False
    if inner.any():
        laplace = (diags_array(np.asarray(graph.sum(axis=1)).ravel()) - graph).tocsr()
        system = laplace[inner][:, inner].tocsc()
        right = -laplace[inner][:, ring] @ points[ring]
        factor = splu(
            system, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        points[inner] = factor.solve(np.ascontiguousarray(right))
    points = points[:n]
    return points * np.sqrt(_area(vertices, faces) / _area(points, faces))


def _area(vertices: FloatArray, faces: IntArray) -> float:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    u, v = b - a, c - a
    if vertices.shape[1] == 3:
        return float(0.5 * np.linalg.norm(np.cross(u, v), axis=1).sum())
    return float(0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum())
