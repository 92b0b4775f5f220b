"""Patches whose flat pieces are known exactly: flats, barrels, cones and caps of a sphere."""

from itertools import pairwise

import mapbox_earcut
import numpy as np
import shapely

from unwrap import Film
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.carry import Carry
from unwrap.regions.region import Joint, Patch


def grid(nx, ny, skip=None):
    """Parameters (n, 2) in [0, 1]^2 and faces of a grid; cells for which skip(x, y) holds are left out."""
    x, y = np.meshgrid(np.linspace(0, 1, nx + 1), np.linspace(0, 1, ny + 1), indexing="ij")
    at = np.column_stack([x.ravel(), y.ravel()])
    faces = []
    for i in range(nx):
        for j in range(ny):
            if skip is not None and skip((i + 0.5) / nx, (j + 0.5) / ny):
                continue
            a, b = i * (ny + 1) + j, (i + 1) * (ny + 1) + j
            if (i + j) % 2:
                faces += [[a, b, b + 1], [a, b + 1, a + 1]]
            else:
                faces += [[a, b, a + 1], [b, b + 1, a + 1]]
    return at, np.array(faces)


def film_stretch(surface, points, faces):
    """(m, 2) principal film stretches, larger first."""
    out = []
    for tri in faces:
        a, b, c = surface[tri]
        x = (b - a) / np.linalg.norm(b - a)
        y = np.cross(np.cross(b - a, c - a), b - a)
        y /= np.linalg.norm(y)
        on_body = np.array([[(b - a) @ x, (c - a) @ x], [(b - a) @ y, (c - a) @ y]])
        on_sheet = np.column_stack([points[tri[1]] - points[tri[0]], points[tri[2]] - points[tri[0]]])
        out.append(np.sort(np.linalg.svd(on_body @ np.linalg.inv(on_sheet), compute_uv=False))[::-1])
    return np.array(out)


def make_carry(surface, points, faces, name="side", joints=()):
    """A carry whose flat piece is the patch itself, vertex by vertex."""
    used = np.unique(faces)
    number = np.full(len(surface), -1)
    number[used] = np.arange(len(used))
    surface, points, faces = surface[used], points[used], number[faces]
    joints = tuple(Joint(number[j.first], number[j.second]) for j in joints)
    patch = Patch(name, surface, faces, joints=joints)
    flat = FlatPiece(
        points,
        faces,
        np.arange(len(surface)),
        surface,
        np.arange(len(faces)),
        film_stretch(surface, points, faces),
        Film.set(),
    )
    return Carry(patch, flat)


def flat_side(width=60.0, height=25.0, nx=12, ny=5, skip=None, name="side"):
    """The right side of a box: x to the front is to the right as seen, z up."""
    at, faces = grid(nx, ny, skip)
    points = at * [width, height]
    surface = np.column_stack([points[:, 0], np.zeros(len(points)), points[:, 1]])
    return make_carry(surface, points, faces, name)


def barrel(radius=12.0, length=50.0, round_=48, along=10, name="boiler"):
    """A barrel along x, all round, with its joint underneath; true to its facets."""
    at, faces = grid(along, round_)
    turn = -np.pi / 2 + 2 * np.pi * at[:, 1]
    # Seen from outside with x to the right, going round by -turn is upwards on the near side.
    surface = np.column_stack([length * at[:, 0], -radius * np.cos(turn), radius * np.sin(turn)])
    surface[:, 1] = np.round(surface[:, 1], 12)
    girth = round_ * 2 * radius * np.sin(np.pi / round_)
    points = at * [length, girth]
    column = np.arange(along + 1) * (round_ + 1)
    joint = Joint(column, column + round_)
    surface[joint.second] = surface[joint.first]
    return make_carry(surface, points, faces, name, (joint,))


