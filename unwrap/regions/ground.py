"""Tell a region's ground from the details that stand on it.

The ground is the smooth surface that shapes the film. Details cut it into parts (a
band cuts a barrel in three) and stand on it as small parts of their own. So: first
the ground is gathered across gaps, part by part, wherever one part continues another;
then what lies in the gaps and is narrow enough is taken for details.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.regions.bumps import part_bumps, part_rounds, part_slats
from unwrap.regions.continued import gather, rims_of
from unwrap.regions.rim import STEP, Rims
from unwrap.regions.smooth import Smooth

# Faces looked at before a part is measured in full.
FEW = 4000
# How deep details may be stacked on each other: a nut on a washer on a strap, or a half-round band
# drawn as walls and treads of a few hundredths of a millimetre.
STACKED = 60


@dataclass(frozen=True, eq=False)
class Ground:
    """Which faces are ground and which are details on it.

    Parameters
    ----------
    base : (m,) bool
        Faces of the ground.
    detail : (m,) int64
        The detail that a face belongs to, numbered from 0; -1 for none.
    """

    base: BoolArray
    detail: IntArray


def find_ground(smooth: Smooth, seeds: IntArray, bridge: float, shut: BoolArray | None = None) -> Ground:
    """The ground that some faces belong to, with the details on it.

    Parameters
    ----------
    smooth : Smooth
        The body's smooth parts.
    seeds : (k,) int64
        Faces of the ground, or of a detail on it.
    bridge : float
        Widest detail to carry over, mm; 0 for none.
    shut : (m,) bool, optional
        Faces of smooth parts that are neither ground nor detail, whatever they continue.

    Returns
    -------
    Ground
    """
    part = smooth.part
    shut = np.zeros(len(part), dtype=bool) if shut is None else shut
    if bridge <= 0:
        return Ground(np.isin(part, part[seeds]), np.full(len(part), -1, dtype=np.int64))
    rims = rims_of(smooth, bridge)
    base = gather(smooth, rims, part[seeds], part[shut & (part >= 0)], bridge)[part] & (part >= 0)
    parted, bumps = part_bumps(smooth, base, bridge)
    base = base & ~bumps
    parted, slats = part_slats(parted, base, bridge)
    base = base & ~slats
    parted = part_rounds(parted, base, bridge)
    if parted is not smooth:
        smooth = parted
        rims = rims_of(smooth, bridge)
    return Ground(base, _find_details(smooth, rims, base, shut, bridge))


def _find_details(smooth: Smooth, rims: Rims, base: BoolArray, shut: BoolArray, bridge: float) -> IntArray:
    part = smooth.part
    count = int(part.max()) + 1
    base_part = np.zeros(count, dtype=bool)
    base_part[part[base]] = True
    edge = rims.of(base_part[rims.part])
    tree = cKDTree(edge.at) if len(edge.at) else None
    none = np.full(len(part), -1, dtype=np.int64)
    if tree is None:
        return none

    pair = smooth.table.pair
    joined = pair[(pair[:, 0] >= 0) & smooth.sharp]
    links = part[joined]
    links = np.unique(np.sort(links[links[:, 0] != links[:, 1]], axis=1), axis=0)
    rim_tree, spread = _tree_by_part(rims, bridge)

    chosen = np.zeros(count, dtype=bool)
    refused = np.zeros(count, dtype=bool)
    refused[part[shut & (part >= 0)]] = True
    for turn in range(STACKED):
        inside = base_part if turn == 0 else chosen
        touching = np.zeros(count, dtype=bool)
        touching[links[inside[links[:, 0]], 1]] = True
        touching[links[inside[links[:, 1]], 0]] = True
        touching &= ~base_part & ~chosen & ~refused
        if not touching.any():
            break
        narrow, near = _measure(smooth, touching, rim_tree, spread, edge, tree, bridge)
        good = touching & narrow & (near >= (0.5 if turn == 0 else 0.9))
        chosen |= good
        refused |= touching & ~good
    member = chosen[part] & (part >= 0)
    small = _compact(smooth, _groups(smooth, member), edge, tree, bridge)
    member = _peel(smooth, member, small, base, edge, tree)
    group = _groups(smooth, member)
    return _only_narrow(smooth, group, base, edge, tree, bridge)


def _tree_by_part(rims: Rims, bridge: float) -> tuple[cKDTree, float]:
    """A search tree that only ever meets rim points of the asked part: the part is a fourth coordinate."""
    spread = 1e3 * bridge
    return cKDTree(np.column_stack([rims.at, spread * rims.part])), spread


def _samples(smooth: Smooth, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Edge middles and middles of faces, with the face of each: corners alone all lie on a strip's rim."""
    corners = smooth.vertices[smooth.faces[faces]]
    middles = 0.5 * (corners + np.roll(corners, -1, axis=1))
    points = np.concatenate([middles, corners.mean(axis=1, keepdims=True)], axis=1)
    return points.reshape(-1, 3), np.repeat(faces, 4)


