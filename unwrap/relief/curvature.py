"""How sharply a patch is curved both ways."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from unwrap.arrays import FloatArray
from unwrap.flatten.edges import boundary_edges
from unwrap.relief.ground import Ground

ROUNDS = 3  # of averaging with the neighbours: a mesh's vertices hold its curvature in lumps


def curvature_of(ground: Ground) -> FloatArray:
    """(n,) Gaussian curvature at each vertex, averaged over its neighbourhood, 1/mm^2.

    The angle that is missing to a full turn at a vertex over its share of the area (K. Polthier and
    M. Schmies, "Straightest geodesics on polyhedral surfaces", 1998, section 3); vertices on an edge
    take what their neighbours have.
    """
    v, f, n = ground.surface, ground.faces, len(ground.surface)
    ahead = v[np.roll(f, -1, axis=1)] - v[f]
    behind = v[np.roll(f, 1, axis=1)] - v[f]
    across = np.linalg.norm(np.cross(ahead, behind), axis=2)
    angle = np.arctan2(across, np.einsum("fkx,fkx->fk", ahead, behind))
    missing = 2.0 * np.pi - np.bincount(f.ravel(), angle.ravel(), n)
    share = np.bincount(f.ravel(), across.ravel() / 6.0, n)
    inner = np.ones(n, dtype=bool)
    inner[boundary_edges(f)] = False
    missing[~inner], weight = 0.0, np.where(inner, share, 0.0)
    start, end = f.ravel(), np.roll(f, -1, axis=1).ravel()
    rows = np.concatenate([start, end, np.arange(n)])
    columns = np.concatenate([end, start, np.arange(n)])
    links = sparse.csr_matrix((np.ones(len(rows)), (rows, columns)), (n, n))
    links.data[:] = 1.0
    for _ in range(ROUNDS):
        missing, weight = links @ missing, links @ weight
    return np.divide(missing, weight, out=np.zeros(n), where=weight > 0.0)
