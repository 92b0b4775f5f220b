"""The health of a body's mesh: what is broken, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.body.body import Body, FloatArray
from unwrap.body.edges import find_edges, find_shells
from unwrap.body.soup import counts

# A face thinner than this share of its longest side is a sliver.
SLIVER = 1e-4


@dataclass(frozen=True, eq=False)
class Health:
    """What is sound and what is broken in a mesh.

    Parameters
    ----------
    open_edges, branching_edges, unlike_edges : (k, 3) float64
        Middles of edges with one face, with more than two, and with two that wind
        differently, mm.
    slivers : (k, 3) float64
        Middles of faces with next to no area, mm.
    shells : int
        Pieces that hang together by their edges.
    repairs : tuple of str
        What reading mended.
    """

    open_edges: FloatArray
    branching_edges: FloatArray
    unlike_edges: FloatArray
    slivers: FloatArray
    shells: int
    repairs: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Closed, nowhere branching, wound alike."""
        return not (len(self.open_edges) or len(self.branching_edges) or len(self.unlike_edges))

    def lines(self) -> list[str]:
        """Sentences for a modeller, worst first."""
        said = []
        for places, one, many in (
            (self.open_edges, "open edge", "open edges"),
            (
                self.branching_edges,
                "edge where more than two faces meet",
                "edges where more than two faces meet",
            ),
            (self.unlike_edges, "edge whose faces wind differently", "edges whose faces wind differently"),
            (self.slivers, "sliver", "slivers"),
        ):
            if len(places):
                x, y, z = places[0]
                what = one if len(places) == 1 else many
                said.append(f"{len(places)} {what}, the first at ({x:.1f}, {y:.1f}, {z:.1f})")
        if not said:
            said.append("closed and sound")
        said.append(
            "one piece" if self.shells == 1 else f"{counts(self.shells, 'piece')} not joined by edges"
        )
        said += [f"mended: {repair}" for repair in self.repairs]
        return said


def check_health(body: Body) -> Health:
    """Look a body's mesh over.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Health
    """
    edges = find_edges(body.faces)
    middle = body.vertices[edges.ends].mean(axis=1)
    a, b, c = np.moveaxis(body.corners, 1, 0)
    longest = np.max([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    sliver = 2 * body.areas < SLIVER * longest**2
    shells, _ = find_shells(len(body.faces), edges.pairs)
    return Health(
        open_edges=middle[edges.number == 1],
        branching_edges=middle[edges.number > 2],
        unlike_edges=middle[edges.pair_edge[~edges.agree]],
        slivers=body.corners[sliver].mean(axis=1),
        shells=shells,
        repairs=body.repairs,
    )
