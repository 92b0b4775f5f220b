"""Which faces a region may use: those that can be seen from outside."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np

from unwrap.body.body import Body, BoolArray, FloatArray
from unwrap.regions.edges import SLIVER, EdgeTable, body_table, label_parts

# Unseen faces in the middle of the skin belong to it up to this width, mm: the
# underside of a rivet or of a bead gets no light, but is no inside either.
SHADED = 1.0


def outside_mask(body: Body, outside: BoolArray | None = None) -> BoolArray:
    """The given mask, checked, or the faces found visible from outside.

    Slivers are too thin for any ray to meet; they go with the neighbour over their
    longest edge, because without them the skin would fall apart along that edge. What
    is narrow and has the skin all round it (the underside of a rivet) goes with it too.

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
    kept = _kept.setdefault(body, {})
    key = np.packbits(mask).tobytes()
    if key not in kept:
        kept[key] = _mended(body, mask)
    return kept[key]


# Every region of a job asks with the same mask; the answer is kept as long as the body is.
_kept: WeakKeyDictionary[Body, dict[bytes, BoolArray]] = WeakKeyDictionary()


def _mended(body: Body, mask: BoolArray) -> BoolArray:
    table = body_table(body)
    lengths = np.linalg.norm(np.roll(body.corners, -1, axis=1) - body.corners, axis=2)
    sliver = np.flatnonzero(2 * body.areas < SLIVER * lengths.max(axis=1))
    pair = table.pair[table.of_face[sliver, lengths[sliver].argmax(axis=1)]]
    other = np.where(pair[:, 0] == sliver, pair[:, 1], pair[:, 0])
    for _ in range(8 if len(sliver) else 0):
        mask[sliver] = np.where(other >= 0, mask[other], mask[sliver])
    return mask | _shaded(body, table, mask, lengths)


def _shaded(body: Body, table: EdgeTable, mask: BoolArray, lengths: FloatArray) -> BoolArray:
    """Unseen faces that are narrow and have seen ones all round."""
    first, second = table.pair[:, 0], table.pair[:, 1]
    dark = label_parts(table, (first >= 0) & ~mask[first] & ~mask[second], ~mask)
    faces = np.flatnonzero(dark >= 0)
    if not len(faces):
        return np.zeros(len(mask), dtype=bool)
    edge = table.of_face[faces]
    rim = mask[table.pair[edge]].any(axis=2) & (table.pair[edge, 0] >= 0)
    open_edge = table.pair[edge, 0] < 0
    label = dark[faces]
    perimeter = np.bincount(label, weights=(lengths[faces] * rim).sum(axis=1))
    lost = np.bincount(label, weights=(lengths[faces] * open_edge).sum(axis=1))
    area = np.bincount(label, weights=body.areas[faces])
    good = (lost == 0) & (2 * area <= SHADED * perimeter)
    result = np.zeros(len(mask), dtype=bool)
    result[faces] = good[label]
    return result
