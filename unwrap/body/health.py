"""The health of a body's mesh: what is broken, where, and whether it matters there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.edges import closed_shells
from unwrap.body.sky import sample_faces
from unwrap.body.soup import counts
from unwrap.body.triangles import lengths, longest
from unwrap.body.winding import shell_volumes

# A face lower than this share of its longest side is a sliver.
SLIVER = 1e-4
# An edge is taken to pierce a face only when the place is this far inside the edge, as a
# share of the body's diagonal: parts that merely touch do not run into each other.
TOUCHING = 1e-4
# A region is covered with places to measure from, at most so many.
MOST_PLACES = 400_000
# Two defects' places are said apart when they are farther from each other, as a share of the diagonal.
APART = 0.05


@dataclass(frozen=True, eq=False)
class Health:
    """What is sound and what is broken in a mesh. Places are (k, 3) float64, mm.

    Parameters
    ----------
    open_edges : (k, 3) float64
        Middles of edges with one face: a hole, or the rim of a sheet without thickness.
    branching_edges : (k, 3) float64
        Middles of edges with more than two faces.
    unlike_edges : (k, 3) float64
        Middles of edges whose two faces wind differently.
    slivers : (k, 3) float64
        Middles of faces with next to no area.
    crossings : (k, 3) float64
        Where an edge pierces a face: parts pushed into each other, or a body that runs
        into itself.
    shells : int
        Pieces that hang together by their edges.
    inside_out : int
        Closed pieces of negative volume (a hidden hollow is one rightly).
    diagonal : float
        The body's, mm.
    repairs : tuple of str
        What reading mended.
    """

    open_edges: FloatArray
    branching_edges: FloatArray
    unlike_edges: FloatArray
    slivers: FloatArray
    crossings: FloatArray
    shells: int
    inside_out: int
    diagonal: float
    repairs: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Closed, nowhere branching, wound alike."""
        return not (len(self.open_edges) or len(self.branching_edges) or len(self.unlike_edges))

    def near(self, corners: FloatArray, reach: float = 0.5) -> Health:
        """Only what lies within about `reach` mm of some faces: the flaws that matter to a region.

        Parameters
        ----------
        corners : (m, 3, 3) float64
            Corner positions of the region's faces, mm.
        reach : float
            mm.

        Returns
        -------
        Health
            Without repairs, pieces and slivers, which concern the whole body or nobody.
        """
        a, b, c = np.moveaxis(corners, 1, 0)
        areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
        number = int(min(4 * areas.sum() / reach**2, MOST_PLACES))
        _, places = sample_faces(corners, areas, number, most=MOST_PLACES)
        tree = cKDTree(np.concatenate([places, corners.reshape(-1, 3)]))

        def close(flaws: FloatArray) -> FloatArray:
            distance, _ = tree.query(flaws, distance_upper_bound=reach)
            return flaws[np.isfinite(distance)]

        return replace(
            self,
            open_edges=close(self.open_edges),
            branching_edges=close(self.branching_edges),
            unlike_edges=close(self.unlike_edges),
            slivers=self.slivers[:0],
            crossings=close(self.crossings),
            repairs=(),
        )

    def flaws(self) -> list[str]:
        """One phrase for each sort of flaw: how many and where."""
        said = []
        for places, one, many in (
            (self.open_edges, "open edge (a hole or a bare rim)", "open edges (holes or bare rims)"),
            (
                self.branching_edges,
                "edge where more than two faces meet",
                "edges where more than two faces meet",
            ),
            (self.unlike_edges, "edge whose faces wind differently", "edges whose faces wind differently"),
            (
                self.crossings,
                "place where faces run into each other",
                "places where faces run into each other",
            ),
            (self.slivers, "sliver", "slivers"),
        ):
            if len(places):
                number = counts(len(places), "").strip(" s") if len(places) > 1 else "1"
                said.append(f"{number} {one if len(places) == 1 else many}: {self._where(places)}")
        return said

    def lines(self) -> list[str]:
        """Sentences for a modeller: what is broken and where, the pieces, what was mended."""
        said = self.flaws()
        if self.sound:
            said.insert(0, "closed and wound alike")
        said.append(
            "in one piece" if self.shells == 1 else f"in {counts(self.shells, 'piece')} not joined by edges"
        )
        if self.inside_out:
            said.append(
                f"{counts(self.inside_out, 'closed piece')} inside out (a hidden hollow is so rightly)"
            )
        said += [f"mended: {repair}" for repair in self.repairs]
        return said

    def _where(self, places: FloatArray, most: int = 3) -> str:
        """The largest gatherings of places, at most three of them."""
        tree = cKDTree(places[:: max(1, len(places) // 2000)])
        left = np.ones(tree.n, dtype=bool)
        said: list[str] = []
        while left.any() and len(said) < most:
            first = int(np.argmax(left))
            group = tree.query_ball_point(tree.data[first], APART * self.diagonal)
            left[group] = False
            x, y, z = tree.data[first]
            said.append(f"({x:.1f}, {y:.1f}, {z:.1f})")
        return f"at {' and '.join(said)}" + (" and elsewhere" if left.any() else "")


def check_health(body: Body, bare: Body | None = None) -> Health:
    """Look a body's mesh over.

    Parameters
    ----------
    body : Body
    bare : Body, optional
        The same surface with fewer faces, where faces that run into each other are found sooner.

    Returns
    -------
    Health
    """
    edges = body.edges
    sliver = 2 * body.areas < SLIVER * longest(body.side_lengths) ** 2

    def middles(chosen: IntArray) -> FloatArray:
        return body.vertices[edges.ends[chosen]].mean(axis=1)

    return Health(
        open_edges=middles(np.flatnonzero(edges.number == 1)),
        branching_edges=middles(np.flatnonzero(edges.number > 2)),
        unlike_edges=middles(edges.pair_edge[~edges.agree]),
        slivers=body.corners[sliver].mean(axis=1),
        crossings=_crossings(body if bare is None else bare),
        shells=body.shells[0],
        inside_out=_inside_out(body),
        diagonal=float(np.linalg.norm(body.size)),
        repairs=body.repairs,
    )


def _inside_out(body: Body) -> int:
    return int((closed_shells(body.edges, *body.shells) & (shell_volumes(body) < 0)).sum())


def _crossings(body: Body) -> FloatArray:
    """Places where an edge pierces a face that it does not end on."""
    rays, edges = body.rays, body.edges
    start = body.vertices[edges.ends[:, 0]]
    step = body.vertices[edges.ends[:, 1]] - start
    length = lengths(step)
    gap = TOUCHING * rays.reach
    long = np.flatnonzero(length > 4 * gap)
    start, step, length = start[long], step[long], length[long]
    step /= length[:, None]
    start += gap * step
    hit = rays.first_within(start, step, length - 2 * gap)
    found = np.flatnonzero(hit.face >= 0)
    if len(found) == 0:
        return np.zeros((0, 3))
    own = (body.faces[hit.face[found]][:, :, None] == edges.ends[long[found]][:, None, :]).any(axis=(1, 2))
    # An edge that lies in a face is no crossing.
    steep = np.abs(np.einsum("kd,kd->k", body.normals[hit.face[found]], step[found])) > 0.02
    found = found[~own & steep]
    return start[found] + hit.distance[found, None] * step[found]
