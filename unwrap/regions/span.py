"""Span gaps between parts of the ground that no detail joins.

A panel line may run on into a recess: its walls then belong to the recess, which is no detail, and
nothing that may be bridged joins the ground on its two sides. Where they face each other, the gap
is closed by a strip from edge to edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.regions.details import UNSEEN
from unwrap.regions.edges import edge_table, face_normals, label_parts, steady_normals
from unwrap.regions.fill import fill_gap
from unwrap.regions.region import Detail
from unwrap.regions.rim import facing_others, rim_points
from unwrap.regions.split import split_edges

# Points along open edges stand this share of the bridged width apart.
SPACING = 1 / 8
# Normals across a gap may differ by this much, radians: two facets of a rounded corner do.
CREASE = np.radians(15.0)
# A strip runs along an edge of which more than this share faces the other side.
FACES = 0.5
# A foot nearer than this to an edge's end, mm, is that end.
AT_END = 1e-3
# Rays begin this far off a strip, mm.
OFF = 1e-3
# Each round splits an edge once; few strips end along one.
ROUNDS = 12


@dataclass(frozen=True, eq=False)
class _Facing:
    """Open edges of the ground that face another part's.

    Parameters
    ----------
    edges : (e, 2) int64
        From and to which vertex, with the part on the left.
    part, other : (e,) int64
        The part that each belongs to, and the one that it faces.
    pairs : (p, 2) int64
        Edges that face each other.
    """

    edges: IntArray
    part: IntArray
    other: IntArray
    pairs: IntArray


def span_gaps(
    body: Body, vertices: FloatArray, faces: IntArray, ground: BoolArray, bridge: float
) -> tuple[FloatArray, IntArray, IntArray, IntArray, tuple[Detail, ...]]:
    """Close gaps up to the bridged width between parts that hang together by nothing else.

    Parameters
    ----------
    body : Body
        What must not stand in the gaps.
    vertices : (n, 3) float64
        mm.
    faces : (m, 3) int64
        Ground and details; what hangs together over edges is one part.
    ground : (m,) bool
        Which are ground.
    bridge : float
        Widest gap, mm.

    Returns
    -------
    vertices : (n + k, 3) float64
        With the places at which edges were split, where a strip ends.
    faces : (m', 3) int64
        The same surface.
    parent : (m',) int64
        The face that each is (a part of).
    strips : (f, 3) int64
        The faces that close the gaps.
    spanned : tuple of Detail
        What lies under them.
    """
    parent = np.arange(len(faces))
    none = np.zeros((0, 3), dtype=np.int64)
    if bridge <= 0 or not len(faces) or _parts(faces).max() == 0:
        return vertices, faces, parent, none, ()
    for _ in range(ROUNDS):
        found = _facing(vertices, faces, ground[parent], bridge, 0.0)
        ends, places = _feet(vertices, found)
        if not len(ends):
            break
        vertices, faces, kept = split_edges(vertices, faces, ends, places)
        parent = parent[kept]
    found = _facing(vertices, faces, ground[parent], bridge, FACES)
    chains = _chains(found)
    of_edge = np.full(len(found.edges), -1, dtype=np.int64)
    for number, chain in enumerate(chains):
        of_edge[chain] = number
    links, count = np.unique(np.sort(of_edge[found.pairs], axis=1), axis=0, return_counts=True)
    strips: list[IntArray] = [none]
    spanned: list[Detail] = []
    used: set[int] = set()
    for first, second in links[np.argsort(-count, kind="stable")].tolist():
        if first != second and not used & {first, second}:
            used |= {first, second}
            one, two = (_run(found.edges[chains[k]]) for k in (first, second))
            gap = _gap(one, two)
            strip = fill_gap(vertices, gap)
            height = _height(body, vertices, strip)
            if height <= bridge:  # a fin parts the film on its two sides
                strips.append(strip)
                spanned += _detail(vertices, strip, np.concatenate(gap), height)
    return vertices, faces, parent, np.concatenate(strips), tuple(spanned)


def _parts(faces: IntArray) -> IntArray:
    table = edge_table(faces)
    return label_parts(table, np.ones(len(table.ends), dtype=bool))


def _facing(vertices: FloatArray, faces: IntArray, ground: BoolArray, bridge: float, share: float) -> _Facing:
    """Open edges more than a share of which faces another part."""
    table = edge_table(faces)
    part = np.where(ground, label_parts(table, np.ones(len(table.ends), dtype=bool)), -1)
    normals = steady_normals(vertices, faces, table)
    rims = rim_points(vertices, faces, normals, table, table.count == 1, part, bridge * SPACING)
    i, j = facing_others(rims, 1.02 * bridge, CREASE)
    # what an edge faces is the part that most of its points do
    half, other, count = _counted(rims.half[i], rims.part[j], i)
    order = np.lexsort((other, -count, half))
    half, other, count = half[order], other[order], count[order]
    first = np.ones(len(half), dtype=bool)
    first[1:] = half[1:] != half[:-1]
    half, other, count = half[first], other[first], count[first]
    enough = count > share * np.bincount(rims.half, minlength=3 * len(faces))[half]
    half, other = half[enough], other[enough]
    number = np.full(3 * len(faces), -1, dtype=np.int64)
    number[half] = np.arange(len(half))
    face, corner = np.divmod(half, 3)
    edges = np.stack([faces[face, corner], faces[face, (corner + 1) % 3]], axis=1)
    own = part[face]
    one, two = number[rims.half[i]], number[rims.half[j]]
    both = (one >= 0) & (two >= 0)
    one, two = one[both], two[both]
    meant = (other[one] == own[two]) & (other[two] == own[one])
    return _Facing(edges, own, other, np.stack([one[meant], two[meant]], axis=1))


def _counted(half: IntArray, other: IntArray, point: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """How many points of each half-edge face each part."""
    key = np.unique(np.stack([half, other, point], axis=1), axis=0)
    rows, count = np.unique(key[:, :2], axis=0, return_counts=True)
    return rows[:, 0], rows[:, 1], count


def _feet(vertices: FloatArray, found: _Facing) -> tuple[IntArray, FloatArray]:
    """Edges that a strip ends along, each once, and where: at the foot of a facing run's end."""
    one, two = found.pairs.T
    starts, stops = found.edges.T
    # a run ends at a vertex that only one of its edges has
    alone = np.bincount(found.edges.ravel(), minlength=len(vertices)) == 1
    ends: list[IntArray] = []
    places: list[FloatArray] = []
    for tip in (starts[two], stops[two]):
        a, b = vertices[starts[one]], vertices[stops[one]]
        along = b - a
        length = np.linalg.norm(along, axis=1)
        at = np.einsum("ij,ij->i", vertices[tip] - a, along) / length
        inside = alone[tip] & (at > AT_END) & (at < length - AT_END)
        ends.append(np.sort(found.edges[one[inside]], axis=1))
        places.append((a + (at / length)[:, None] * along)[inside])
    edges, first = np.unique(np.concatenate(ends), axis=0, return_index=True)
    return edges, np.concatenate(places)[first]


def _chains(found: _Facing) -> list[IntArray]:
    """Runs of edges one after another that face the same part, as numbers of edges in order."""
    after = {
        (int(part), int(other), int(start)): number
        for number, (part, other, start) in enumerate(
            zip(found.part, found.other, found.edges[:, 0], strict=True)
        )
    }
    following = [
        after.get((int(part), int(other), int(stop)), -1)
        for part, other, stop in zip(found.part, found.other, found.edges[:, 1], strict=True)
    ]
    begun = set(range(len(following))) - {number for number in following if number >= 0}
    left = set(range(len(following)))
    chains = []
    for first in [*sorted(begun), *range(len(following))]:  # what is left after the first is closed
        chain, here = [], first
        while here in left:
            left.discard(here)
            chain.append(here)
            here = following[here]
        if chain:
            chains.append(np.array(chain, dtype=np.int64))
    return chains


def _run(edges: IntArray) -> IntArray:
    """The vertices along a chain; the first is the last again where it is closed."""
    return np.concatenate([edges[:, 0], edges[-1:, 1]])


def _height(body: Body, vertices: FloatArray, strip: IntArray) -> float:
    """How far what lies under a strip stands out of it at most, or (negative) lies below it, mm."""
    normals, areas = face_normals(vertices, strip)
    normals = normals[areas > 0]
    middles = vertices[strip].mean(axis=1)[areas > 0]
    if not len(middles):
        return 0.0
    out = body.rays.first(middles + OFF * normals, normals)
    inside = (out.face >= 0) & (np.einsum("ij,ij->i", body.normals[out.face], normals) > 0)
    if inside.any():
        return float(out.distance[inside].max())
    return -float(np.median(body.rays.first(middles - OFF * normals, -normals).distance))


def _detail(vertices: FloatArray, strip: IntArray, around: IntArray, height: float) -> list[Detail]:
    """What is known of a bead or a groove by its two edges and its height; none if nobody sees it."""
    corners = vertices[strip]
    area = face_normals(vertices, strip)[1]
    if abs(height) < UNSEEN or not np.isfinite(height) or area.sum() <= 0:
        return []
    rim = vertices[around]
    length = 0.5 * float(np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1).sum())
    width = float(area.sum()) / length
    x, y, z = (float(value) for value in np.average(corners.mean(axis=1), axis=0, weights=area))
    kind = "bead" if height > 0 else "groove"
    # square sides, the longest way that the film could have to go
    return [Detail(kind, (x, y, z), height, width, 1.0 + 2.0 * abs(height) / max(width, 1e-9), rim)]


def _gap(one: IntArray, two: IntArray) -> list[IntArray]:
    """The edges of the gap between two runs, with the gap on the left."""
    if one[0] == one[-1] and two[0] == two[-1]:
        return [one[:0:-1], two[:0:-1]]
    around = np.concatenate([one[::-1], two[::-1]])
    return [around[around != np.roll(around, 1)]]
