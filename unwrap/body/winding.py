"""Make faces wind alike, patch by patch, with the outside outward."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.edges import closed_shells
from unwrap.body.rays import Rays
from unwrap.body.sky import look_at_sky, sample_faces, sky_directions
from unwrap.body.sorted_keys import blocks
from unwrap.body.soup import counts

DIRECTIONS = 48
SAMPLES_PER_PATCH = 96


def wind_outward(body: Body) -> Body:
    """Turn faces so that neighbours agree and the side that sees the sky is outward.

    Parameters
    ----------
    body : Body
        Welded, +z up.

    Returns
    -------
    Body
        With the same triangles; those that were turned run 0, 2, 1, and are told of among its
        repairs. The body itself where all is right.

    Notes
    -----
    Faces that share an edge of exactly two faces form a patch. A closed patch of positive
    volume is right as it is. Any other is judged by which of its sides sees more sky; one
    that sees none on either side stays as it is (a hidden hollow is rightly inside out).
    """
    edges, (patch_count, patch) = body.edges, body.shells
    turned, twisted = _agreeing(len(body.faces), edges.pairs, edges.agree)
    # The file's own winding decides between the two sides of a patch until rays do.
    if turned.any():
        mostly_turned = np.bincount(patch, np.where(turned, body.areas, -body.areas), patch_count) > 0
        turned ^= mostly_turned[patch]
    doubtful = ~closed_shells(edges, patch_count, patch) | (shell_volumes(body, turned) <= 0)
    if doubtful.any():
        turned ^= _sees_less(body, turned, doubtful)[patch]
    repairs = []
    if turned.any():
        where = counts(len(np.unique(patch[turned])), "patch")
        repairs.append(f"turned {counts(int(turned.sum()), 'face')} of {where} outward")
    if twisted.any():
        repairs.append(f"left {counts(int(twisted.sum()), 'face')} on a one-sided strip as wound in the file")
    if not repairs:
        return body
    faces = np.where(turned[:, None], body.faces[:, [0, 2, 1]], body.faces)
    return replace(body, faces=faces, repairs=(*body.repairs, *repairs))


def shell_volumes(body: Body, turned: BoolArray | None = None) -> FloatArray:
    """Six times the volume of each of a body's shells, mm^3, with some faces (m,) turned round.

    Of a shell that is not closed it says nothing.
    """
    shells, shell = body.shells
    origin, volume = body.vertices[:1], np.empty(len(body.faces))
    # Six times a tetrahedron's volume is normal . corner; any corner and any origin will do.
    for here in blocks(len(body.faces)):
        corner = np.take(body.vertices, body.faces[here, 0], axis=0) - origin
        volume[here] = np.einsum("md,md->m", body.area_vectors[here], corner)
    if turned is not None and turned.any():
        volume[turned] *= -1
    return np.bincount(shell, volume, shells).astype(np.float64)


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


def _sees_less(body: Body, turned: BoolArray, doubtful: BoolArray) -> BoolArray:
    """(patch_count,) True for doubtful patches whose front sees less sky than their back."""
    patch_count, patch = body.shells
    order = np.argsort(patch, kind="stable")
    rank = np.arange(len(patch)) - np.searchsorted(patch[order], patch[order])
    size = np.bincount(patch, minlength=patch_count)
    # Every k-th face of a patch: files keep neighbours together, so this spreads over it.
    stride = np.maximum(1, size // SAMPLES_PER_PATCH)
    chosen = order[(rank % stride[patch[order]] == 0) & doubtful[patch[order]] & (body.areas[order] > 0)]
    chosen = np.sort(chosen)
    corners = body.vertices[body.faces[chosen]]
    face, places = sample_faces(corners, body.areas[chosen], 2000, most=16)
    face = chosen[face]
    unit = np.where(turned[face, None], -body.normals[face], body.normals[face])
    weight = body.areas[face] / np.bincount(face, minlength=len(patch))[face]
    # Not the body's own rays, which would outlast this although the body is mostly thinned before it is seen.
    rays, directions = Rays(body.vertices, body.faces), sky_directions(DIRECTIONS)
    front = look_at_sky(rays, places, unit, directions).light * weight
    back = look_at_sky(rays, places, -unit, directions).light * weight
    seen_front = np.bincount(patch[face], front, patch_count)
    seen_back = np.bincount(patch[face], back, patch_count)
    return doubtful & (seen_back > seen_front * (1 + 1e-9))
