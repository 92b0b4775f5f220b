"""Flat facets of a body, and their triangles anew after vertices were taken out."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.edges import find_shells
from unwrap.body.triangles import any_chosen, corner_blocks, lengths, longest
from unwrap.body.weld import equal_rows

# Faces that meet at a smaller angle than this, radians, may be parts of one facet.
BEND = 2e-3
# A needle belongs to the plane beside it when the cosine between their normals is larger than this.
ALIKE = 0.5
# Facets are cut on so many processors.
THREADS = 2
# A triangle whose height is less than this share of its longest side is none.
SLIVER = 1e-7


class Facets(NamedTuple):
    """Flat parts of a body.

    Attributes
    ----------
    of_face : (m,) int64
        The facet of each face.
    areas : (f,) float64
        mm^2.
    normal, across : (f, 3) float64
        Unit normals, and a direction in each plane.
    whole : (f,) bool
        Whether it is truly flat, and lies nowhere over itself.
    """

    of_face: IntArray
    areas: FloatArray
    normal: FloatArray
    across: FloatArray
    whole: BoolArray


class Rims(NamedTuple):
    """The directed edges that run round facets, with the facet on their left.

    Attributes
    ----------
    start, end : (b,) int64
        Vertices.
    facet : (b,) int64
    """

    start: IntArray
    end: IntArray
    facet: IntArray


def find_facets(body: Body, tolerance: float) -> Facets:
    """Faces in one plane that hang together.

    Parameters
    ----------
    body : Body
        Wound outward.
    tolerance : float
        How far off its plane a vertex of a whole facet may lie, mm.

    Returns
    -------
    Facets
    """
    edges = body.edges
    # Rounding turns a needle any way, so needles come later.
    needle = 2 * body.areas * BEND < tolerance * longest(body.side_lengths)
    flat = edges.agree & (body.edge_angles < BEND) & ~any_chosen(needle, edges.pairs)
    _, of_face = find_shells(len(body.faces), np.compress(flat, edges.pairs, axis=0))
    if needle.any():
        _add_needles(body, of_face, needle, *_planes(body, of_face)[1:], tolerance)
        own = np.zeros(len(of_face), dtype=bool)
        own[of_face] = True
        of_face = (np.cumsum(own) - 1)[of_face]
    length, normal, height = _planes(body, of_face)
    areas = np.bincount(of_face, body.areas).astype(np.float64)
    bent = np.bincount(of_face, _off(body, slice(None), of_face, normal, height) > tolerance)
    across = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
    across /= np.maximum(lengths(across), 1e-300)[:, None]
    return Facets(of_face, areas, normal, across, (bent == 0) & (length >= (1 - 1e-6) * areas) & (areas > 0))


def _planes(body: Body, of_face: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The area of each facet's shadow on its plane, its unit normal, and how far along it the plane is."""
    total = 0.5 * _sums(of_face, body.area_vectors)
    length = lengths(total)
    normal = total / np.maximum(length, 1e-300)[:, None]
    height = np.empty(len(of_face))
    for here, (x, y, z) in corner_blocks(body.vertices, body.faces):
        u, v, w = np.take(normal, of_face[here], axis=0).T
        height[here] = ((x[0] + x[1] + x[2]) * u + (y[0] + y[1] + y[2]) * v + (z[0] + z[1] + z[2]) * w) / 3
    areas = np.bincount(of_face, body.areas)
    return length, normal, np.bincount(of_face, body.areas * height) / np.maximum(areas, 1e-300)


def _off(
    body: Body, faces: IntArray | slice, facet: IntArray, normal: FloatArray, height: FloatArray
) -> FloatArray:
    """How far the farthest corner of each of some faces lies off the plane of a facet."""
    off = np.empty(len(facet))
    for here, (x, y, z) in corner_blocks(body.vertices, body.faces[faces]):
        u, v, w = np.take(normal, facet[here], axis=0).T
        off[here] = np.abs(x * u + y * v + z * w - height[facet[here]]).max(axis=0)
    return off


def _add_needles(
    body: Body, of_face: IntArray, needle: BoolArray, normal: FloatArray, height: FloatArray, tolerance: float
) -> None:
    """Give needles the facet beside them whose plane they lie in, rather one along their longest side."""
    edges = body.edges
    near = edges.agree & any_chosen(needle, edges.pairs)
    pairs = np.compress(near, edges.pairs, axis=0)
    start, end = edges.ends[edges.pair_edge[near]].T
    length = lengths(body.vertices[end] - body.vertices[start])
    loose = needle.copy()
    ways = np.concatenate([pairs, pairs[:, ::-1]])[np.argsort(np.tile(length, 2), kind="stable")]
    while len(ways):
        known = ~loose[ways[:, 1]]
        one, facet = ways[known, 0], of_face[ways[known, 1]]
        fits = _off(body, one, facet, normal, height) <= tolerance
        fits &= np.einsum("kd,kd->k", body.normals[one], normal[facet]) > ALIKE
        if not fits.any():
            return
        of_face[one[fits]] = facet[fits]  # the last counts: the one along the longest side
        loose[one[fits]] = False
        ways = ways[~known & loose[ways[:, 0]]]


