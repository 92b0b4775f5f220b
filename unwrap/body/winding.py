"""Make faces wind alike, patch by patch, with the outside outward."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.edges import Edges, closed_shells, find_edges, find_shells
from unwrap.body.rays import Rays
from unwrap.body.sky import look_at_sky, sample_faces, sky_directions
from unwrap.body.soup import counts
from unwrap.body.triangles import area_vectors, lengths

DIRECTIONS = 48
SAMPLES_PER_PATCH = 96


def wind_outward(
    vertices: FloatArray, faces: IntArray, edges: Edges | None = None
) -> tuple[IntArray, list[str]]:
    """Turn faces so that neighbours agree and the side that sees the sky is outward.

    Parameters
    ----------
    vertices : (n, 3) float64
        Welded positions, mm, +z up.
    faces : (m, 3) int64
        Triangles, each of three different vertices.
    edges : Edges or None
        Of the faces, when they are at hand.

    Returns
    -------
    faces : (m, 3) int64
        The same triangles; those that were turned run 0, 2, 1.
    repairs : list of str
        What was turned, one phrase each.

    Notes
    -----
    Faces that share an edge of exactly two faces form a patch. A closed patch of positive
    volume is right as it is. Any other is judged by which of its sides sees more sky; one
    that sees none on either side stays as it is (a hidden hollow is rightly inside out).
    """
    edges = edges or find_edges(faces)
    turned, twisted = _agreeing(len(faces), edges.pairs, edges.agree)
    patch_count, patch = find_shells(len(faces), edges.pairs)
    normal = area_vectors(vertices, faces)
    # The file's own winding decides between the two sides of a patch until rays do.
    if turned.any():
        areas = lengths(normal)
        mostly_turned = np.bincount(patch, np.where(turned, areas, -areas), patch_count) > 0
        turned ^= mostly_turned[patch]
    closed = closed_shells(edges, patch_count, patch)
    # Six times a tetrahedron's volume is normal . corner; any corner and any origin will do.
    volume = np.einsum("md,md->m", normal, vertices[faces[:, 0]] - vertices[0])
    volume = np.bincount(patch, np.where(turned, -volume, volume), patch_count)
    doubtful = ~closed | (volume <= 0)
    if doubtful.any():
        outward = np.where(turned[:, None], -normal, normal)
        areas = 0.5 * lengths(normal)
        inward = _sees_less(
            Rays(vertices, faces), vertices[faces], areas, outward, patch, patch_count, doubtful
        )
        turned ^= inward[patch]
    result = np.where(turned[:, None], faces[:, [0, 2, 1]], faces) if turned.any() else faces
    repairs = []
    if turned.any():
        where = counts(len(np.unique(patch[turned])), "patch")
        repairs.append(f"turned {counts(int(turned.sum()), 'face')} of {where} outward")
    if twisted.any():
        repairs.append(f"left {counts(int(twisted.sum()), 'face')} on a one-sided strip as wound in the file")
    return result, repairs


def _agreeing(count: int, pairs: IntArray, agree: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Which faces to turn so that all pairs agree, and which are on a strip where they cannot.

    Each face is taken twice, as it is and turned. A pair that agrees joins like with like,
    one that does not joins like with unlike; the two copies then fall into two groups, one
    for each side of the patch, or into one where the patch has one side only.
    """
    turned = np.zeros(count, dtype=bool)
    if agree.all():
        return turned, turned.copy()
    cross = np.where(agree, 0, count)
    rows = np.concatenate([pairs[:, 0], pairs[:, 0] + count])
    columns = np.concatenate([pairs[:, 1] + cross, pairs[:, 1] + count - cross])
    graph = sparse.coo_matrix((np.ones(len(rows), np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    _, group = csgraph.connected_components(graph, directed=False)
    own, other = group[:count], group[count:]
    twisted = own == other
    turned = (own > other) & ~twisted
    return turned, twisted


def _sees_less(
    rays: Rays,
    corners: FloatArray,
    areas: FloatArray,
    normal: FloatArray,
    patch: IntArray,
    patch_count: int,
    doubtful: BoolArray,
) -> BoolArray:
    """(patch_count,) True for doubtful patches whose front sees less sky than their back."""
    order = np.argsort(patch, kind="stable")
    rank = np.arange(len(patch)) - np.searchsorted(patch[order], patch[order])
    size = np.bincount(patch, minlength=patch_count)
    # Every k-th face of a patch: files keep neighbours together, so this spreads over it.
    stride = np.maximum(1, size // SAMPLES_PER_PATCH)
    chosen = order[(rank % stride[patch[order]] == 0) & doubtful[patch[order]] & (areas[order] > 0)]
    chosen = np.sort(chosen)
    face, places = sample_faces(corners[chosen], areas[chosen], 2000, most=16)
    face = chosen[face]
    unit = normal[face] / np.linalg.norm(normal[face], axis=1, keepdims=True)
    weight = areas[face] / np.bincount(face, minlength=len(areas))[face]
    directions = sky_directions(DIRECTIONS)
    front = look_at_sky(rays, places, unit, directions).light * weight
    back = look_at_sky(rays, places, -unit, directions).light * weight
    seen_front = np.bincount(patch[face], front, patch_count)
    seen_back = np.bincount(patch[face], back, patch_count)
    return doubtful & (seen_back > seen_front * (1 + 1e-9))
