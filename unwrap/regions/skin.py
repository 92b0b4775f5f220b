"""Which faces a region may use: those that can be seen from outside."""

from __future__ import annotations

import numpy as np

from unwrap.body.body import Body, BoolArray
from unwrap.regions.edges import SLIVER, edge_table


def outside_mask(body: Body, outside: BoolArray | None = None) -> BoolArray:
    """The given mask, checked, or the faces found visible from outside.

    Slivers are too thin for any ray to meet; they go with the neighbour over their
    longest edge, because without them the skin would fall apart along that edge.

    Parameters
    ----------
    body : Body
        The shell.
    outside : (m,) bool, optional
        A mask that was found before; rays are cast only when it is missing.

    Returns
    -------
    (m,) bool
        True for faces that are seen from outside.
    """
    if outside is None:
        from unwrap.body.skin import outside_faces

        outside = outside_faces(body)
    mask = np.array(outside, dtype=bool)
    if mask.shape != (len(body.faces),):
        raise ValueError(f"outside has shape {mask.shape}, not one value for each of {len(body.faces)} faces")
    lengths = np.linalg.norm(np.roll(body.corners, -1, axis=1) - body.corners, axis=2)
    sliver = np.flatnonzero(2 * body.areas < SLIVER * lengths.max(axis=1))
    if len(sliver):
        table = edge_table(body.faces)
        pair = table.pair[table.of_face[sliver, lengths[sliver].argmax(axis=1)]]
        other = np.where(pair[:, 0] == sliver, pair[:, 1], pair[:, 0])
        for _ in range(8):
            mask[sliver] = np.where(other >= 0, mask[other], mask[sliver])
    return mask
