"""Mend a mesh without changing its shape: cracks, T-junctions and slivers."""

from __future__ import annotations

import numpy as np
import shapely
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.edges import find_edges
from unwrap.body.soup import counts
from unwrap.body.triangles import any_chosen, corner_blocks, low_faces, shortest, side_lengths

# Gaps narrower than this are flaws of the export, since no printer could leave them, mm.
CRACK = 0.01
# Faces lower than this, over their longest side, hold no ground, mm.
SLIVER = 1e-3
NEEDLE = 5.0
# Each round mends what does not touch; a few rounds reach everything.
ROUNDS = 12
# (3, 2) columns: two unit directions at right angles that no body's edges run along.
ASKEW = np.linalg.qr(np.array([[0.83, 0.29], [-0.37, 0.91], [0.41, 0.17]]))[0]


def mend_mesh(vertices: FloatArray, faces: IntArray, scale: float) -> tuple[IntArray, list[str]]:
    """Close cracks, join T-junctions and take slivers out, all under stated tolerances.

    Parameters
    ----------
    vertices : (n, 3) float64
        Welded positions, mm; none is moved.
    faces : (m, 3) int64
        Triangles of three different vertices.
    scale : float
        The body's diagonal, mm. On a tiny body the tolerances shrink with it.

    Returns
    -------
    faces : (k, 3) int64
        The mended triangles.
    repairs : list of str
        What was mended, one phrase each.
    """
    repairs = []
    crack, sliver = min(CRACK, 1e-4 * scale), min(SLIVER, 2e-5 * scale)
    if not _even(faces) and (find_edges(faces).number == 1).any():
        faces, closed = close_cracks(vertices, faces, crack)
        if closed:
            repairs.append(f"closed cracks narrower than {crack:.2g} mm at {counts(closed, 'vertex')}")
        faces, joined = join_t_junctions(vertices, faces, crack)
        if joined:
            repairs.append(f"joined {counts(joined, 'T-junction')} within {crack:.2g} mm")
    faces, taken = take_slivers_out(vertices, faces, sliver)
    if taken:
        repairs.append(f"took out {counts(taken, 'sliver')} lower than {sliver:.2g} mm")
    return faces, repairs


def _even(faces: IntArray) -> bool:
    """Whether every edge is run through as often one way as the other: then none is open."""
    # With the vertices at random whole places in a plane, the area of all faces is that within
    # the open rims: nothing where there are none, and nearly never nothing where there are.
    count = int(faces.max(initial=0)) + 1
    places = np.random.default_rng(0).integers(1 << 63, size=(count, 2), dtype=np.uint64)
    total = 0
    for _, corners in corner_blocks(places, faces):
        (ax, ay), (bx, by) = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 1]
        total += int((ax * by - ay * bx).sum())
    return total % (1 << 64) == 0


def close_cracks(vertices: FloatArray, faces: IntArray, tolerance: float) -> tuple[IntArray, int]:
    """Give vertices of open edges that lie within a tolerance of one another one number.

    Two ends of one edge are never joined, so that no face is lost for being small.

    Returns
    -------
    faces : (k, 3) int64
    joined : int
        How many vertices were joined to others.
    """
    edges = find_edges(faces)
    open_ends = edges.ends[edges.number == 1]
    border = np.unique(open_ends)
    if len(border) < 2:
        return faces, 0
    near = cKDTree(vertices[border]).query_pairs(tolerance, output_type="ndarray")
    if len(near) == 0:
        return faces, 0
    pairs = np.sort(border[near], axis=1)
    width = len(vertices)
    known = np.isin(pairs[:, 0] * width + pairs[:, 1], edges.ends[:, 0] * width + edges.ends[:, 1])
    pairs = pairs[~known]
    if len(pairs) == 0:
        return faces, 0
    graph = sparse.coo_matrix((np.ones(len(pairs), np.int8), pairs.T), shape=(width, width))
    count, group = csgraph.connected_components(graph, directed=False)
    first = np.full(count, width)
    np.minimum.at(first, group, np.arange(width))
    moved = first[group][faces]
    a, b, c = moved.T
    return moved[(a != b) & (b != c) & (c != a)], width - count


def join_t_junctions(vertices: FloatArray, faces: IntArray, tolerance: float) -> tuple[IntArray, int]:
    """Split faces whose open edge passes within a tolerance of a vertex of another open edge.

    Returns
    -------
    faces : (k, 3) int64
    joined : int
        How many vertices were put into edges.
    """
    total = 0
    for _ in range(ROUNDS):
        edges = find_edges(faces)
        is_open = edges.number[edges.of_face] == 1
        face, side = np.nonzero(is_open)
        if len(face) == 0:
            break
        a, b = faces[face, side], faces[face, (side + 1) % 3]
        found, vertex = nearest_inside(vertices, a, b, np.unique(np.concatenate([a, b])), tolerance)
        # One edge of a face in each round: its parts take their turn in the next.
        found, vertex = _once_per(face[found], found, vertex)
        # A vertex of the face itself never splits it.
        strange = (faces[face[found]] != vertex[:, None]).all(axis=1)
        found, vertex = found[strange], vertex[strange]
        if len(found) == 0:
            break
        faces = _split(faces, face[found], side[found], vertex)
        total += len(found)
    return faces, total


