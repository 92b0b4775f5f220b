"""Normals that make facets look like the curve they stand for, and edges like edges."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray
from unwrap.body.body import Body

# Edges sharper than this are drawn sharp; gentler ones are facets of a curve.
SHARP_EDGE = np.radians(35.0)


def smooth_normals(body: Body) -> FloatArray:
    """(m, 3, 3) unit normals at face corners, rounded over facets and sharp at edges.

    Faces joined by gentle edges share normals, weighted by area so that the flats of a
    shell stay flat beside their rounded edges.
    """
    faces = body.faces
    gentle = body.edges.pairs[body.edge_angles < SHARP_EDGE]
    links = coo_matrix((np.ones(len(gentle), np.int8), gentle.T), shape=(len(faces), len(faces)))
    _, group = connected_components(links, directed=False)
    corner_key = (faces * np.int64(group.max() + 1) + group[:, None]).ravel()
    _, slot = np.unique(corner_key, return_inverse=True)
    summed = np.empty((int(slot.max()) + 1, 3))
    for axis in range(3):
        weighted = body.normals[:, axis] * body.areas
        summed[:, axis] = np.bincount(slot, weights=np.repeat(weighted, 3))
    length = np.sqrt(np.einsum("kd,kd->k", summed, summed))[:, None]
    unit = np.divide(summed, length, out=np.zeros_like(summed), where=length > 0)
    return unit[slot].reshape(-1, 3, 3)