def find_rims(body: Body, facets: Facets) -> Rims:
    """The edges round every facet."""
    edges = body.edges
    one, other = facets.of_face[edges.pairs].T
    inner = np.zeros(len(edges.ends), dtype=bool)
    inner[edges.pair_edge[(one == other) & edges.agree]] = True
    face, corner = np.nonzero(~inner[edges.of_face])
    return Rims(body.faces[face, corner], body.faces[face, (corner + 1) % 3], facets.of_face[face])


def cut_anew(
    vertices: FloatArray, facets: Facets, rims: Rims, gone: BoolArray, anew: BoolArray
) -> tuple[IntArray, IntArray, BoolArray]:
    """Triangles of facets without some of the vertices on their rims, and without any inside.

    Parameters
    ----------
    vertices : (n, 3) float64
    facets, rims
        The body's.
    gone : (n,) bool
        Vertices that are taken out; on rims, only such as lie on straight runs.
    anew : (f,) bool
        The facets that are cut.

    Returns
    -------
    faces : (k, 3) int64
        Constrained Delaunay triangles, which are as stout as their rims let them be; wound
        as the facets.
    facet : (k,) int64
    failed : (f,) bool
        Facets that could not be cut.
    """
    failed = np.zeros(len(anew), dtype=bool)
    rims = Rims(*(column[anew[rims.facet]] for column in rims))
    flat = _laid_in_plane(vertices[rims.start], facets, rims.facet)
    rim, ring = _rings(rims, flat, _laid_in_plane(vertices[rims.end], facets, rims.facet), gone, failed)
    corner, facet, flat = rims.start[rim], rims.facet[rim], flat[rim]
    polygons, of_polygon = _polygons(flat, facet, ring, failed)
    with ThreadPoolExecutor(THREADS) as beside:
        collections = np.empty(len(polygons), dtype=object)
        turns = [slice(turn, None, THREADS) for turn in range(THREADS)]
        found = beside.map(_triangulated, [polygons[turn] for turn in turns])
        for turn, some in zip(turns, found, strict=True):
            collections[turn] = some
    triangles, polygon = shapely.get_parts(collections, return_index=True)
    of_triangle = of_polygon[polygon]
    points = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    # The corners of the triangles are those of the rings, to the last digit.
    cut = np.column_stack([np.repeat(of_triangle, 3), points.reshape(-1, 2)])
    first, number = equal_rows(np.concatenate([np.column_stack([facet, flat]), cut]))
    known = first[number[len(facet) :]].reshape(-1, 3)
    failed[of_triangle[(known >= len(facet)).any(axis=1)]] = True
    faces = corner[np.where(known < len(facet), known, 0)]
    (ax, ay), (bx, by) = (points[:, 1] - points[:, 0]).T, (points[:, 2] - points[:, 0]).T
    doubled = ax * by - ay * bx
    faces = np.where((doubled < 0)[:, None], faces[:, ::-1], faces)
    longest = ((points - points[:, [2, 0, 1]]) ** 2).sum(axis=2).max(axis=1)
    failed[of_triangle[np.abs(doubled) <= SLIVER * longest]] = True
    # n corners and h holes make n + 2 h - 2 triangles, which fill the facet.
    size = len(anew)
    rings = np.bincount(facet[np.diff(ring, prepend=-1) != 0], minlength=size)
    touching = _repeats(facet * len(vertices) + corner)
    wanted = (
        np.bincount(facet, minlength=size) + 2 * rings - 4 - 2 * np.bincount(facet[touching], minlength=size)
    )
    short = np.bincount(of_triangle, minlength=size) != wanted
    lost = np.abs(np.bincount(of_triangle, 0.5 * np.abs(doubled), size) - facets.areas)
    failed |= anew & (short | (lost > 1e-5 * facets.areas))
    return faces, of_triangle, failed


def _sums(group: IntArray, rows: FloatArray) -> FloatArray:
    return np.stack([np.bincount(group, column) for column in rows.T], axis=1)


def _laid_in_plane(places: FloatArray, facets: Facets, facet: IntArray) -> FloatArray:
    """(k, 2) places in the planes of their facets."""
    across, normal = facets.across[facet], facets.normal[facet]
    upward = np.cross(normal, across)
    return np.column_stack([np.einsum("kd,kd->k", places, way) for way in (across, upward)])


