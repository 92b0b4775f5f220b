"""Which smooth parts continue one another across gaps that bridging closes."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.regions.rim import Rims, facing_others, facing_pairs, rim_points
from unwrap.regions.smooth import Smooth

# Rim points stand this share of the bridged width apart: eight across the widest gap.
SPACING = 1 / 8
# A part smaller than this share of bridge^2 is no ground, however it lies.
SMALLEST_GROUND = 0.5
# Two parts continue each other when they face over this share of the bridged width, or
# over this share of a small one's rim.
SHARED, SHARED_RIM = 0.5, 0.35


def rims_of(smooth: Smooth, bridge: float) -> Rims:
    """Points along the rims of all parts, close enough together for gaps of the bridged width."""
    return rim_points(
        smooth.vertices,
        smooth.faces,
        smooth.normals,
        smooth.table,
        smooth.sharp,
        smooth.part,
        bridge * SPACING,
    )


def gather(smooth: Smooth, rims: Rims, seeds: IntArray, shut: IntArray, bridge: float) -> BoolArray:
    """Parts that continue some parts across gaps, one gap after another.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    rims : Rims
        From `rims_of`.
    seeds : (k,) int64
        The parts to start from.
    shut : (j,) int64
        Parts never to take.
    bridge : float
        Widest gap, mm.

    Returns
    -------
    (parts,) bool
    """
    count = int(smooth.part.max()) + 1
    broad, need = _broad_and_need(smooth, rims, bridge)
    broad[shut] = False
    crease = _gentle(smooth)
    taken = np.zeros(count, dtype=bool)
    taken[seeds] = True
    fresh = taken.copy()
    while fresh.any():
        mine = rims.of(fresh[rims.part])
        others = rims.of(~taken[rims.part] & broad[rims.part])
        _, j = facing_pairs(mine, others, 1.02 * bridge, crease)
        met = np.unique(j)
        shared = np.bincount(others.part[met], weights=others.length[met], minlength=count)
        fresh = (shared > need) & ~taken & (shared > 0)
        taken |= fresh
    return taken


def continued_parts(smooth: Smooth, bridge: float) -> IntArray:
    """A number for each part, the same for all that continue one another across gaps.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    bridge : float
        Widest gap, mm.

    Returns
    -------
    (parts,) int64
    """
    rims = rims_of(smooth, bridge)
    count = int(smooth.part.max(initial=-1)) + 1
    broad, need = _broad_and_need(smooth, rims, bridge)
    some = rims.of(broad[rims.part])
    i, j = facing_others(some, 1.02 * bridge, _gentle(smooth))
    # each point once for each part that it faces
    key = np.unique(some.part[i] * np.int64(len(some.at)) + j)
    owner, point = np.divmod(key, max(len(some.at), 1))
    pairs, number = np.unique(owner * count + some.part[point], return_inverse=True)
    shared = np.bincount(number, weights=some.length[point], minlength=len(pairs))
    one, other = np.divmod(pairs, max(count, 1))
    joined = (one != other) & (shared > need[other])
    graph = sp.coo_matrix(
        (np.ones(int(joined.sum()), dtype=bool), (one[joined], other[joined])), shape=(count, count)
    )
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _broad_and_need(smooth: Smooth, rims: Rims, bridge: float) -> tuple[BoolArray, FloatArray]:
    """Which parts are broad enough for ground, and the length of rim (mm) that each must share."""
    count = int(smooth.part.max(initial=-1)) + 1
    seen = smooth.part >= 0
    area = np.bincount(smooth.part[seen], weights=smooth.areas[seen], minlength=count)
    rim_length = np.bincount(rims.part, weights=rims.length, minlength=count)
    return area >= SMALLEST_GROUND * bridge * bridge, np.minimum(SHARED * bridge, SHARED_RIM * rim_length)


def _gentle(smooth: Smooth) -> float:
    """Half the sharpest angle that still is none: what normals may differ by across a gap, radians."""
    return 0.5 * float(np.min(smooth.angles[smooth.sharp], initial=np.radians(30.0)))
