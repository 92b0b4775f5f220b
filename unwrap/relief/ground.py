"""The mesh that cuts are drawn on: a patch, its uncut flat shape, and where each part came from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Ground:
    """A patch that is being cut.

    Cuts are drawn in the plane of the uncut flat shape: it is close to true to size,
    so that what is smooth there is smooth on the model, and crossing triangles there
    needs no geometry in space.

    Parameters
    ----------
    surface : (n, 3) float64
        Positions on the model, mm.
    chart : (n, 2) float64
        Positions in the uncut flat shape, mm; both lips of a cut have the same.
    faces : (m, 3) int64
        Counter-clockwise in the chart. Parts of one input face stand together, in its place.
    face : (m,) int64
        The input face that each face is (a part of).
    vertex : (n,) int64
        The input vertex that each vertex is (a copy of); -1 where a cut made one.
    """

    surface: FloatArray
    chart: FloatArray
    faces: IntArray
    face: IntArray
    vertex: IntArray

    @classmethod
    def of(cls, surface: FloatArray, chart: FloatArray, faces: IntArray) -> Ground:
        """An uncut patch."""
        return cls(surface, chart, faces, np.arange(len(faces)), np.arange(len(surface)))

    def split(
        self, edges: IntArray, shares: FloatArray, middles: IntArray, weights: FloatArray
    ) -> tuple[Ground, IntArray, IntArray]:
        """Put vertices on edges and inside faces, and split the faces round them.

        Parameters
        ----------
        edges : (e, 2) int64
            Edges that get a vertex, each once. A face may have up to two.
        shares : (e,) float64
            Where on the edge: 0 at its first vertex, 1 at its second.
        middles : (c,) int64
            Faces that get a vertex inside; none of them may have a split edge.
        weights : (c, 3) float64
            Barycentric coordinates of those vertices.

        Returns
        -------
        ground : Ground
        on_edge : (e,) int64
            The new vertices on the edges.
        inside : (c,) int64
            The new vertices inside faces.
        """
        n = len(self.surface)
        on_edge = n + np.arange(len(edges))
        inside = n + len(edges) + np.arange(len(middles))
        s = shares[:, None]
        corners = self.faces[middles]

        def grown(values: FloatArray) -> FloatArray:
            between = (1.0 - s) * values[edges[:, 0]] + s * values[edges[:, 1]]
            within = np.einsum("ci,cij->cj", weights, values[corners])
            return np.concatenate([values, between, within])

        surface, chart = grown(self.surface), grown(self.chart)
        size = len(surface)
        made = dict(zip((np.min(edges, 1) * size + np.max(edges, 1)).tolist(), on_edge.tolist(), strict=True))
        start, end = self.faces, np.roll(self.faces, -1, axis=1)
        key = np.minimum(start, end) * size + np.maximum(start, end)
        touched = np.flatnonzero(np.isin(key, np.fromiter(made, np.int64, len(made))).any(axis=1))
        parts: list[tuple[int, int, int]] = []
        parents: list[int] = []
        for f in touched.tolist():
            new = _divide(self.faces[f].tolist(), [made.get(k, -1) for k in key[f].tolist()], surface)
            parts += new
            parents += [f] * len(new)
        for f, p in zip(middles.tolist(), inside.tolist(), strict=True):
            a, b, c = self.faces[f].tolist()
            parts += [(a, b, p), (b, c, p), (c, a, p)]
            parents += [f] * 3
        kept = np.ones(len(self.faces), dtype=bool)
        kept[touched] = False
        kept[middles] = False
        rest = np.flatnonzero(kept)
        source = np.concatenate([rest, np.array(parents, dtype=np.int64)])
        order = np.argsort(source, kind="stable")
        faces = np.concatenate([self.faces[rest], np.array(parts, dtype=np.int64).reshape(-1, 3)])[order]
        vertex = np.concatenate([self.vertex, np.full(size - n, -1)])
        return Ground(surface, chart, faces, self.face[source[order]], vertex), on_edge, inside

    def opened(self, *chains: IntArray) -> Ground:
        """The ground parted along chains of vertices joined by edges.

        A chain's end stays one vertex unless it lies on an edge of the patch or on another chain; every
        other vertex that a cut parts is doubled, where cuts branch more than once. Old vertices keep their
        numbers.
        """
        n = len(self.surface)
        pairs = np.concatenate([np.column_stack([c[:-1], c[1:]]) for c in chains])
        cut = pairs.min(axis=1) * n + pairs.max(axis=1)
        around = np.flatnonzero(np.isin(self.faces, pairs).any(axis=1))
        local = self.faces[around]
        # Corners at one vertex hang together across every edge that is not cut.
        start, end = local.ravel(), np.roll(local, -1, axis=1).ravel()
        corner = np.arange(len(start))
        after = corner - corner % 3 + (corner + 1) % 3
        key = np.minimum(start, end) * n + np.maximum(start, end)
        order = np.argsort(key, kind="stable")
        same = np.flatnonzero((key[order][1:] == key[order][:-1]) & ~np.isin(key[order][1:], cut))
        one, two = order[same], order[same + 1]
        rows, columns = np.concatenate([one, after[one]]), np.concatenate([after[two], two])
        links = coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(len(start), len(start)))
        _, fan = connected_components(links, directed=False)
        # The fan that holds a vertex's first corner keeps its number.
        where = np.unique(fan, return_index=True)[1]
        vertex = start[where]
        by_vertex = np.lexsort((where, vertex))
        later = by_vertex[1:][vertex[by_vertex][1:] == vertex[by_vertex][:-1]]
        later = later[np.isin(vertex[later], pairs)]
        number = vertex.copy()
        number[later] = n + np.arange(len(later))
        faces = self.faces.copy()
        faces[around] = number[fan].reshape(-1, 3)
        c = vertex[later]
        return Ground(
            np.concatenate([self.surface, self.surface[c]]),
            np.concatenate([self.chart, self.chart[c]]),
            faces,
            self.face,
            np.concatenate([self.vertex, self.vertex[c]]),
        )


def _divide(corners: list[int], mids: list[int], surface: FloatArray) -> list[tuple[int, int, int]]:
    """Parts of a face whose edges 0-1, 1-2, 2-0 carry the vertices `mids` (-1: none)."""
    count = sum(m >= 0 for m in mids)
    if count == 1:
        k = next(i for i, m in enumerate(mids) if m >= 0)
        a, b, c, m = corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3], mids[k]
        return [(a, m, c), (m, b, c)]
    if count == 3:
        (a, b, c), (p, q, r) = corners, mids
        return [(a, p, r), (p, b, q), (q, c, r), (p, q, r)]
    k = next(i for i, m in enumerate(mids) if m < 0)
    # The whole edge runs from a to b; p lies on b-c and q on c-a.
    a, b, c, p, q = (
        corners[k],
        corners[(k + 1) % 3],
        corners[(k + 2) % 3],
        mids[(k + 1) % 3],
        mids[(k + 2) % 3],
    )
    tip = (c, q, p)
    if np.linalg.norm(surface[a] - surface[p]) < np.linalg.norm(surface[b] - surface[q]):
        return [tip, (a, b, p), (a, p, q)]
    return [tip, (a, b, q), (b, p, q)]