def cap(radius=20.0, half_angle=0.6, rings=24, name="dome"):
    """A cap of a sphere about +z, laid flat with true distances from its pole."""
    points, faces = [[0.0, 0.0]], []
    start = [0]
    for ring in range(1, rings + 1):
        start.append(len(points))
        angle = 2 * np.pi * np.arange(6 * ring) / (6 * ring)
        points += (
            half_angle * radius * ring / rings * np.column_stack([np.cos(angle), np.sin(angle)])
        ).tolist()
    for ring in range(1, rings + 1):
        inner, outer = max(6 * (ring - 1), 1), 6 * ring
        for sector in range(6):
            for i in range(ring):
                a = start[ring] + (sector * ring + i) % outer
                b = start[ring] + (sector * ring + i + 1) % outer
                c = start[ring - 1] + (sector * (ring - 1) + i) % inner
                faces.append([a, b, c])
                if i < ring - 1:
                    d = start[ring - 1] + (sector * (ring - 1) + i + 1) % inner
                    faces.append([b, d, c])
    points = np.array(points)
    rho = np.linalg.norm(points, axis=1)
    c = rho / radius
    direction = points / np.maximum(rho, 1e-300)[:, None]
    surface = np.column_stack([radius * np.sin(c)[:, None] * direction, radius * np.cos(c)])
    return make_carry(surface, points, np.array(faces), name)


def bent_panel(outline, radius, strip=0.5, name="side"):
    """A flat outline (x along, y up) laid round a barrel along x, in strips so narrow that they lie on it."""
    _, low, _, high = outline.bounds
    lines = np.linspace(low, high, int(np.ceil((high - low) / strip)) + 1)
    number, faces = {}, []
    for below, above in pairwise(lines):
        band = shapely.intersection(outline, shapely.box(-1e3, below, 1e3, above))
        for part in shapely.get_parts(band):
            if part.geom_type != "Polygon":
                continue
            part = shapely.geometry.polygon.orient(part)
            rings = [np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
            ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
            corners = np.round(np.concatenate(rings), 9)
            own = [number.setdefault(tuple(corner), len(number)) for corner in corners.tolist()]
            for a, b, c in mapbox_earcut.triangulate_float64(corners, ends).reshape(-1, 3):
                u, v = corners[b] - corners[a], corners[c] - corners[a]
                turn = u[0] * v[1] - u[1] * v[0]
                if abs(turn) > 1e-12:
                    faces.append([own[a], own[b], own[c]] if turn > 0 else [own[a], own[c], own[b]])
    points = np.array(list(number))
    turn = points[:, 1] / radius
    surface = np.column_stack([points[:, 0], -radius * np.cos(turn), radius * np.sin(turn)])
    return make_carry(surface, points, np.array(faces), name)


def slit_cap(radius=6.0, half_angle=0.9, rings=14, tip=5, gape=0.12):
    """A cap with a slit along y = 0 from the rim to ring `tip`, its lips spread by `gape` of their length."""
    whole = cap(radius, half_angle, rings)
    points, faces = whole.flat.points, whole.flat.faces.copy()
    rho, turn = np.hypot(*points.T), np.arctan2(points[:, 1], points[:, 0])
    end = half_angle * radius * tip / rings
    lip = np.flatnonzero((np.abs(turn) < 1e-9) & (rho > end + 1e-9))
    twin = np.full(len(points), -1)
    twin[lip] = len(points) + np.arange(len(lip))
    below = points[faces].mean(axis=1)[:, 1] < 0
    faces[below] = np.where(twin[faces[below]] >= 0, twin[faces[below]], faces[below])
    vertex = np.concatenate([np.arange(len(points)), lip])
    side = np.where(turn >= 0, 1.0, -1.0) * (1.0 - np.abs(turn) / np.pi)
    side = np.concatenate([side, np.full(len(lip), -1.0)])[:, None]
    open_ = gape * np.maximum(rho - end, 0.0)[vertex][:, None] * side
    spread = points[vertex] + open_ * np.column_stack([-np.sin(turn), np.cos(turn)])[vertex]
    surface = whole.flat.surface[vertex]
    flat = FlatPiece(
        spread,
        faces,
        vertex,
        surface,
        np.arange(len(faces)),
        film_stretch(surface, spread, faces),
        Film.set(),
    )
    return Carry(whole.patch, flat)
