"""Find details that rise so gently that no edge of theirs is sharp: weld lines, low rivets.

They grow into the ground like the rest of it, and would shape the film with curves of
a fraction of a millimetre. What tells them apart is that the surface turns within less
than the bridged width, and goes on behind as if nothing had been there. A rounded
corner turns as tightly, but goes on in another direction.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.regions.rim import facing_pairs, rim_points
from unwrap.regions.smooth import Smooth

# Faces that turn less than this (radians) are one facet.
FACET = np.radians(0.5)
# An edge gentler than this bends no film.
BEND = np.radians(4.0)
# A bump lower than this (mm) is left: film does not show it.
LOWEST = 0.03
# A slat leans at least this much (radians), and breaks off over this share of its edge.
LEANS, BREAKS_OFF = np.radians(10.0), 0.2
# This share of a bump's edge must find the surface going on across it.
GOES_ON = 0.6


def part_bumps(smooth: Smooth, base: BoolArray, bridge: float) -> tuple[Smooth, BoolArray]:
    """Give gentle bumps in the ground parts of their own.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    base : (m,) bool
        The ground.
    bridge : float
        Widest detail, mm.

    Returns
    -------
    parted : Smooth
        The same mesh; each bump is a part of its own, bounded by edges that count as
        sharp. Unchanged where there are none.
    bumps : (m,) bool
        Faces of the bumps.
    """
    group = _tight_groups(smooth, base, bridge)
    if group.max(initial=-1) < 0:
        return smooth, np.zeros(len(base), dtype=bool)
    good = _are_bumps(smooth, base, group, bridge)
    bump = (group >= 0) & good[group]
    if not bump.any():
        return smooth, bump
    return _with_parts(smooth, np.where(bump, group, -1)), bump


def part_rounds(smooth: Smooth, base: BoolArray, bridge: float) -> Smooth:
    """Part tightly rounded strips from the sheets beside the ground that they run into.

    Half-round edging along the edge of a side runs smoothly into the top of the sheet
    behind it; parted from that, it is as narrow as any other detail.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    base : (m,) bool
        The ground.
    bridge : float
        Widest detail, mm.

    Returns
    -------
    Smooth
        The same mesh, with such strips as parts of their own.
    """
    pair = smooth.table.pair
    step = pair[(pair[:, 0] >= 0) & smooth.sharp]
    step = step[base[step].any(axis=1)]
    beside = np.zeros(int(smooth.part.max(initial=-1)) + 1, dtype=bool)
    beside[smooth.part[step]] = True
    group = _tight_groups(smooth, (smooth.part >= 0) & beside[smooth.part] & ~base, bridge)
    return smooth if group.max(initial=-1) < 0 else _with_parts(smooth, group)


def part_slats(smooth: Smooth, base: BoolArray, bridge: float) -> tuple[Smooth, BoolArray]:
    """Give leaning slats in the ground parts of their own: louvres, the laps of boards.

    A slat leaves the ground over an edge that is none too sharp and so grows with it; at its
    other edge it breaks off outwards, and a narrow face leads back to the ground and meets it
    in an inner corner.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    base : (m,) bool
        The ground.
    bridge : float
        Widest detail, mm.

    Returns
    -------
    parted : Smooth
        The same mesh; unchanged where there are none.
    slats : (m,) bool
        Faces of the slats.
    """
    table, size = smooth.table, len(base)
    met = table.pair[:, 0] >= 0
    flat = met & ~smooth.sharp & (smooth.angles < BEND)
    flat[met] &= base[table.pair[met]].all(axis=1)
    facet = _label(table.pair[flat], size)
    length = np.linalg.norm(smooth.vertices[table.ends[:, 0]] - smooth.vertices[table.ends[:, 1]], axis=1)
    width, around = _widths(smooth, facet, np.flatnonzero(base), length)
    back = _label(table.pair[met & ~smooth.sharp], size)
    back_width, _ = _widths(smooth, back, np.flatnonzero((smooth.part >= 0) & ~base), length)
    # where the ground breaks off to something narrow that is no ground
    step = np.flatnonzero(met & smooth.sharp)
    step = step[base[table.pair[step]].sum(axis=1) == 1]
    ground = np.where(base[table.pair[step, 0]], table.pair[step, 0], table.pair[step, 1])
    riser = back[table.pair[step].sum(axis=1) - ground]
    slim = (back_width[riser] <= bridge) & (smooth.part[table.pair[step]] >= 0).all(axis=1)
    step, ground, riser = step[slim], ground[slim], riser[slim]
    other = table.pair[step].sum(axis=1) - ground
    below = smooth.vertices[smooth.faces[other]].mean(axis=1) - smooth.vertices[table.ends[step, 0]]
    outer = np.einsum("ij,ij->i", below, smooth.normals[ground]) < 0
    bend = np.zeros(size)
    gentle = met & ~smooth.sharp
    np.maximum.at(bend, facet[table.pair[gentle]], smooth.angles[gentle][:, None])
    slat = (width <= bridge) & (bend >= LEANS) & (around > 0)
    off = outer & slat[facet[ground]]
    from_slat = np.bincount(riser, weights=length[step] * off, minlength=size)
    to_ground = np.bincount(riser, weights=length[step] * ~outer, minlength=size)
    leads_back = (to_ground >= BREAKS_OFF * from_slat) & (to_ground > 0)
    bound = np.bincount(facet[ground], weights=length[step] * (off & leads_back[riser]), minlength=size)
    slat &= bound >= BREAKS_OFF * around
    found = base & slat[facet]
    if not found.any():
        return smooth, found
    return _with_parts(smooth, np.where(found, np.unique(facet, return_inverse=True)[1], -1)), found


def _widths(
    smooth: Smooth, label: IntArray, faces: IntArray, length: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Width of labelled groups by area over half the rim, however cut into triangles, and the rim, mm."""
    size = len(label)
    table = smooth.table
    area = np.bincount(label[faces], weights=smooth.areas[faces], minlength=size)
    edges = table.of_face[faces]
    first, second = table.pair[edges, 0], table.pair[edges, 1]
    rim = (first < 0) | (label[first] != label[second])
    around = np.bincount(label[faces], weights=(length[edges] * rim).sum(axis=1), minlength=size)
    width: FloatArray = 2 * area / np.maximum(around, 1e-12)
    return width, around.astype(np.float64)


