"""Refuse what cannot be flattened, naming the face or the edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray, IntArray

# A face whose height is below this share of its longest side has no area in
# float64: its height is rounding error.
NO_HEIGHT = 1e-12


def check_patch(vertices: ArrayLike, faces: ArrayLike) -> tuple[FloatArray, IntArray]:
    """Arrays of a patch that can be flattened.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        Positions, mm. Vertices that no face uses are let through.
    faces : (m, 3) array_like of int
        Triangles, all wound the same way.

    Returns
    -------
    vertices : (n, 3) float64
    faces : (m, 3) int64

    Raises
    ------
    ValueError
        With a sentence that names the first face or edge at fault: wrong shapes,
        indices out of range, NaN, repeated or zero-area faces, edges with three faces,
        faces wound against each other, several components, a closed surface, a handle.
    """
    v, f = _arrays(vertices, faces)
    used = v[f]
    bad = ~np.isfinite(used).all(axis=(1, 2))
    if bad.any():
        where = int(np.argmax(bad))
        raise ValueError(f"face {where} has a corner that is not a finite number")
    _check_faces(v, f)
    _check_edges(f)
    _check_whole(f)
    return v, f


def _arrays(vertices: ArrayLike, faces: ArrayLike) -> tuple[FloatArray, IntArray]:
    try:
        v = np.ascontiguousarray(vertices, dtype=np.float64)
        raw = np.asarray(faces)
    except (TypeError, ValueError):
        raise ValueError("vertices and faces must be plain arrays of numbers") from None
    if v.ndim != 2 or v.shape[1] != 3:
        raise ValueError(f"vertices must have the shape (n, 3), not {v.shape}")
    if raw.ndim != 2 or raw.shape[1] != 3:
        raise ValueError(f"faces must have the shape (m, 3), not {raw.shape}")
    if len(raw) == 0:
        raise ValueError("there are no faces to flatten")
    if not np.issubdtype(raw.dtype, np.integer):
        raise ValueError(f"faces must be whole numbers, not {raw.dtype}")
    f = np.ascontiguousarray(raw, dtype=np.int64)
    outside = ((f < 0) | (f >= len(v))).any(axis=1)
    if outside.any():
        where = int(np.argmax(outside))
        raise ValueError(f"face {where} {tuple(f[where].tolist())} points outside the {len(v)} vertices")
    return v, f


def _check_faces(v: FloatArray, f: IntArray) -> None:
    same = (f[:, 0] == f[:, 1]) | (f[:, 1] == f[:, 2]) | (f[:, 2] == f[:, 0])
    if same.any():
        where = int(np.argmax(same))
        raise ValueError(f"face {where} {tuple(f[where].tolist())} uses a vertex twice")
    corners = np.sort(f, axis=1)
    order = np.lexsort(corners.T)
    repeats = (np.diff(corners[order], axis=0) == 0).all(axis=1)
    if repeats.any():
        k = int(np.argmax(repeats))
        first, second = sorted((int(order[k]), int(order[k + 1])))
        raise ValueError(f"face {second} repeats face {first}")
    a, b, c = np.moveaxis(v[f], 1, 0)
    longest = np.max([np.linalg.norm(d, axis=1) for d in (b - a, c - b, a - c)], axis=0)
    with np.errstate(all="ignore"):
        size = longest.max()
        height = np.linalg.norm(np.cross((b - a) / size, (c - a) / size), axis=1) * size * size / longest
    flat = ~(height > NO_HEIGHT * longest)
    if flat.any():
        where = int(np.argmax(flat))
        raise ValueError(f"face {where} {tuple(f[where].tolist())} has no area")


def _check_edges(f: IntArray) -> None:
    start, end = f.ravel(), np.roll(f, -1, axis=1).ravel()
    n = int(f.max()) + 1
    low, high = np.minimum(start, end), np.maximum(start, end)
    key = low * n + high
    order = np.argsort(key, kind="stable")
    _, first, count = np.unique(key[order], return_index=True, return_counts=True)
    if (count > 2).any():
        k = int(np.argmax(count > 2))
        i = order[first[k]]
        at = sorted((order[first[k] : first[k] + count[k]] // 3).tolist())
        raise ValueError(f"edge {low[i]}-{high[i]} has {count[k]} faces ({_names(at)}); an edge can have two")
    pair = first[count == 2]
    one, two = order[pair], order[pair + 1]
    clash = start[one] == start[two]
    if clash.any():
        k = int(np.argmax(clash))
        i, j = sorted((int(one[k]) // 3, int(two[k]) // 3))
        edge = one[k]
        raise ValueError(f"faces {i} and {j} on edge {low[edge]}-{high[edge]} are wound against each other")


def _check_whole(f: IntArray) -> None:
    n = int(f.max()) + 1
    start, end = f.ravel(), np.roll(f, -1, axis=1).ravel()
    key = np.minimum(start, end) * n + np.maximum(start, end)
    unique, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    face = np.arange(len(key)) // 3
    links = coo_matrix((np.ones(len(key)), (face, len(f) + inverse)), shape=(len(f) + len(unique),) * 2)
    parts, label = connected_components(links, directed=False)
    if parts > 1:
        where = int(np.argmax(label[: len(f)] != label[0]))
        raise ValueError(
            f"the patch is in {parts} parts that share no edge: face {where} is not joined to face 0"
        )
    if (count == 2).all():
        raise ValueError(
            "the surface is closed: every edge has two faces, from face 0 on; open it along a joint"
        )
    lone = count[inverse] == 1
    out_of = np.bincount(start[lone], minlength=n)
    if (out_of > 1).any():
        where = int(np.argmax(out_of > 1))
        at = int(np.flatnonzero((f == where).any(axis=1))[0])
        raise ValueError(f"the edges of the patch touch at vertex {where} (face {at}); part the patch there")
    corner = np.unique(f)
    loops = _count_loops(start[lone], end[lone], n)
    euler = len(corner) - len(unique) + len(f)
    if euler != 2 - loops:
        raise ValueError(
            f"the patch has {(2 - loops - euler) // 2} handle(s) (seen from face 0 over {len(f)} faces);"
            " open it along a joint first"
        )


def _count_loops(start: IntArray, end: IntArray, n: int) -> int:
    used = np.unique(start)
    new = np.full(n, -1)
    new[used] = np.arange(len(used))
    links = coo_matrix((np.ones(len(start)), (new[start], new[end])), shape=(len(used),) * 2)
    return int(connected_components(links, directed=False)[0])


def _names(items: list[int]) -> str:
    return ", ".join(str(i) for i in items[:4]) + (", ..." if len(items) > 4 else "")
