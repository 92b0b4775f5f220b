"""Take out vertices that carry no shape: inside a flat part of the surface, and on its straight edges.

Remeshed bodies, and those of voxel modellers and slicers, have flat sides of thousands of
faces. The same surface with as few as its edges need is worked on many times as fast.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.edges import find_shells
from unwrap.body.facets import Facets, Rims, cut_anew, find_facets, find_rims
from unwrap.body.triangles import any_chosen, corner_blocks, lengths
from unwrap.body.weld import drop_unused

# What is off its plane or line by less than this share of the largest coordinate lies in it:
# three times what single precision can be off by.
FLAT = 2e-7
# A vertex whose faces miss a full turn by more than this, radians, stands on ground that
# curves both ways, as long as no edge there is as sharp as `SHARP` radians.
DOUBLY_CURVED, SHARP = 1e-4, np.radians(50.0)
# A body with a smaller share of vertices to take out is left as it is.
WORTH = 0.2
# Facets that cannot be cut keep their faces, and then their neighbours' vertices stay too:
# so often that is tried.
TRIES = 4


def thin_flat(body: Body) -> Body:
    """The same surface with fewer faces where it is flat and finely triangulated.

    Parameters
    ----------
    body : Body
        Welded and wound outward.

    Returns
    -------
    Body
        Its vertices are some of the body's, in their order; no place of the surface moves by
        more than rounding. A facet that touches ground that curves both ways keeps its faces,
        since film stretches from one to the next there. The body itself where little would
        be gained.
    """
    faces = thinned_faces(body, np.zeros(len(body.vertices), dtype=bool))
    if faces is body.faces:
        return body
    vertices, faces = drop_unused(body.vertices, faces)
    return replace(body, vertices=vertices, faces=faces)


def thinned_faces(body: Body, staying: BoolArray) -> IntArray:
    """The faces of `thin_flat`, of the body's own vertices.

    Parameters
    ----------
    body : Body
        A whole body, or an open part of one.
    staying : (n,) bool
        Vertices that are not taken out.

    Returns
    -------
    (k, 3) int64
        The body's own faces where little would be gained.
    """
    if not len(body.faces):
        return body.faces
    tolerance = FLAT * float(np.abs(body.bounds).max())
    # What both sides below ask for first is found once.
    _ = body.edge_angles, body.side_lengths
    with ThreadPoolExecutor(1) as beside:
        doubly_curved = beside.submit(_doubly_curved, body)
        facets = find_facets(body, tolerance)
        rims = find_rims(body, facets)
        fixed = ~facets.whole
        fixed[facets.of_face[any_chosen(doubly_curved.result(), body.faces)]] = True
    for _ in range(TRIES):
        gone = _idle_vertices(body, facets, rims, fixed, tolerance) & ~staying
        if np.count_nonzero(gone) < WORTH * len(body.vertices):
            break
        anew = np.zeros(len(fixed), dtype=bool)
        anew[facets.of_face[any_chosen(gone, body.faces)]] = True
        cut, of_cut, failed = cut_anew(body.vertices, facets, rims, gone, anew)
        if not failed.any():
            kept = ~anew[facets.of_face]
            order = np.argsort(np.concatenate([facets.of_face[kept], of_cut]), kind="stable")
            return np.take(np.concatenate([np.compress(kept, body.faces, axis=0), cut]), order, axis=0)
        fixed |= failed
    return body.faces


def _doubly_curved(body: Body) -> BoolArray:
    """(n,) vertices about which the surface is smooth and curves both ways."""
    count = len(body.vertices)
    angles = np.empty(body.faces.shape)
    for here, places in corner_blocks(body.vertices, body.faces):
        way = places[:, [1, 2, 0]] - places
        way /= np.maximum(body.side_lengths[here].T, 1e-300)
        x, y, z = way * way[:, [2, 0, 1]]
        angles[here] = np.pi - np.arccos(np.clip(x + y + z, -1.0, 1.0)).T
    curved = np.abs(np.bincount(body.faces.ravel(), angles.ravel(), count) - 2 * np.pi) > DOUBLY_CURVED
    edges = body.edges
    sharp = np.ones(len(edges.ends), dtype=bool)
    sharp[edges.pair_edge[edges.agree & (body.edge_angles < SHARP)]] = False
    curved[edges.ends[sharp]] = False
    return curved


def _idle_vertices(body: Body, facets: Facets, rims: Rims, fixed: BoolArray, tolerance: float) -> BoolArray:
    """(n,) vertices inside facets, or on straight runs between two, none of which is fixed."""
    count = len(body.vertices)
    lines, sides = np.unique(
        np.minimum(rims.start, rims.end) * count + np.maximum(rims.start, rims.end), return_counts=True
    )
    low, high = np.divmod(lines, count)
    both = np.concatenate([low, high])
    ends = np.bincount(both, minlength=count)
    open_ends = np.bincount(both, np.tile(sides == 1, 2), count)
    branching = np.bincount(both, np.tile(sides > 2, 2), count)
    idle = (ends == 0) | ((ends == 2) & (open_ends != 1) & (branching == 0))
    idle[body.faces[fixed[facets.of_face]]] = False
    # Each vertex between its two neighbours: one of them, and their sum less that one.
    one = np.zeros(count, dtype=np.int64)
    one[low], one[high] = high, low
    total = np.bincount(low, high, count) + np.bincount(high, low, count)
    at = np.flatnonzero(idle & (ends == 2))
    other = total[at].astype(np.int64) - one[at]
    idle[at[~_between(body.vertices, at, one[at], other, tolerance)]] = False
    # Small turns add up, so a whole run has to be straight between its ends.
    inner = idle[low] & idle[high]
    runs, run = find_shells(count, np.column_stack([low[inner], high[inner]]))
    last = idle[low] != idle[high]
    of_run = run[np.where(idle[low], low, high)[last]]
    end = np.where(idle[low], high, low)[last][np.argsort(of_run, kind="stable")]
    size = np.bincount(of_run, minlength=runs)
    first = np.cumsum(size) - size
    at = np.flatnonzero(idle & (ends == 2))
    bent = size != 2
    at_run = run[at[~bent[run[at]]]]
    checked = at[~bent[run[at]]]
    straight = _between(body.vertices, checked, end[first[at_run]], end[first[at_run] + 1], tolerance)
    bent[at_run[~straight]] = True
    idle[at[bent[run[at]]]] = False
    return idle


def _between(
    vertices: FloatArray, at: IntArray, start: IntArray, end: IntArray, tolerance: float
) -> BoolArray:
    """Whether vertices lie on the straight way from one vertex to another."""
    way, here = vertices[end] - vertices[start], vertices[at] - vertices[start]
    share = np.einsum("kd,kd->k", here, way) / np.maximum(np.einsum("kd,kd->k", way, way), 1e-300)
    return (lengths(here - share[:, None] * way) <= tolerance) & (share > 0) & (share < 1)
