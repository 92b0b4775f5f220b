"""Rims: points along the sharp edges that bound smooth parts, and what faces what across a gap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.triangles import area_vectors, lengths
from unwrap.regions.edges import EdgeTable

# Two surfaces continue each other across a gap when the step between them is below
# this (mm) plus this share of the gap: the first forgives a body's rounding, the
# second the facets of a curved surface.
STEP = 0.02
STEP_SHARE = 0.03
# Where one of them is narrower than the gap only so much of it counts, and a step is no rounding
# beyond this share of its breadth: the treads of a stepped band do not lead up to its top.
TREAD = 0.1
# They look at each other when the way across lies this near to both directions away from their
# faces (a cosine); pairs are looked at in blocks of so many, whose arrays stay near the processor.
AHEAD = 0.6
BLOCK = 1 << 15
# There are no more points than that, but for one an edge: on a body read a thousand times too large,
# or with a corner that a broken file throws 100 m off, nothing as small as a detail is looked for.
MOST = 1_000_000


@dataclass(frozen=True, eq=False)
class Rims:
    """Points along sharp edges, once for each of the faces that meet there.

    Parameters
    ----------
    at : (s, 3) float64
        Places, mm.
    normal : (s, 3) float64
        Normal of the face.
    out : (s, 3) float64
        Unit direction in the face's plane, across the edge and away from the face.
    part : (s,) int64
        The face's smooth part.
    half : (s,) int64
        The half-edge, 3 * face + corner.
    length : (s,) float64
        Length of edge that the point stands for, mm.
    broad : (s,) float64
        How broad the part is, mm: its area over half its rim.
    """

    at: FloatArray
    normal: FloatArray
    out: FloatArray
    part: IntArray
    half: IntArray
    length: FloatArray
    broad: FloatArray

    def of(self, mask: BoolArray) -> Rims:
        """The points for which `mask` is True."""
        return Rims(
            *(
                np.compress(mask, getattr(self, name), axis=0)
                for name in ("at", "normal", "out", "part", "half", "length", "broad")
            )
        )


def rim_points(
    vertices: FloatArray,
    faces: IntArray,
    normals: FloatArray,
    table: EdgeTable,
    sharp: BoolArray,
    part: IntArray,
    spacing: float,
) -> Rims:
    """Place points along sharp edges.

    Parameters
    ----------
    vertices, faces : arrays
        The mesh, mm.
    normals : (m, 3) float64
        Steady unit normals.
    table : EdgeTable
        Its edges.
    sharp : (e,) bool
        The edges that bound parts.
    part : (m,) int64
        Part per face; -1 for faces to leave out.
    spacing : float
        Largest distance between points, mm.
    """
    taken = (table.of_face >= 0) & (part[:, None] >= 0)
    taken &= sharp[np.where(taken, table.of_face, 0)]
    face, corner = np.nonzero(taken)
    start = vertices[faces[face, corner]]
    end = vertices[faces[face, (corner + 1) % 3]]
    along = end - start
    length = np.linalg.norm(along, axis=1)
    keep = length > 1e-9
    face, corner, start, along, length = face[keep], corner[keep], start[keep], along[keep], length[keep]
    out = np.cross(along / length[:, None], normals[face])
    seen = part >= 0
    parts = int(part.max(initial=-1)) + 1
    area = np.bincount(part[seen], lengths(area_vectors(vertices, faces[seen])) / 2, parts)
    broad = 2 * area / np.maximum(np.bincount(part[face], length, parts), 1e-9)
    spacing = max(spacing, float(length.sum()) / MOST)
    count = np.maximum(np.ceil(length / spacing), 1).astype(np.int64)
    owner = np.repeat(np.arange(len(face)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = (place + 0.5) / count[owner]
    return Rims(
        at=start[owner] + share[:, None] * along[owner],
        normal=normals[face][owner],
        out=out[owner],
        part=part[face][owner],
        half=(3 * face + corner)[owner],
        length=(length / count)[owner],
        broad=broad[part[face]][owner],
    )


def facing_pairs(first: Rims, second: Rims, reach: float, crease: float) -> tuple[IntArray, IntArray]:
    """Pairs of rim points at which one surface continues the other across a gap.

    Parameters
    ----------
    first, second : Rims
        The two sides.
    reach : float
        Widest gap, mm.
    crease : float
        Largest angle between the normals, radians.

    Returns
    -------
    i, j : (p,) int64
        Points of `first` and of `second`. They look at each other across the gap,
        their normals agree, and a circular arc through both meets both normals: there
        is no step between them.
    """
    none = np.zeros(0, dtype=np.int64)
    if not len(first.at) or not len(second.at):
        return none, none
    trees = [_tree(rims, reach, crease) for rims in (first, second)]
    near = trees[0].sparse_distance_matrix(trees[1], np.sqrt(2.0) * reach, output_type="ndarray")
    keep = _facing(first, second, near["i"], near["j"], reach, crease)
    return near["i"][keep], near["j"][keep]


def facing_others(rims: Rims, reach: float, crease: float) -> tuple[IntArray, IntArray]:
    """The same between the parts of one set of rims: pairs of points of different parts, each both ways."""
    near = _tree(rims, reach, crease).query_pairs(np.sqrt(2.0) * reach, output_type="ndarray")
    i, j = np.compress(rims.part[near[:, 0]] != rims.part[near[:, 1]], near, axis=0).T
    facing = _facing(rims, rims, i, j, reach, crease)
    i, j = i[facing], j[facing]
    return np.concatenate([i, j]), np.concatenate([j, i])


def _tree(rims: Rims, reach: float, crease: float) -> cKDTree:
    """The points by place and normal: pairs within `reach` and `crease` are nearer than sqrt(2) reach.

    Where a broken file heaps up faces of all directions, hardly any of the near ones are alike.
    """
    return cKDTree(np.hstack([rims.at, reach / (2.0 * np.sin(0.5 * crease)) * rims.normal]))


def _facing(first: Rims, second: Rims, i: IntArray, j: IntArray, reach: float, crease: float) -> IntArray:
    """Which pairs of near points look at each other without a step."""
    found = [
        at + _facing_some(first, second, i[at : at + BLOCK], j[at : at + BLOCK], reach, crease)
        for at in range(0, len(i), BLOCK)
    ]
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int64)


def _facing_some(
    first: Rims, second: Rims, i: IntArray, j: IntArray, reach: float, crease: float
) -> IntArray:
    across = np.take(second.at, j, axis=0) - np.take(first.at, i, axis=0)
    square = np.einsum("ij,ij->i", across, across)
    away = np.einsum("ij,ij->i", across, np.take(first.out, i, axis=0))
    ahead = (away > 0.0) & (away * away > AHEAD**2 * square)
    # Most of what is near in a heap of faces lies aside: the rest is looked at for few.
    some = np.flatnonzero((square <= reach * reach) & (ahead | (square < STEP**2)))
    i, j, across, gap = i[some], j[some], across[some], np.sqrt(square[some])
    one, two = first.normal[i], second.normal[j]
    agree = np.einsum("ij,ij->i", one, two) > np.cos(crease)
    back = -np.einsum("ij,ij->i", across, second.out[j])
    # for two points of one circular arc the chord is square to the mean of their normals
    middle = one + two
    twice = np.maximum(lengths(middle), 1e-300)
    step = np.abs(np.einsum("ij,ij->i", across, middle)) / twice
    narrower = np.minimum(first.broad[i], second.broad[j])
    level = step <= np.minimum(STEP, TREAD * narrower) + STEP_SHARE * np.minimum(gap, narrower)
    # Points far aside of each other, on facets that turn, stand on a step of the facets' own making.
    aside = np.sqrt(np.maximum(square[some] - np.minimum(away[some], back) ** 2, 0.0))
    turn = np.sqrt(np.maximum(1.0 - 0.25 * twice**2, 0.0))  # the sine of half the angle between the normals
    level &= aside * turn <= STEP
    return some[agree & level & ((back > AHEAD * gap) | (gap < STEP))]
