"""A region at a glance, while the exact one is still being grown.

The exact region is carried over details, kept off hidden parts and cut at its trims; on a
large body that takes longer than a click should. The glance floods over gentle edges from
face to face, whole faces only, over a table that is made once for a body.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import BoolArray, IntArray
from unwrap.body.body import Body
from unwrap.regions.edges import edge_angles, edge_table, steady_normals
from unwrap.regions.nearest import nearest_on_faces

# Floods that are kept: a slider that goes back and forth meets the same ones again.
MOST_KEPT = 12


class FirstLook:
    """A body's faces and how sharply they meet.

    Parameters
    ----------
    body : Body
        The body.
    """

    def __init__(self, body: Body) -> None:
        table = edge_table(body.faces)
        angles = edge_angles(steady_normals(body.vertices, body.faces, table), table)
        inside = table.pair[:, 0] >= 0
        self._pairs = table.pair[inside].astype(np.int32)
        self._angles = angles[inside].astype(np.float32)
        self._body = body
        self._middles = body.corners.mean(axis=1)
        self._parts: dict[float, IntArray] = {}

    def face_at(self, place: Sequence[float], outside: BoolArray | None = None) -> int:
        """The face nearest to a place, mm; one that is seen from outside where those are known."""
        visible = None if outside is None else np.flatnonzero(outside)
        corners = self._body.corners if visible is None else self._body.corners[visible]
        index, _, _ = nearest_on_faces(corners, np.array(place))
        return index if visible is None else int(visible[index])

    def faces(
        self,
        starts: Sequence[int],
        crease: float,
        within: dict[str, tuple[float, float]],
        outside: BoolArray | None = None,
    ) -> IntArray:
        """Faces that hang together with some over edges gentler than the crease.

        Parameters
        ----------
        starts : sequence of int
            The faces to begin at.
        crease : float
            Degrees.
        within : mapping of "x", "y", "z" to (low, high)
            Limits for the middles of the faces, mm.
        outside : (m,) bool, optional
            The faces to keep to.
        """
        part = self.parts(crease)
        kept = np.isin(part, part[list(starts)]) if len(starts) > 1 else part == part[starts[0]]
        if outside is not None:
            kept &= outside
        for axis, (low, high) in within.items():
            middle = self._middles[:, "xyz".index(axis)]
            kept &= (middle >= low) & (middle <= high)
        return np.flatnonzero(kept)

    def parts(self, crease: float) -> IntArray:
        """(m,) the number of the smooth part that each face belongs to."""
        found = self._parts.get(crease)
        if found is None:
            pairs, count = self._pairs[self._angles < np.radians(crease)], len(self._body.faces)
            joined = sp.coo_array((np.ones(len(pairs), dtype=bool), pairs.T), shape=(count, count))
            _, labels = connected_components(joined, directed=False)
            found = labels.astype(np.int64)
            if len(self._parts) >= MOST_KEPT:
                self._parts.pop(next(iter(self._parts)))
            self._parts[crease] = found
        return found
