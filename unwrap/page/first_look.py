"""A region at a glance, while the exact one is still being grown.

The exact region is carried over details, kept off hidden parts and cut at its trims; on a
large body that takes longer than a click should. The glance floods over gentle edges from
face to face, whole faces only, over a table that is made once for a body.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from unwrap.body.body import Body, BoolArray, IntArray
from unwrap.regions.edges import edge_angles, edge_table, steady_normals
from unwrap.regions.nearest import nearest_on_faces


class FirstLook:
    """A body's faces and how sharply they meet.

    Parameters
    ----------
    body : Body
        The body.
    outside : (m,) bool
        Its faces that are seen from outside.
    """

    def __init__(self, body: Body, outside: BoolArray) -> None:
        table = edge_table(body.faces, outside)
        angles = edge_angles(steady_normals(body.vertices, body.faces, table), table)
        inside = table.pair[:, 0] >= 0
        self._pairs = table.pair[inside].astype(np.int32)
        self._angles = angles[inside].astype(np.float32)
        self._body = body
        self._visible = np.flatnonzero(outside)
        self._middles = body.corners.mean(axis=1)

    def face_at(self, place: list[float]) -> int:
        """The visible face nearest to a place, mm."""
        index, _, _ = nearest_on_faces(self._body.corners[self._visible], np.array(place))
        return int(self._visible[index])

    def faces(self, start: int, crease: float, within: dict[str, tuple[float, float]]) -> IntArray:
        """Faces that hang together with one over edges gentler than the crease, middles inside the limits.

        Parameters
        ----------
        start : int
            The face to begin at.
        crease : float
            Degrees.
        within : mapping of "x", "y", "z" to (low, high)
            mm.
        """
        count = len(self._body.faces)
        pairs = self._pairs[self._angles < np.radians(crease)]
        graph = sp.coo_array(
            (np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count)
        )
        _, label = connected_components(graph, directed=False)
        kept = label == label[start]
        for axis, (low, high) in within.items():
            middle = self._middles[:, "xyz".index(axis)]
            kept &= (middle >= low) & (middle <= high)
        return np.flatnonzero(kept)
