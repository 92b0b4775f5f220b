"""A coarse cut mesh that follows its slits: moved along with them for as long as its faces stay sound.

What a slit or an edge holds moves with it; all else is pulled along, each vertex by the mean of
its neighbours. So a small change of a set of slits needs no new mesh: the numbering of the linear system
stays, the last flat shape is a start, and need and slopes change smoothly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.relief.band import Band
from unwrap.relief.ground import Ground
from unwrap.relief.slit import Edge, Slit

BENT = 2.2  # a face distorted more than this ((s1^2 + s2^2) / (2 s1 s2)) calls for a new mesh
SHRUNK = 0.3  # and so does one of less than this share of its area


@dataclass(frozen=True, eq=False)
class TrialMesh:
    """A cut coarse mesh as it was made, and what holds its vertices.

    Parameters
    ----------
    ground : Ground
    slits : tuple of Slit
        That it was made for.
    edges : list of Edge
    slit : (n,) int64
        The slit that a vertex lies on; -1 for none.
    share : (n,) float64
        And where on it, 0 to 1.
    edge : (n,) int64
        The edge that a vertex lies on; -1 for none.
    place : (n,) float64
        And how far along, mm.
    corner : (n,) bool
        Vertices at corners of an edge, which stay.
    """

    ground: Ground
    slits: tuple[Slit, ...]
    edges: list[Edge]
    slit: IntArray
    share: FloatArray
    edge: IntArray
    place: FloatArray
    corner: BoolArray

    @classmethod
    def of(
        cls,
        ground: Ground,
        edges: list[Edge],
        slits: tuple[Slit, ...],
        places: list[FloatArray],
        corners: list[BoolArray],
        loops: list[IntArray],
        chains: list[IntArray],
    ) -> TrialMesh:
        """Note what holds each vertex.

        `loops` run round the edges and `chains` along the slits; the first vertices are
        those that stand at `places` on the edges, edge by edge, some of them at `corners`.
        """
        n = len(ground.chart)
        slit, share = np.full(n, -1), np.zeros(n)
        edge, place, corner = np.full(n, -1), np.zeros(n), np.zeros(n, dtype=bool)
        known = np.concatenate(places)
        place[: len(known)] = known
        corner[: len(known)] = np.concatenate(corners)
        for k, loop in enumerate(loops):
            ring = loop[:-1]
            edge[ring] = k
            made = ring[ring >= len(known)]
            place[made] = [edges[k].nearest(p) for p in ground.chart[made]]
        for i, chain in enumerate(chains):
            foot, chord = slits[i].foot, slits[i].tip - slits[i].foot
            slit[chain] = i
            # A slit's points lie square above their shares of the chord.
            share[chain] = np.clip((ground.chart[chain] - foot) @ chord / (chord @ chord), 0.0, 1.0)
            share[chain[0]] = 0.0
            share[chain[-1]] = 1.0
        old = ground.vertex
        return cls(ground, slits, edges, slit[old], share[old], edge[old], place[old], corner[old])

    @cached_property
    def system(self) -> Band:
        """The linear system of its faces, numbered once."""
        return Band(self.ground.faces, len(self.ground.chart))

    @cached_property
    def _held(self) -> IntArray:
        return np.flatnonzero((self.slit >= 0) | (self.edge >= 0))

    @cached_property
    def _free(self) -> IntArray:
        return np.flatnonzero((self.slit < 0) & (self.edge < 0))

    @cached_property
    def _along(self) -> FloatArray:
        """(free, held) how far each free vertex goes along with each held one."""
        n = len(self.ground.chart)
        start, end = self.ground.faces.ravel(), np.roll(self.ground.faces, -1, axis=1).ravel()
        links = np.zeros((n, n))
        links[start, end] = links[end, start] = 1.0
        gap = np.diag(links.sum(axis=1)) - links
        # As little departure from the neighbours' mean as can be, not as little difference: the latter
        # would squeeze all of the move into one ring of faces round a tip.
        stiff = gap @ gap
        free, held = self._free, self._held
        along = np.linalg.solve(stiff[np.ix_(free, free)], -stiff[np.ix_(free, held)])
        return np.asarray(along, dtype=np.float64)

    @cached_property
    def _rings(self) -> list[tuple[Edge, IntArray, dict[tuple[int, int], FloatArray]]]:
        """Per edge its vertices, and how far they slide along with each slit's foot (i, 0) or end (i, 1)."""
        out = []
        for k, edge in enumerate(self.edges):
            ring = np.flatnonzero(self.edge == k)
            ends = []
            for i, slit in enumerate(self.slits):
                for end in (0, 1):
                    if (slit.edge, slit.into)[end] is edge:
                        mine = ring[(self.slit[ring] == i) & (self.share[ring] == end)]
                        ends.append(((i, end), mine[0]))
            stays = ring[self.corner[ring] & (self.slit[ring] < 0)]
            at = np.concatenate([self.place[[v for _, v in ends]], self.place[stays]])
            slides = {}
            for j, (name, _) in enumerate(ends):
                unit = (np.arange(len(at)) == j).astype(np.float64)
                slides[name] = np.interp(self.place[ring], at, unit, period=edge.length)
            out.append((edge, ring, slides))
        return out

    def _slid(self, new: Slit, i: int, end: int) -> float:
        """How far along its edge a slit's foot or end stands from where the mesh was made."""
        old = self.slits[i]
        edge = (old.edge, old.into)[end]
        assert edge is not None
        gone = new.start - old.start if end == 0 else edge.nearest(new.tip) - edge.nearest(old.tip)
        return float((gone + 0.5 * edge.length) % edge.length - 0.5 * edge.length)

    def moved(self, slits: tuple[Slit, ...]) -> FloatArray | None:
        """(n, 2) the chart moved along with the slits; None where its faces would suffer."""
        chart = self.ground.chart
        step = np.zeros_like(chart)
        for edge, ring, slides in self._rings:
            shift = np.zeros(len(ring))
            for (i, end), slide in slides.items():
                gone = self._slid(slits[i], i, end)
                if gone != 0.0 and self.corner[ring[np.argmax(slide)]]:
                    return None
                shift += gone * slide
            if shift.any():
                here = self.place[ring]
                step[ring] = edge.point(here + shift) - edge.point(here)
        for i, (old, new) in enumerate(zip(self.slits, slits, strict=True)):
            mine = np.flatnonzero((self.slit == i) & (self.edge < 0))
            step[mine] = new.at(self.share[mine]) - old.at(self.share[mine])
        step[self._free] = self._along @ step[self._held]
        out: FloatArray = chart + step
        f = self.ground.faces
        before, after = (
            np.stack([c[f[:, 1]] - c[f[:, 0]], c[f[:, 2]] - c[f[:, 0]]], axis=2) for c in (chart, out)
        )
        way = after @ np.linalg.inv(before)
        grown = np.linalg.det(way)
        sound = (grown > SHRUNK) & ((way**2).sum(axis=(1, 2)) < 2.0 * BENT * grown)
        return out if sound.all() else None

    def slopes(self, slits: tuple[Slit, ...], pull: FloatArray) -> FloatArray:
        """(s, 5) change with each slit's numbers of what changes by `pull` (n, 2) with the chart's places.

        The slits are those that the mesh has been moved to.
        """
        whole = np.zeros_like(pull)
        whole[self._held] = pull[self._held] + self._along.T @ pull[self._free]
        out = np.zeros((len(slits), Slit.SIZE))
        for i, slit in enumerate(slits):
            mine = np.flatnonzero((self.slit == i) & (self.edge < 0))
            out[i] = np.einsum("kni,ni->k", slit.slopes(self.share[mine]), whole[mine])
        for edge, ring, slides in self._rings:
            there = self.place[ring].copy()
            for (i, end), slide in slides.items():
                there += self._slid(slits[i], i, end) * slide
            step = 1e-6 * edge.length
            tangent = (edge.point(there + step) - edge.point(there - step)) / (2.0 * step)
            force = (whole[ring] * tangent).sum(axis=1)
            for (i, end), slide in slides.items():
                if self.corner[ring[np.argmax(slide)]]:
                    continue
                if end == 0:
                    out[i, 0] += force @ slide
                else:
                    out[i, 1:3] += (force @ slide) * tangent[np.argmax(slide)]
        return out