def _measure(
    smooth: Smooth,
    wanted: BoolArray,
    rim_tree: cKDTree,
    spread: float,
    edge: Rims,
    tree: cKDTree,
    bridge: float,
) -> tuple[BoolArray, FloatArray]:
    """Per part: whether it is narrow, and the share of it that is near the ground's edge."""
    part = smooth.part
    count = len(wanted)
    faces = np.flatnonzero((part >= 0) & wanted[part])

    def to_own_rim(some: IntArray) -> tuple[FloatArray, IntArray, FloatArray]:
        points, owner = _samples(smooth, some)
        label = part[owner]
        distance, _ = rim_tree.query(
            np.column_stack([points, spread * label]), distance_upper_bound=spread / 2
        )
        return points, label, np.minimum(distance, 1e6)

    # a few faces are enough to see that a whole roof is not narrow
    widest = np.zeros(count)
    if len(faces) > FEW:
        _, label, distance = to_own_rim(faces[:: len(faces) // FEW])
        np.maximum.at(widest, label, distance)
        faces = faces[2 * widest[part[faces]] <= 1.1 * bridge]
    points, label, distance = to_own_rim(faces)
    np.maximum.at(widest, label, distance)
    across, height = _off_ground(points, edge, tree)
    near = (across <= 1.05 * bridge) & (np.abs(height) <= 1.05 * bridge)
    total = np.bincount(label, minlength=count)
    share = np.bincount(label, weights=near, minlength=count) / np.maximum(total, 1)
    return 2 * widest <= 1.1 * bridge, share


def _off_ground(points: FloatArray, edge: Rims, tree: cKDTree) -> tuple[FloatArray, FloatArray]:
    """How far points lie from the ground's nearest edge: away from it along the ground, and above."""
    _, nearest = tree.query(points)
    offset = points - edge.at[nearest]
    height = np.einsum("ij,ij->i", offset, edge.normal[nearest])
    across = np.abs(np.einsum("ij,ij->i", offset, edge.out[nearest]))
    return across, height


def _peel(
    smooth: Smooth, member: BoolArray, small: BoolArray, base: BoolArray, edge: Rims, tree: cKDTree
) -> BoolArray:
    """Take away what leads down or off at an outer edge: a window's reveal, the return of a sheet.

    A detail in the middle of the ground is bounded by ground all round; one at the
    ground's edge (half-round edging) still faces outwards. What has an outer edge and
    stands square to the ground, lies below it, or juts out further than it is wide
    belongs to something else. Only a detail that is small all ways (a rivet that
    overhangs the edge) is left whole.
    """
    part, table = smooth.part, smooth.table
    count = int(part.max()) + 1
    length = np.linalg.norm(smooth.vertices[table.ends[:, 0]] - smooth.vertices[table.ends[:, 1]], axis=1)
    for _ in range(STACKED):
        faces = np.flatnonzero(member & ~small)
        if not len(faces):
            break
        inside = member | base
        first, second = table.pair[:, 0], table.pair[:, 1]
        open_edge = (first < 0) | ~(inside[first] & inside[second])
        rim = length[table.of_face[faces]] * smooth.sharp[table.of_face[faces]]
        outer = np.bincount(
            part[faces], weights=(rim * open_edge[table.of_face[faces]]).sum(axis=1), minlength=count
        )
        whole = np.bincount(part[faces], weights=rim.sum(axis=1), minlength=count)
        at_edge = outer > 0.2 * whole
        if not at_edge.any():
            break
        middle = smooth.vertices[smooth.faces[faces]].mean(axis=1)
        _, height = _off_ground(middle, edge, tree)
        _, nearest = tree.query(middle)
        facing = np.einsum("ij,ij->i", smooth.normals[faces], edge.normal[nearest])
        weight = smooth.areas[faces]
        area = np.maximum(np.bincount(part[faces], weights=weight, minlength=count), 1e-12)
        mean_facing = np.bincount(part[faces], weights=weight * facing, minlength=count) / area
        mean_height = np.bincount(part[faces], weights=weight * height, minlength=count) / area
        highest = np.full(count, -np.inf)
        corners = smooth.vertices[smooth.faces[faces]].reshape(-1, 3)
        np.maximum.at(highest, np.repeat(part[faces], 3), _off_ground(corners, edge, tree)[1])
        footprint = np.bincount(part[faces], weights=weight * np.maximum(facing, 0.0), minlength=count)
        width = footprint / np.maximum(outer, 1e-9)
        away = at_edge & ((mean_facing < 0.3) | (mean_height < -STEP) | (highest > width + STEP))
        if not away.any():
            break
        member = member & ~(away[part] & (part >= 0) & ~small)
    return member


def _compact(smooth: Smooth, group: IntArray, edge: Rims, tree: cKDTree, bridge: float) -> BoolArray:
    """Faces of details that are small in every direction and do not consist of walls alone."""
    faces = np.flatnonzero(group >= 0)
    result = np.zeros(len(group), dtype=bool)
    if len(faces):
        corners = smooth.vertices[smooth.faces[faces]]
        low = np.full((int(group.max()) + 1, 3), np.inf)
        high = -low
        np.minimum.at(low, group[faces], corners.min(axis=1))
        np.maximum.at(high, group[faces], corners.max(axis=1))
        _, nearest = tree.query(corners.mean(axis=1))
        facing = np.einsum("ij,ij->i", smooth.normals[faces], edge.normal[nearest])
        weight = smooth.areas[faces]
        outward = np.bincount(group[faces], weights=weight * np.maximum(facing, 0.0))
        total = np.bincount(group[faces], weights=weight)
        good = ((high - low).max(axis=1) <= 1.5 * bridge) & (outward > 0.05 * total)
        result[faces] = good[group[faces]]
    return result


def _groups(smooth: Smooth, member: BoolArray) -> IntArray:
    """Number the details: faces that hang together over edges of any sharpness."""
    pair = smooth.table.pair
    pair = pair[pair[:, 0] >= 0]
    pair = pair[member[pair].all(axis=1)]
    size = len(member)
    graph = sp.coo_matrix((np.ones(len(pair), dtype=bool), (pair[:, 0], pair[:, 1])), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    group = np.full(size, -1, dtype=np.int64)
    group[member] = np.unique(label[member], return_inverse=True)[1]
    return group


def _only_narrow(
    smooth: Smooth, group: IntArray, base: BoolArray, edge: Rims, tree: cKDTree, bridge: float
) -> IntArray:
    """Drop groups that are wide as a whole though each of their parts is narrow (a grille, steps)."""
    faces = np.flatnonzero(group >= 0)
    if not len(faces):
        return group
    count = int(group.max()) + 1
    points = smooth.vertices[smooth.faces[faces]].reshape(-1, 3)
    across, _ = _off_ground(points, edge, tree)
    widest = np.zeros(count)
    np.maximum.at(widest, np.repeat(group[faces], 3), across)
    table = smooth.table
    inside = base | (group >= 0)
    first, second = table.pair[:, 0], table.pair[:, 1]
    open_edge = (first < 0) | ~(inside[first] & inside[second])
    at_edge = np.zeros(count, dtype=bool)
    at_edge[group[faces[open_edge[table.of_face[faces]].any(axis=1)]]] = True
    # ground on both sides halves the way to its edge
    good = widest <= np.where(at_edge, 1.05, 0.55) * bridge
    kept = np.where((group >= 0) & good[group], group, -1)
    result = np.full(len(group), -1, dtype=np.int64)
    result[kept >= 0] = np.unique(kept[kept >= 0], return_inverse=True)[1]
    return result
