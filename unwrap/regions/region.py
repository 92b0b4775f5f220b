"""A region: the part of the outside that one piece of decal covers."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from unwrap.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Detail:
    """Something on a region too small to shape the film, and carried over.

    Parameters
    ----------
    kind : str
        "rivet", "bead", "groove", "edging", "hole" or "other".
    at : (3,) tuple of float
        Its middle on the bridged surface, mm.
    height : float
        How far it stands proud of the bridged surface (negative: sunk), mm.
    width : float
        Its largest extent across the surface, mm.
    profile : float
        Length of its profile over its chord: what the film over it would have to
        stretch by to follow it, 1.0 = nothing.
    course : (k, 3) float64
        Where a long one runs: its footprint's edge on the bridged surface, mm. Empty for round ones.
    """

    kind: str
    at: tuple[float, float, float]
    height: float
    width: float
    profile: float = 1.0
    course: FloatArray = field(default_factory=lambda: np.zeros((0, 3)), compare=False, repr=False)


@dataclass(frozen=True, eq=False)
class Region:
    """A part of the body's outside, with its details still on it.

    Trimming cuts triangles where a limit passes through them, so a region carries
    vertices of its own instead of a mask over the body.

    Parameters
    ----------
    name : str
        The job's name for it.
    vertices : (n, 3) float64
        Corner positions on the body, mm.
    faces : (m, 3) int64
        Triangles, counter-clockwise seen from outside.
    body_face : (m,) int64
        The body's face that each triangle is (a part of).
    detail : (m,) int64 or None
        The detail that a triangle belongs to, numbered from 0; -1 for the ground that
        the details stand on. None: all of it is ground.
    spanned : tuple of Detail
        What was carried over already, from edge to edge, without faces of its own.
    """

    name: str
    vertices: FloatArray
    faces: IntArray
    body_face: IntArray
    detail: IntArray | None = None
    spanned: tuple[Detail, ...] = ()


@dataclass(frozen=True, eq=False)
class Joint:
    """Where two edges of one patch meet on the model.

    Parameters
    ----------
    first, second : (k,) int64
        Patch vertices along the two edges, in step: `vertices[first]` and
        `vertices[second]` are the same places.
    """

    first: IntArray
    second: IntArray


@dataclass(frozen=True, eq=False)
class Patch:
    """A region made ready to flatten: one clean, connected, oriented surface.

    Details are carried over, openings are cut or covered as the job says, and a
    region that closes on itself is opened along a joint, so that every patch has
    at least one edge and no handle. No vertex is unused; no face is repeated.

    Parameters
    ----------
    name : str
        The region's name.
    vertices : (n, 3) float64
        Positions on the (bridged) surface, mm. Both edges of a joint have vertices
        of their own at the same places.
    faces : (m, 3) int64
        Triangles, counter-clockwise seen from outside.
    joints : tuple of Joint
        The joints along which the region was opened.
    details : tuple of Detail
        What was carried over.
    holes : (h, 4) float64
        Small holes that were covered: x, y, z and diameter, mm; pierced at the bench.
    mirror_of : str or None
        The region that this one reflects.
    """

    name: str
    vertices: FloatArray
    faces: IntArray
    joints: tuple[Joint, ...] = ()
    details: tuple[Detail, ...] = ()
    holes: FloatArray = field(default_factory=lambda: np.zeros((0, 4)))
    mirror_of: str | None = None