def _with_parts(smooth: Smooth, group: IntArray) -> Smooth:
    """The same mesh with each group as a part of its own."""
    part = np.where(group >= 0, int(smooth.part.max()) + 1 + group, smooth.part)
    part[part >= 0] = np.unique(part[part >= 0], return_inverse=True)[1]
    pair = smooth.table.pair
    met = pair[:, 0] >= 0
    between = np.zeros(len(pair), dtype=bool)
    between[met] = part[pair[met, 0]] != part[pair[met, 1]]
    return replace(smooth, part=part, sharp=smooth.sharp | between)


def _tight_groups(smooth: Smooth, base: BoolArray, bridge: float) -> IntArray:
    """Connected groups of narrow facets inside the ground, joined by tight bends; -1 elsewhere."""
    table, size = smooth.table, len(base)
    met = np.flatnonzero((table.pair[:, 0] >= 0) & ~smooth.sharp)
    met = met[base[table.pair[met]].all(axis=1)]
    none = np.full(size, -1, dtype=np.int64)
    bent = smooth.angles[met] > BEND
    if not bent.any():
        return none
    facet = _label(table.pair[met[smooth.angles[met] < FACET]], size)
    length = np.linalg.norm(smooth.vertices[table.ends[:, 0]] - smooth.vertices[table.ends[:, 1]], axis=1)
    faces = np.flatnonzero(base)
    width, _ = _widths(smooth, facet, faces, length)
    sides = facet[table.pair[met]]
    radius = width[sides].min(axis=1) / np.maximum(smooth.angles[met], 1e-9)
    tight = bent & (radius < bridge)
    calm = _label(table.pair[met[~tight]], size)
    calm_area = np.bincount(calm[faces], weights=smooth.areas[faces], minlength=size)
    small = np.zeros(size, dtype=bool)
    # between tight bends on all sides: narrow strips and little caps, not the sheet they stand on
    touched = np.zeros(size, dtype=bool)
    touched[calm[table.pair[met[tight]]].ravel()] = True
    slim = np.zeros(size, dtype=bool)
    np.logical_or.at(slim, calm[faces], width[facet[faces]] > bridge)
    small[faces] = (touched & ~slim & (calm_area < 0.2 * calm_area.max()))[calm[faces]]
    inner = met[small[table.pair[met]].all(axis=1)]
    label = _label(table.pair[inner], size)
    none[small] = np.unique(label[small], return_inverse=True)[1]
    return none


def _label(pairs: IntArray, size: int) -> IntArray:
    graph = sp.coo_matrix((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(size, size))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _are_bumps(smooth: Smooth, base: BoolArray, group: IntArray, bridge: float) -> BoolArray:
    """Which groups stand off a surface that goes on behind them, and are narrow enough."""
    count = int(group.max()) + 1
    pair = smooth.table.pair
    met = pair[:, 0] >= 0
    ring = np.zeros(len(pair), dtype=bool)
    ring[met] = (group[pair[met, 0]] >= 0) != (group[pair[met, 1]] >= 0)
    ring[met] &= base[pair[met]].all(axis=1)
    calm = np.where(base & (group < 0), 0, -1)
    rims = rim_points(smooth.vertices, smooth.faces, smooth.normals, smooth.table, ring, calm, bridge / 8)
    if not len(rims.at):
        return np.zeros(count, dtype=bool)
    edge = smooth.table.of_face.ravel()[rims.half]
    owner = group[pair[edge]].max(axis=1)
    i, j = facing_pairs(rims, rims, 1.02 * bridge, np.radians(15.0))
    same = owner[i] == owner[j]
    opposite = np.zeros(len(owner), dtype=bool)
    opposite[i[same & (i != j)]] = True
    length = np.bincount(owner, weights=rims.length, minlength=count)
    going_on = np.bincount(owner, weights=rims.length * opposite, minlength=count)

    faces = np.flatnonzero(group >= 0)
    points: FloatArray = smooth.vertices[smooth.faces[faces]].reshape(-1, 3)
    label = np.repeat(group[faces], 3)
    # the group as a fourth coordinate: a point is compared with its own ring only
    spread = 1e3 * bridge
    tree = cKDTree(np.column_stack([rims.at, spread * owner]))
    _, nearest = tree.query(np.column_stack([points, spread * label]))
    offset = points - rims.at[nearest]
    height = np.einsum("ij,ij->i", offset, rims.normal[nearest])
    across = np.abs(np.einsum("ij,ij->i", offset, rims.out[nearest]))
    highest, widest = np.zeros(count), np.zeros(count)
    np.maximum.at(highest, label, np.abs(height))
    np.maximum.at(widest, label, across)
    ringed = length > 0
    return ringed & (going_on >= GOES_ON * length) & (highest >= LOWEST) & (widest <= 0.55 * bridge)
