"""Find the smooth surfaces on a body's outside and give each a letter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.regions.continued import continued_parts
from unwrap.regions.nearest import inner_point, nearest_on_faces
from unwrap.regions.shape import Kind, name_shape
from unwrap.regions.skin import outside_mask
from unwrap.regions.smooth import smooth_parts

# Why 36 degrees: a quarter-round corner drawn with three facets has edges of 30
# degrees, a 45 degree chamfer and a conical rivet head have edges of 45. Between
# them lies 37.5; the default stands just below, so that a mesh's own noise has room
# on both sides.
CREASE = 36.0

# Parts smaller than this share of the outside's area (a rivet, the edge of a step)
# are not worth a letter.
SMALLEST_SHARE = 4e-4


@dataclass(frozen=True, eq=False)
class Surface:
    """A smooth part of the outside.

    Parameters
    ----------
    letter : str
        "A" for the largest, then "B", ...; after "Z" comes "AA".
    kind : str
        "flat", "cylinder", "cone", "domed" or "free".
    faces : (k,) int64
        The body's faces on it.
    area : float
        mm^2.
    at : (3,) tuple of float
        A point on it to name it by in a job, mm.
    normal : (3,) tuple of float
        Mean outward direction; zero where it faces all ways.
    axis : (3,) tuple of float or None
        Direction of a cylinder's or cone's axis.
    centre : (3,) tuple of float or None
        A point on that axis (a cone's apex), mm.
    radius : float or None
        A cylinder's radius or a cone's mean radius, mm.
    """

    letter: str
    kind: Kind
    faces: IntArray
    area: float
    at: tuple[float, float, float]
    normal: tuple[float, float, float]
    axis: tuple[float, float, float] | None = None
    centre: tuple[float, float, float] | None = None
    radius: float | None = None


def find_surfaces(
    body: Body,
    outside: BoolArray | None = None,
    *,
    crease: float = CREASE,
    bridge: float = 0.0,
    smallest: float | None = None,
) -> tuple[Surface, ...]:
    """Find the smooth surfaces of a body's outside.

    Parameters
    ----------
    body : Body
        The shell.
    outside : (m,) bool, optional
        Faces that can be seen from outside; found by rays when not given.
    crease : float
        A surface ends at edges at least this sharp, degrees.
    bridge : float
        Parts that continue one another across details up to this width (mm) are one
        surface: a barrel between its bands.
    smallest : float, optional
        Leave out surfaces with less area than this, mm^2; by default a small share
        of the outside's area.

    Returns
    -------
    tuple of Surface
        Largest first.
    """
    outside = outside_mask(body, outside)
    smooth = smooth_parts(body, outside, crease)
    part = smooth.part
    if part.max(initial=-1) < 0:
        return ()
    seen = part >= 0
    if bridge > 0:
        part = np.where(seen, continued_parts(smooth, bridge)[part], -1)
    count = int(part.max()) + 1
    area = np.bincount(part[seen], weights=body.areas[seen], minlength=count).astype(np.float64)
    least = SMALLEST_SHARE * area.sum() if smallest is None else smallest
    turn = _gaussian_curvature(body, part, count)
    order = _largest_first(body, part, area)
    order = order[area[order] >= least]
    by_part = np.argsort(part, kind="stable")
    bounds = np.searchsorted(part[by_part], np.arange(count + 1))
    found: list[Surface] = []
    for number in order:
        faces = by_part[bounds[number] : bounds[number + 1]]
        corners, areas = body.corners[faces], body.areas[faces]
        shape = name_shape(corners, body.normals[faces], areas, float(turn[number]))
        _, at = inner_point(corners, areas)
        found.append(
            Surface(
                letter=surface_letter(len(found)),
                kind=shape.kind,
                faces=np.sort(faces),
                area=float(area[number]),
                at=(float(at[0]), float(at[1]), float(at[2])),
                normal=shape.normal,
                axis=shape.axis,
                centre=shape.centre,
                radius=shape.radius,
            )
        )
    return tuple(found)


def surface_letter(index: int) -> str:
    """Letter of the surface at a place in the list.

    Examples
    --------
    >>> [surface_letter(index) for index in (0, 25, 26, 51, 52, 702)]
    ['A', 'Z', 'AA', 'AZ', 'BA', 'AAA']
    """
    letters = ""
    index += 1
    while index:
        index, digit = divmod(index - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def nearest_surface(
    body: Body, surfaces: tuple[Surface, ...], point: FloatArray
) -> tuple[Surface, FloatArray, float]:
    """The surface nearest to a point, the nearest place on it and its distance, mm."""
    faces = np.concatenate([surface.faces for surface in surfaces])
    owner = np.repeat(np.arange(len(surfaces)), [len(surface.faces) for surface in surfaces])
    index, at, distance = nearest_on_faces(body.corners[faces], point)
    return surfaces[owner[index]], at, distance


def _largest_first(body: Body, part: IntArray, area: FloatArray) -> IntArray:
    """Parts by falling area; equal ones (the two sides of a body) left, front and top first."""
    seen = part >= 0
    middle = body.corners[seen].mean(axis=1)
    weight = body.areas[seen]
    place = [
        np.bincount(part[seen], weights=weight * middle[:, k], minlength=len(area)) / np.maximum(area, 1e-300)
        for k in range(3)
    ]
    # areas that differ by rounding alone must not change letters between exports
    level = np.round(np.log(np.maximum(area, 1e-300)) * 1e4)
    x, y, z = (np.round(column, 2) for column in place)
    return np.lexsort((-z, -x, -y, -level))


def _gaussian_curvature(body: Body, part: IntArray, count: int) -> FloatArray:
    """Total angle defect at the vertices that lie wholly inside each part, steradians."""
    seen = np.flatnonzero(part >= 0)
    corners = body.corners[seen]
    angles = np.empty((len(seen), 3))
    for k in range(3):
        first = corners[:, (k + 1) % 3] - corners[:, k]
        second = corners[:, (k + 2) % 3] - corners[:, k]
        angles[:, k] = np.arctan2(2 * body.areas[seen], np.einsum("ij,ij->i", first, second))
    vertex = body.faces[seen].ravel()
    label = np.repeat(part[seen], 3)
    size = len(body.vertices)
    lowest = np.full(size, count)
    highest = np.full(size, -1)
    np.minimum.at(lowest, vertex, label)
    np.maximum.at(highest, vertex, label)
    sums = np.bincount(vertex, weights=angles.ravel(), minlength=size)
    inside = (lowest == highest) & (highest >= 0) & ~_on_open_edge(body, part, size)
    defect = np.bincount(highest[inside], weights=2 * np.pi - sums[inside], minlength=count)
    return defect.astype(np.float64)


def _on_open_edge(body: Body, part: IntArray, size: int) -> BoolArray:
    """Vertices at an edge that has only one visible face."""
    of_seen = body.edges.of_face[part >= 0]
    single = np.bincount(of_seen.ravel(), minlength=len(body.edges.ends)) == 1
    result = np.zeros(size, dtype=bool)
    result[body.edges.ends[single]] = True
    return result
