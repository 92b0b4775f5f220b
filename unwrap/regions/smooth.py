"""The smooth parts of a body's outside, found once and used for every region."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.regions.edges import EdgeTable, edge_angles, edge_table, label_parts, steady_normals


@dataclass(frozen=True, eq=False)
class Smooth:
    """A mesh in its smooth parts.

    Parameters
    ----------
    vertices, faces : arrays
        The whole mesh, mm.
    used : (m,) bool
        Faces that take part.
    table : EdgeTable
        Their edges.
    normals : (m, 3) float64
        Steady unit normals.
    areas : (m,) float64
        mm^2.
    angles : (e,) float64
        Angle at each edge, radians; infinite where no two faces meet.
    sharp : (e,) bool
        Edges that part one smooth part from another.
    part : (m,) int64
        Part per face, -1 for faces that take no part.
    """

    vertices: FloatArray
    faces: IntArray
    used: BoolArray
    table: EdgeTable
    normals: FloatArray
    areas: FloatArray
    angles: FloatArray
    sharp: BoolArray
    part: IntArray


# Ten regions on one body ask for the same parts; they are kept as long as the body is.
_kept: WeakKeyDictionary[Body, dict[tuple[float, bytes], Smooth]] = WeakKeyDictionary()


def smooth_parts(body: Body, used: BoolArray, crease: float) -> Smooth:
    """Part the faces in use at edges of `crease` degrees or more.

    Parameters
    ----------
    body : Body
        The shell.
    used : (m,) bool
        The outside skin.
    crease : float
        Degrees.
    """
    kept = _kept.setdefault(body, {})
    key = (float(crease), np.packbits(used).tobytes())
    if key not in kept:
        kept[key] = _part_at_creases(body, used, crease)
    return kept[key]


def _part_at_creases(body: Body, used: BoolArray, crease: float) -> Smooth:
    table = edge_table(body.faces, used)
    normals = steady_normals(body.vertices, body.faces, table)
    angles = edge_angles(normals, table)
    sharp = ~(angles < np.radians(crease))
    part = label_parts(table, ~sharp, used)
    return Smooth(body.vertices, body.faces, used, table, normals, body.areas, angles, sharp, part)
