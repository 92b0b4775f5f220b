"""Meshes whose geometry is known in closed form, for the tests of every room.

Every maker returns `(vertices (n, 3) float64, faces (m, 3) int64)`: a patch with its
faces counter-clockwise seen from outside, in mm. Irregular ones take a `seed`.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import Delaunay


def disc_points(count, seed=0):
    """About `count` scattered points of the unit disc, an even ring of them on its edge."""
    rng = np.random.default_rng(seed)
    rim = max(8, round(1.9 * np.sqrt(np.pi * count)))
    k = np.arange(max(count - rim, 1)) + 0.5
    radius = np.sqrt(k / len(k)) * (1.0 - 0.8 * np.pi / rim)
    angle = k * np.pi * (3.0 - np.sqrt(5.0))
    inner = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    inner += rng.normal(0.0, 0.18 / np.sqrt(count), inner.shape)
    norm = np.linalg.norm(inner, axis=1)
    most = 1.0 - 1.2 * np.pi / rim
    inner *= np.minimum(1.0, most / np.maximum(norm, 1e-12))[:, None]
    turn = 2.0 * np.pi * np.arange(rim) / rim
    return np.vstack([np.column_stack([np.cos(turn), np.sin(turn)]), inner])


def triangulated(points):
    """Delaunay triangles of plane points, counter-clockwise, without flat ones on the hull."""
    faces = Delaunay(points).simplices.astype(np.int64)
    a, b, c = (points[faces[:, k]] for k in range(3))
    u, v = b - a, c - a
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    faces[area < 0] = faces[area < 0][:, [0, 2, 1]]
    return faces[np.abs(area) > 1e-9 * np.abs(area).max()]


def cap(radius=50.0, degrees=60.0, count=2000, seed=0):
    """Irregular spherical cap of angular radius `degrees` round the pole +z."""
    p = disc_points(count, seed)
    faces = triangulated(p)
    rho = np.linalg.norm(p, axis=1)
    c = rho * np.radians(degrees)
    side = np.where(rho > 0, np.sin(c) / np.maximum(rho, 1e-300), 1.0)
    return radius * np.column_stack([p * side[:, None], np.cos(c)]), faces


def spheroid(a=50.0, c=30.0, degrees=60.0, count=2000, seed=0):
    """The cap of a spheroid, equatorial half-axis `a`, polar half-axis `c`, up to `degrees` from the pole."""
    v, faces = cap(1.0, degrees, count, seed)
    return v * np.array([a, a, c]), faces


def sheet(width, height, count=2000, seed=0, jitter=0.3):
    """Irregular flat rectangle from (0, 0) to (width, height) as `(points (n, 2), faces)`."""
    rng = np.random.default_rng(seed)
    step = np.sqrt(width * height / count)
    nx, ny = max(2, round(width / step)), max(2, round(height / step))
    x, y = np.meshgrid(np.linspace(0, width, nx + 1), np.linspace(0, height, ny + 1), indexing="ij")
    shake = jitter * np.array([width / nx, height / ny]) * rng.uniform(-1, 1, (nx + 1, ny + 1, 2))
    shake[[0, -1], :, 0] = 0.0
    shake[:, [0, -1], 1] = 0.0
    p = np.stack([x, y], axis=-1) + shake
    p = p.reshape(-1, 2)
    return p, triangulated(p)


def mapped(points, faces, place):
    """Plane points carried into space by `place(u, v) -> (x, y, z)`."""
    return np.column_stack(place(points[:, 0], points[:, 1])).astype(float), faces


def without(vertices, faces, middles, radii):
    """The mesh without the faces whose middle lies within `radii` of `middles`; unused vertices go."""
    centre = vertices[faces].mean(axis=1)
    keep = np.ones(len(faces), dtype=bool)
    for middle, radius in zip(np.atleast_2d(middles), np.atleast_1d(radii), strict=True):
        keep &= np.linalg.norm(centre - middle, axis=1) > radius
    return compact(vertices, faces[keep])


def compact(vertices, faces):
    """The mesh without unused vertices."""
    used, inverse = np.unique(faces, return_inverse=True)
    return vertices[used], inverse.reshape(-1, 3).astype(np.int64)


def cylinder(radius=20.0, degrees=180.0, length=60.0, count=1500, seed=0):
    """Irregular part of a cylinder about x; the facets are chords, so only nearly developable."""
    p, faces = sheet(radius * np.radians(degrees), length, count, seed)
    return mapped(p, faces, lambda u, v: (v, -radius * np.cos(u / radius), radius * np.sin(u / radius)))


def torus(big=40.0, small=15.0, u=(0.0, 90.0), v=(-90.0, 90.0), count=2000, seed=0):
    """Torus patch: `u` round the axis z, `v` round the tube (0 = outermost), degrees."""
    (u1, u2), (v1, v2) = np.radians(u), np.radians(v)
    p, faces = sheet((u2 - u1) * big, (v2 - v1) * small, count, seed)

    def place(x, y):
        a, b = u1 + x / big, v1 + y / small
        ring = big + small * np.cos(b)
        return ring * np.cos(a), ring * np.sin(a), small * np.sin(b)

    return mapped(p, faces, place)


def saddle(size=60.0, depth=15.0, count=2000, seed=0):
    """z = depth (x^2 - y^2) / (size/2)^2 over a square of side `size`."""
    p, faces = sheet(size, size, count, seed)
    half = size / 2.0

    def place(x, y):
        x, y = x - half, y - half
        return x, y, depth * (x * x - y * y) / half**2

    return mapped(p, faces, place)


def barrel_end(radius=20.0, length=15.0, bulge=8.0, count=2500, seed=0):
    """A dished end: a straight barrel wall of `length` that turns over a bead into a shallow dome."""
    p = disc_points(count, seed)
    faces = triangulated(p)
    rho = np.linalg.norm(p, axis=1)
    bead = 0.3 * radius
    dome_angle = 2.0 * np.arctan2(bulge - bead * 0.5, radius - bead)
    # Profile: dome arc to `dome_angle`, a bead that turns on to 90 degrees, then straight.
    dome_radius = (radius - bead) / np.sin(dome_angle) + 0.0
    dome_radius = (radius - bead + bead * np.sin(dome_angle)) / np.sin(dome_angle)
    parts = np.array([dome_radius * dome_angle, bead * (np.pi / 2 - dome_angle), length])
    s = rho * parts.sum()
    a = np.clip(s / dome_radius, 0, dome_angle)
    b = dome_angle + np.clip((s - parts[0]) / bead, 0, np.pi / 2 - dome_angle)
    down = np.clip(s - parts[0] - parts[1], 0, None)
    r = dome_radius * np.sin(a) + bead * (np.sin(b) - np.sin(dome_angle))
    z = dome_radius * np.cos(a) + bead * (np.cos(b) - np.cos(dome_angle)) - down
    side = r / np.maximum(rho, 1e-300)
    return np.column_stack([p * side[:, None], z]), faces


def nose(width=30.0, height=24.0, length=35.0, power=2.5, count=3000, seed=0):
    """Superellipsoid nose |x/l|^n + |y/w|^n + |z/h|^n = 1, x > 0, as a disc round its tip."""
    p = disc_points(count, seed)
    faces = triangulated(p)
    rho = np.linalg.norm(p, axis=1)
    c = rho * np.radians(88.0)
    side = np.where(rho > 0, np.sin(c) / np.maximum(rho, 1e-300), 1.0)
    ray = np.column_stack([np.cos(c), p * side[:, None]])
    scale = np.array([length, width / 2.0, height / 2.0])
    reach = (np.abs(ray / (scale / scale.min())) ** power).sum(axis=1) ** (-1.0 / power)
    return ray * reach[:, None] * scale.min(), faces


def ruled(rail_one, rail_two, across=1):
    """Strip between two polylines of equal length, `across` rows; exactly the given corners.

    Triangles (i, i+1) alternate along the strip; developable as a faceted surface when
    `across` is 1, or when every quad is flat.
    """
    one, two = np.asarray(rail_one, float), np.asarray(rail_two, float)
    n = len(one)
    t = np.linspace(0.0, 1.0, across + 1)
    v = (one[None] * (1 - t)[:, None, None] + two[None] * t[:, None, None]).reshape(-1, 3)
    k, i = np.meshgrid(np.arange(across), np.arange(n - 1), indexing="ij")
    a = (k * n + i).ravel()
    quads = np.column_stack([a, a + 1, a + n + 1, a + n])
    return v, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int64)


def folded(points, faces, bends):
    """A plane mesh bent along lines x = const that are edges of it: exactly developable.

    Parameters
    ----------
    points : (n, 2)
    faces : (m, 3)
        No face crosses a bend.
    bends : sequence of (x, degrees)
        Bends upwards, in rising x.
    """
    x, y = points[:, 0], points[:, 1]
    lines = np.array([b[0] for b in bends])
    turns = np.cumsum(np.radians([b[1] for b in bends]))
    starts = np.concatenate([[min(x.min(), lines.min())], lines])
    angle = np.concatenate([[0.0], turns])
    step = np.diff(np.concatenate([starts, [x.max()]]))
    corner = np.vstack(
        [[0.0, 0.0], np.cumsum(np.column_stack([step * np.cos(angle), step * np.sin(angle)]), axis=0)]
    )
    part = np.clip(np.searchsorted(lines, x, side="right"), 0, len(lines))
    along = x - starts[part]
    px = corner[part, 0] + along * np.cos(angle[part])
    pz = corner[part, 1] + along * np.sin(angle[part])
    return np.column_stack([px, y, pz]), faces


def bent_sheet(width, height, bends, count=1500, seed=0, jitter=0.3):
    """Irregular rectangle with exact bends: wraps of flats, faceted cylinders.

    Between neighbouring bends lies a strip with scattered points of its own; the bend lines carry
    uneven points. `bends` as in `folded`. Returns `(vertices, faces, flat points)`.
    """
    rng = np.random.default_rng(seed)
    lines = np.array([0.0, *[b[0] for b in bends], width])
    step = np.sqrt(width * height / count)
    ny = max(2, round(height / step))
    columns = []
    for x in lines:
        y = np.linspace(0, height, ny + 1)
        y[1:-1] += jitter * height / ny * rng.uniform(-1, 1, ny - 1)
        columns.append(np.column_stack([np.full(ny + 1, x), y]))
    points, faces, offset = [], [], 0
    index = []
    for c in columns:
        index.append(np.arange(offset, offset + len(c)))
        points.append(c)
        offset += len(c)
    for k in range(len(lines) - 1):
        a, b = lines[k], lines[k + 1]
        nx = round((b - a) / step) - 1
        inner = np.zeros((0, 2))
        if nx > 0:
            gx = np.linspace(a, b, nx + 2)[1:-1]
            gy = np.linspace(0, height, ny + 1)
            inner = np.stack(np.meshgrid(gx, gy, indexing="ij"), axis=-1)
            shake = jitter * rng.uniform(-1, 1, inner.shape) * [(b - a) / (nx + 1), height / ny]
            shake[:, [0, -1], 1] = 0.0
            inner = (inner + shake).reshape(-1, 2)
        ids = np.concatenate([index[k], index[k + 1], np.arange(offset, offset + len(inner))])
        local = np.vstack([columns[k], columns[k + 1], inner])
        faces.append(ids[triangulated(local)])
        points.append(inner)
        offset += len(inner)
    flat = np.vstack(points)
    used, inverse = np.unique(np.vstack(faces), return_inverse=True)
    flat = flat[used]
    joined = inverse.reshape(-1, 3).astype(np.int64)
    return *folded(flat, joined, bends), flat