def take_slivers_out(vertices: FloatArray, faces: IntArray, tolerance: float) -> tuple[IntArray, int]:
    """Drop faces with next to no height and give their middle vertex to the neighbour.

    The face on the other side of a sliver's longest edge is split at the sliver's third
    vertex, so that nothing opens.

    Returns
    -------
    faces : (k, 3) int64
    taken : int
        How many slivers are gone.
    """
    thin = _caps(vertices, faces, tolerance)
    if not thin.any():
        return faces, 0
    # Only what touches a sliver is looked at; the rest of a large mesh stays as it is.
    touched = np.zeros(len(vertices), dtype=bool)
    touched[faces[thin]] = True
    near = any_chosen(touched, faces)
    local, total = faces[near], 0
    for _ in range(ROUNDS):
        local, taken = _take_out_once(vertices, local, tolerance)
        if not taken:
            break
        total += taken
    return np.concatenate([np.compress(~near, faces, axis=0), local]), total


def _caps(vertices: FloatArray, faces: IntArray, tolerance: float) -> BoolArray:
    """Slivers that can give their vertex away: no side is short, or it would be a needle."""
    thin = low_faces(vertices, faces, tolerance)
    at = np.flatnonzero(thin)
    thin[at] = shortest(side_lengths(vertices, faces[at])) > NEEDLE * tolerance
    return thin


def _take_out_once(vertices: FloatArray, faces: IntArray, tolerance: float) -> tuple[IntArray, int]:
    """One round: slivers that share no face with another one of the round."""
    thin = np.flatnonzero(_caps(vertices, faces, tolerance))
    if len(thin) == 0:
        return faces, 0
    edges = find_edges(faces)
    longest = np.argmax(side_lengths(vertices, faces[thin]), axis=1)
    edge = edges.of_face[thin, longest]
    mate = np.full((len(edges.number), 2), -1)
    mate[edges.pair_edge] = edges.pairs
    other = np.where(mate[edge, 0] == thin, mate[edge, 1], mate[edge, 0])
    apex = faces[thin, (longest + 2) % 3]
    # A neighbour as low as the sliver itself would only become another sliver.
    usable = (other >= 0) & ~low_faces(vertices, faces[other], tolerance)
    usable &= (faces[other] != apex[:, None]).all(axis=1)
    busy = np.zeros(len(faces), dtype=bool)
    keep = []
    for k in np.flatnonzero(usable):
        if not busy[thin[k]] and not busy[other[k]]:
            busy[thin[k]] = busy[other[k]] = True
            keep.append(k)
    if not keep:
        return faces, 0
    side = np.argmax(edges.of_face[other[keep]] == edge[keep][:, None], axis=1)
    split = _split(faces, other[keep], side, apex[keep])
    left = np.ones(len(split), dtype=bool)
    left[thin[keep]] = False
    return split[left], len(keep)


def _split(faces: IntArray, face: IntArray, side: IntArray, vertex: IntArray) -> IntArray:
    """Put a vertex into one side of each of some faces: each becomes two, the second at the end."""
    a, b, c = (faces[face, (side + k) % 3] for k in range(3))
    result = faces.copy()
    result[face] = np.stack([a, vertex, c], axis=1)
    return np.concatenate([result, np.stack([vertex, b, c], axis=1)])


def _once_per(key: IntArray, first: IntArray, second: IntArray) -> tuple[IntArray, IntArray]:
    _, index = np.unique(key, return_index=True)
    return first[index], second[index]


def nearest_inside(
    vertices: FloatArray, a: IntArray, b: IntArray, candidates: IntArray, tolerance: float
) -> tuple[IntArray, IntArray]:
    """For each segment a-b that passes a candidate vertex: its number and one such vertex.

    Two things are no farther apart in a projection than in space, so a search in a plane finds
    all that matter; the plane is askew, so that hardly any others fall together in it.
    """
    start, end = vertices[a], vertices[b]
    flat = vertices @ ASKEW
    tree = shapely.STRtree(shapely.linestrings(np.stack([flat[a], flat[b]], axis=1)))
    point, segment = tree.query(shapely.points(flat[candidates]), predicate="dwithin", distance=tolerance)
    vertex = candidates[point]
    foreign = (vertex != a[segment]) & (vertex != b[segment])
    segment, vertex = segment[foreign], vertex[foreign]
    along = end[segment] - start[segment]
    length = np.linalg.norm(along, axis=1)
    offset = vertices[vertex] - start[segment]
    t = np.einsum("kd,kd->k", offset, along) / np.maximum(length, 1e-150) ** 2
    off = np.linalg.norm(offset - t[:, None] * along, axis=1)
    inside = (off < tolerance) & (t * length > tolerance) & ((1 - t) * length > tolerance)
    return _once_per(segment[inside], segment[inside], vertex[inside])
