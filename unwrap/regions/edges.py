"""Edges of a triangle mesh: which faces meet there, and how sharply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.edges import find_edges
from unwrap.body.triangles import area_vectors, lengths, side_lengths

# A triangle flatter than this has no normal worth the name: coordinates that went
# through single precision are only good to some 1e-5 mm at model size.
SLIVER = 2e-4


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Undirected edges of some faces of a mesh.

    Parameters
    ----------
    ends : (e, 2) int64
        Vertices at the ends, smaller first.
    of_face : (m, 3) int64
        The edge from each corner to the next; -1 for faces that were left out.
    count : (e,) int64
        How many faces meet there: 1 at an open edge, 2 inside, more where shells touch.
    pair : (e, 2) int64
        The two faces that meet; -1 where there are not exactly two.
    """

    ends: IntArray
    of_face: IntArray
    count: IntArray
    pair: IntArray


def edge_table(faces: IntArray, used: BoolArray | None = None) -> EdgeTable:
    """Find the edges of the faces in use.

    Parameters
    ----------
    faces : (m, 3) int64
        Triangles.
    used : (m,) bool, optional
        Faces to look at; all of them by default.

    Returns
    -------
    EdgeTable
        Edges sorted by their ends. Two faces that run along an edge in the same
        direction are no pair: one of them is turned over.
    """
    which = np.arange(len(faces)) if used is None else np.flatnonzero(used)
    found = find_edges(faces[which])
    of_face = np.full((len(faces), 3), -1, dtype=np.int64)
    of_face[which] = found.of_face
    pair = np.full((len(found.ends), 2), -1, dtype=np.int64)
    pair[found.pair_edge[found.agree]] = which[found.pairs[found.agree]]
    return EdgeTable(found.ends, of_face, found.number, pair)


def body_table(body: Body) -> EdgeTable:
    """The edges of all of a body's faces, which it has found already."""
    edges = body.edges
    pair = np.full((len(edges.ends), 2), -1, dtype=np.int64)
    pair[edges.pair_edge[edges.agree]] = edges.pairs[edges.agree]
    return EdgeTable(edges.ends, edges.of_face, edges.number, pair)


def face_normals(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    """(m, 3) unit normals (zero without area) and (m,) areas."""
    normal = area_vectors(vertices, faces)
    length = lengths(normal)
    unit = np.divide(normal, length[:, None], out=np.zeros_like(normal), where=length[:, None] > 0)
    return unit, 0.5 * length


def steady_normals(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> FloatArray:
    """Face normals in which a sliver takes the normal of its neighbour over its longest edge.

    Boolean unions leave triangles whose three corners are all but on a line; their
    own normals are noise, and would read as sharp edges in the middle of a plane.

    Returns
    -------
    (m, 3) float64
        Unit normals.
    """
    normals, areas = face_normals(vertices, faces)
    sides = side_lengths(vertices, faces)
    longest = sides.argmax(axis=1)
    height = np.divide(2 * areas, sides.max(axis=1), out=np.zeros(len(faces)), where=areas > 0)
    sliver = np.flatnonzero((height < SLIVER) & (table.of_face[:, 0] >= 0))
    if not len(sliver):
        return normals
    edge = table.of_face[sliver, longest[sliver]]
    other = table.pair[edge].sum(axis=1) - sliver
    other[table.pair[edge, 0] < 0] = -1
    good = np.ones(len(faces), dtype=bool)
    good[sliver] = False
    for _ in range(8):  # slivers stack a few deep where many cuts meet
        ready = (other >= 0) & ~good[sliver] & good[other]
        if not ready.any():
            break
        normals[sliver[ready]] = normals[other[ready]]
        good[sliver[ready]] = True
    return normals


def edge_angles(normals: FloatArray, table: EdgeTable) -> FloatArray:
    """Angle between the normals of the two faces at each edge.

    Returns
    -------
    (e,) float64
        Radians, 0 = flat; infinite where no two faces meet properly.
    """
    inside = table.pair[:, 0] >= 0
    first, second = normals[table.pair[inside, 0]], normals[table.pair[inside, 1]]
    # atan2 keeps full precision for the tiny angles that tell coplanar faces apart
    cross = lengths(np.cross(first, second))
    angles = np.full(len(table.ends), np.inf)
    angles[inside] = np.arctan2(cross, np.einsum("ij,ij->i", first, second))
    return angles


def label_parts(table: EdgeTable, across: BoolArray, used: BoolArray | None = None) -> IntArray:
    """Number the parts that hang together over the given edges.

    Parameters
    ----------
    table : EdgeTable
        The mesh's edges.
    across : (e,) bool
        Edges that may be crossed.
    used : (m,) bool, optional
        Faces that take part.

    Returns
    -------
    (m,) int64
        0, 1, 2, ... per face; -1 for faces that take no part.
    """
    size = len(table.of_face)
    pairs = table.pair[across & (table.pair[:, 0] >= 0)]
    graph = sp.coo_matrix((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    take = table.of_face[:, 0] >= 0
    if used is not None:
        take = take & used
    result = np.full(size, -1, dtype=np.int64)
    result[take] = np.unique(label[take], return_inverse=True)[1]
    return result


def compact(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Drop unused vertices.

    Returns
    -------
    vertices : (k, 3) float64
        The vertices in use.
    faces : (m, 3) int64
        Faces into them.
    kept : (k,) int64
        Where each came from.
    """
    kept, inverse = np.unique(faces, return_inverse=True)
    return vertices[kept], inverse.reshape(faces.shape).astype(np.int64), kept


def boundary_loops(faces: IntArray) -> list[IntArray]:
    """Closed runs of open edges, each in the direction of the faces along it.

    The faces lie to the left of a loop as seen from outside; so a disc's outer loop
    runs counter-clockwise, an opening's clockwise. Where loops touch in a vertex
    they are parted there.

    Returns
    -------
    list of (k,) int64 arrays
        Vertices along each loop, the first not repeated; longest loop first.
    """
    table = edge_table(faces)
    open_edge = table.count == 1
    corner_open = open_edge[table.of_face]
    start = faces[corner_open]
    end = faces[:, [1, 2, 0]][corner_open]
    leaving: dict[int, list[int]] = {}
    for a, b in zip(start.tolist(), end.tolist(), strict=True):
        leaving.setdefault(a, []).append(b)
    loops = []
    while leaving:
        first = next(iter(leaving))
        run = [first]
        place = {first: 0}
        while run:
            here = run[-1]
            following = leaving.get(here)
            if not following:
                break
            step = following.pop()
            if not following:
                del leaving[here]
            if step in place:
                at = place[step]
                loop = run[at:]
                loops.append(np.array(loop, dtype=np.int64))
                for vertex in loop[1:]:
                    del place[vertex]
                run = run[: at + 1]
                if at == 0 and step not in leaving:
                    break
            else:
                place[step] = len(run)
                run.append(step)
    return sorted(loops, key=len, reverse=True)
