"""Which faces a region may use: those that can be seen from outside."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.regions.edges import SLIVER, EdgeTable, body_table, label_parts

# Unseen faces in the middle of the skin belong to it up to this width, mm: the
# underside of a rivet or of a bead gets no light, but is no inside either.
SHADED = 1.0
# So do strips up to this width, mm, along the edge of a seen sheet, where they have it beside
# them over this share of their own edge: under eaves, behind a handrail. A sheet ends at
# edges of this angle.
OVERHUNG, ALONGSIDE, SHEET = 2.0, 0.2, np.radians(20.0)
# Ways to look from such a strip, beside its normal.
SLANTS = np.array([[0.0, 0.0, 0.0], [0.5, 0.3, -0.4], [-0.4, 0.5, 0.3]])


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
    lengths = body.side_lengths
    sliver = np.flatnonzero(2 * body.areas < SLIVER * lengths.max(axis=1))
    pair = table.pair[table.of_face[sliver, lengths[sliver].argmax(axis=1)]]
    other = np.where(pair[:, 0] == sliver, pair[:, 1], pair[:, 0])
    for _ in range(8 if len(sliver) else 0):
        mask[sliver] = np.where(other >= 0, mask[other], mask[sliver])
    mask |= _shaded(body, table, mask, lengths)
    return mask | _overhung(body, table, mask, lengths)


def _overhung(body: Body, table: EdgeTable, mask: BoolArray, lengths: FloatArray) -> BoolArray:
    """Unseen strips along the edge of a seen sheet that are not buried: what lies under eaves."""
    first, second = table.pair[:, 0], table.pair[:, 1]
    on_sheet = np.zeros(len(table.ends), dtype=bool)
    on_sheet[body.edges.pair_edge] = body.edge_angles < SHEET
    on_sheet &= first >= 0
    dark = label_parts(table, on_sheet & ~mask[first] & ~mask[second], ~mask)
    faces = np.flatnonzero(dark >= 0)
    result = np.zeros(len(mask), dtype=bool)
    if not len(faces):
        return result
    edge = table.of_face[faces]
    beside = on_sheet[edge] & mask[table.pair[edge]].any(axis=2)
    inner = on_sheet[edge] & ~beside
    label = dark[faces]
    seen_rim = np.bincount(label, weights=(lengths[faces] * beside).sum(axis=1))
    perimeter = np.bincount(label, weights=(lengths[faces] * ~inner).sum(axis=1))
    area = np.bincount(label, weights=body.areas[faces])
    narrow = (2 * area <= OVERHUNG * perimeter) & (seen_rim >= ALONGSIDE * perimeter)
    narrow &= area > 0
    faces, label = faces[narrow[label]], label[narrow[label]]
    buried = _buried(body, faces)
    weight = np.bincount(label, weights=body.areas[faces], minlength=len(area))
    deep = np.bincount(label, weights=body.areas[faces] * buried, minlength=len(area))
    result[faces] = (deep < 0.5 * weight)[label]
    return result


def _buried(body: Body, faces: IntArray) -> BoolArray:
    """Faces from which one looks at other faces from behind: they lie inside another part."""
    normals = body.normals[faces]
    start = body.corners[faces].mean(axis=1) + 1e-5 * body.rays.reach * normals
    votes = np.zeros(len(faces), dtype=np.int64)
    for slant in SLANTS:
        way = normals + slant
        hit = body.rays.first(start, way)
        votes += (hit.face >= 0) & (np.einsum("ij,ij->i", body.normals[hit.face], way) > 0)
    return 2 * votes > len(SLANTS)


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