def _triangulated(polygons: NDArray[np.object_]) -> NDArray[np.object_]:
    """Each polygon's triangles as one collection, empty where there is no telling."""
    try:
        found: NDArray[np.object_] = shapely.constrained_delaunay_triangles(polygons)
        return found
    except shapely.errors.GEOSException:  # rounding leaves one of them no corner to begin at
        if len(polygons) == 1:
            return np.array([shapely.GeometryCollection()])
        half = len(polygons) // 2
        return np.concatenate([_triangulated(polygons[:half]), _triangulated(polygons[half:])])


def _repeats(key: IntArray) -> BoolArray:
    """Which keys stand before in the list already."""
    order = np.argsort(key, kind="stable")
    again = np.zeros(len(key), dtype=bool)
    again[order[1:][key[order[1:]] == key[order[:-1]]]] = True
    return again


def _rings(
    rims: Rims, start: FloatArray, end: FloatArray, gone: BoolArray, failed: BoolArray
) -> tuple[IntArray, IntArray]:
    """The rims ring by ring, without those that begin at a vertex that goes.

    Parameters
    ----------
    rims : Rims
        Of the facets that are cut.
    start, end : (b, 2) float64
        Their ends in the planes of their facets.
    gone : (n,) bool
    failed : (f,) bool
        Marked here where a facet's rims do not close.

    Returns
    -------
    rim : (k,) int64
        In order round each ring.
    ring : (k,) int64
        Which ring it is in, ascending.
    """
    key = rims.facet * len(gone) + rims.start
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    wanted = rims.facet * len(gone) + rims.end
    found = np.searchsorted(ordered, wanted)
    choice = np.searchsorted(ordered, wanted, side="right") - found
    failed[rims.facet[choice == 0]] = True
    after = order[np.minimum(found, len(order) - 1)]
    for rim in np.flatnonzero(choice > 1):
        # The facet touches itself here: what it leaves bare is a ring of its own.
        ways = order[found[rim] : found[rim] + choice[rim]]
        back, on = start[rim] - end[rim], end[ways] - start[ways]
        turn = np.arctan2(back[0] * on[:, 1] - back[1] * on[:, 0], on @ back)
        after[rim] = ways[np.argmin(np.mod(turn, 2 * np.pi))]
    sound = ~failed[rims.facet]
    after = np.where(sound, after, np.arange(len(after)))
    skipped = sound & gone[rims.start]
    while (over := skipped[after]).any():
        after[over] = after[after[over]]
    own = np.flatnonzero(sound & ~gone[rims.start])
    rank = np.zeros(len(after), dtype=np.int64)
    rank[own] = np.arange(len(own))
    after = rank[after[own]]
    rings, ring = find_shells(len(own), np.column_stack([np.arange(len(own)), after]))
    order = np.lexsort([_steps_on(after, ring, rings), ring])
    return own[order], ring[order]


def _steps_on(after: IntArray, ring: IntArray, rings: int) -> IntArray:
    """How many steps each link of closed chains is beyond the first of its chain."""
    first = np.full(rings, len(after))
    np.minimum.at(first, ring, np.arange(len(after)))
    steps, jump = np.ones(len(after), dtype=np.int64), after.copy()
    steps[first], jump[first] = 0, first
    while (more := steps[jump]).any():  # twice as far with each round
        steps += more
        jump = jump[jump]
    return -steps % np.bincount(ring, minlength=rings)[ring]


def _polygons(
    flat: FloatArray, facet: IntArray, ring: IntArray, failed: BoolArray
) -> tuple[NDArray[np.object_], IntArray]:
    """Facets as polygons with their holes, and the facet of each; those that are none are marked."""
    fresh = np.diff(ring, prepend=-1) != 0
    begin = np.flatnonzero(fresh)
    owner, size = facet[begin], np.diff(np.append(begin, len(ring)))
    failed[owner[size < 3]] = True
    following = np.arange(1, len(ring) + 1)
    following[begin + size - 1] = begin
    (x, y), (u, v) = flat.T, flat[following].T
    outer = np.bincount(np.cumsum(fresh) - 1, x * v - y * u, len(begin)) > 0
    failed[np.bincount(owner[outer], minlength=len(failed)) > 1] = True
    failed[np.setdiff1d(owner, owner[outer])] = True
    sound = ~failed[owner]
    lines = shapely.linearrings(
        flat[np.repeat(sound, size)], indices=np.repeat(np.arange(sound.sum()), size[sound])
    )
    order = np.lexsort([~outer[sound], owner[sound]])  # each outer ring before its holes
    of_polygon, number = np.unique(owner[sound][order], return_inverse=True)
    polygons = shapely.polygons(lines[order], indices=number)
    valid = shapely.is_valid(polygons)
    failed[of_polygon[~valid]] = True
    return polygons[valid], of_polygon[valid]
