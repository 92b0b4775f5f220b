"""Normals that make facets look like the curve they stand for, and edges like edges."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray
from unwrap.body.body import Body

# Edges sharper than this are drawn sharp; gentler ones are facets of a curve.
SHARP_EDGE = np.cos(np.radians(35.0))


def smooth_normals(body: Body) -> FloatArray:
    """(m, 3, 3) unit normals at face corners, rounded over facets and sharp at edges.

    Faces joined by gentle edges share normals, weighted by area so that the flats of a
    shell stay flat beside their rounded edges.
    """
    faces, normals = body.faces, body.normals
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    key = edges[:, 0] * np.int64(len(body.vertices)) + edges[:, 1]
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    a, b = order[same] // 3, order[same + 1] // 3
    gentle = np.einsum("nd,nd->n", normals[a], normals[b]) > SHARP_EDGE
    links = coo_matrix((np.ones(gentle.sum()), (a[gentle], b[gentle])), shape=(len(faces), len(faces)))
    _, group = connected_components(links, directed=False)
    corner_key = faces.astype(np.int64) * np.int64(group.max() + 1) + group[:, None]
    _, slot = np.unique(corner_key.ravel(), return_inverse=True)
    weighted = np.repeat(normals * body.areas[:, None], 3, axis=0)
    summed = np.column_stack([np.bincount(slot, weights=weighted[:, axis]) for axis in range(3)])
    corner = np.asarray(summed[slot], dtype=float).reshape(-1, 3, 3)
    length = np.linalg.norm(corner, axis=-1, keepdims=True)
    return np.divide(corner, length, out=np.zeros_like(corner), where=length > 0)
