"""Solids that the sample bodies are built from.

Everything is in mm in the body's frame: +x front, +y left, +z up. Polygons are lists of
(n, 2) points, counter-clockwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from manifold3d import CrossSection, FillRule, Manifold, Mesh64, OpType

Polygon = Sequence[tuple[float, float]]


def union(parts: Iterable[Manifold]) -> Manifold:
    return Manifold.batch_boolean(list(parts), OpType.Add)


def flat_shape(*polygons: Polygon) -> CrossSection:
    return CrossSection([np.asarray(polygon, dtype=float) for polygon in polygons], FillRule.EvenOdd)


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Manifold:
    size = (x[1] - x[0], y[1] - y[0], z[1] - z[0])
    return Manifold.cube(size).translate((x[0], y[0], z[0]))


def along_x(profile: Polygon | CrossSection, x: tuple[float, float]) -> Manifold:
    """A (y, z) profile drawn out from x[0] to x[1]."""
    solid = Manifold.extrude(_section(profile), x[1] - x[0])
    return solid.transform(np.array([[0, 0, 1, x[0]], [1, 0, 0, 0], [0, 1, 0, 0]], dtype=float))


def along_y(profile: Polygon | CrossSection, y: tuple[float, float]) -> Manifold:
    """An (x, z) profile drawn out from y[0] to y[1]."""
    solid = Manifold.extrude(_section(profile), y[1] - y[0])
    return solid.transform(np.array([[1, 0, 0, 0], [0, 0, -1, y[1]], [0, 1, 0, 0]], dtype=float))


def along_z(profile: Polygon | CrossSection, z: tuple[float, float]) -> Manifold:
    """An (x, y) profile drawn out from z[0] to z[1]."""
    return Manifold.extrude(_section(profile), z[1] - z[0]).translate((0.0, 0.0, z[0]))


def _section(profile: Polygon | CrossSection) -> CrossSection:
    return profile if isinstance(profile, CrossSection) else flat_shape(profile)


def barrel(x: tuple[float, float], z: float, radius: float, segments: int = 96) -> Manifold:
    """A cylinder along x about the body's middle plane."""
    angle = np.arange(segments) * 2 * np.pi / segments
    return along_x(np.column_stack([radius * np.cos(angle), z + radius * np.sin(angle)]).tolist(), x)


def turned(profile: Polygon, x: float, y: float, z: float, segments: int = 64) -> Manifold:
    """An (r, height) profile turned about an upright axis that stands at (x, y, z)."""
    return Manifold.revolve(flat_shape(profile), segments).translate((x, y, z))


def turned_along_x(profile: Polygon, x: float, z: float, segments: int = 64) -> Manifold:
    """An (r, distance to the front) profile turned about a lengthwise axis through (x, 0, z)."""
    solid = Manifold.revolve(flat_shape(profile), segments)
    return solid.transform(np.array([[0, 0, 1, x], [1, 0, 0, 0], [0, 1, 0, z]], dtype=float))


def seated(solid: Manifold, top: float, centre: float, radius: float, reach: float) -> Manifold:
    """Bend the foot of an upright turned part so that it sits on a barrel along x.

    Heights up to `reach` above the barrel's crown at `top` sink with the barrel's
    side (circle of `radius` about z = `centre`), fading out smoothly upwards.
    """

    def sink(points: np.ndarray) -> np.ndarray:
        moved = np.array(points, dtype=float)
        side = centre + np.sqrt(np.maximum(radius**2 - moved[:, 1] ** 2, 0.0)) - top
        share = np.clip(1.0 - (moved[:, 2] - top) / reach, 0.0, 1.0)
        moved[:, 2] += side * share * share * (3.0 - 2.0 * share)
        return moved

    return solid.warp_batch(sink)


def rounded(corners: Sequence[tuple[float, float, float]], segments: int = 12) -> list[tuple[float, float]]:
    """A polygon with its corners rounded; each corner is (x, y, radius), 0 for a sharp one."""
    points = []
    count = len(corners)
    for i, (x, y, radius) in enumerate(corners):
        here = np.array([x, y])
        if radius == 0:
            points.append((x, y))
            continue
        before = np.array(corners[i - 1][:2]) - here
        after = np.array(corners[(i + 1) % count][:2]) - here
        before, after = before / np.linalg.norm(before), after / np.linalg.norm(after)
        half = 0.5 * np.arccos(np.clip(before @ after, -1, 1))
        middle = here + (before + after) / np.linalg.norm(before + after) * radius / np.sin(half)
        start, end = (
            here + before * radius / np.tan(half) - middle,
            here + after * radius / np.tan(half) - middle,
        )
        first = np.arctan2(start[1], start[0])
        turn = (np.arctan2(end[1], end[0]) - first + np.pi) % (2 * np.pi) - np.pi
        for share in np.linspace(0.0, 1.0, segments + 1):
            angle = first + turn * share
            points.append((middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)))
    return [(float(a), float(b)) for a, b in points]


def rectangle(
    a: tuple[float, float],
    b: tuple[float, float],
    lower: float,
    upper: float | None = None,
    segments: int = 12,
) -> list[tuple[float, float]]:
    """A rectangle over the spans a and b, with the radius of its lower and of its upper corners."""
    upper = lower if upper is None else upper
    corners = [(a[0], b[0], lower), (a[1], b[0], lower), (a[1], b[1], upper), (a[0], b[1], upper)]
    return rounded(corners)


def arc(
    centre: tuple[float, float], radius: float, first: float, last: float, segments: int = 24
) -> list[tuple[float, float]]:
    """Points of an arc; angles in degrees, anticlockwise from the first axis."""
    angle = np.radians(np.linspace(first, last, segments + 1))
    return list(zip(centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), strict=True))


def studs(places: np.ndarray, directions: np.ndarray, width: float = 0.7, height: float = 0.25) -> Manifold:
    """Rivet heads: shallow buttons at (n, 3) places, standing up along (n, 3) unit directions."""
    radius = width / 2
    profile = [(0.0, -0.3), (radius, -0.3), (radius, 0.05), (radius * 0.72, height * 0.72), (0.0, height)]
    head = Manifold.revolve(flat_shape(profile), 10)
    return union(_stood_up(head, place, way) for place, way in zip(places, directions, strict=True))


def drilled(places: np.ndarray, directions: np.ndarray, width: float = 0.6, depth: float = 1.6) -> Manifold:
    """The material that a drill takes out at (n, 3) places, going in against (n, 3) unit directions."""
    bit = Manifold.cylinder(depth + 0.6, width / 2, width / 2, 16).translate((0, 0, -depth))
    return union(_stood_up(bit, place, way) for place, way in zip(places, directions, strict=True))


def _stood_up(solid: Manifold, place: np.ndarray, way: np.ndarray) -> Manifold:
    way = np.asarray(way, dtype=float) / np.linalg.norm(way)
    aside = np.cross(way, (1.0, 0.0, 0.0) if abs(way[0]) < 0.9 else (0.0, 0.0, 1.0))
    aside /= np.linalg.norm(aside)
    return solid.transform(np.column_stack([aside, np.cross(way, aside), way, place]))


def along_outline(outline: Polygon, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Places every `step` mm along an open (n, 2) outline, and the unit directions to its right."""
    points = np.asarray(outline, dtype=float)
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    count = max(round(length[-1] / step), 1)
    stations = (np.arange(count) + 0.5) * length[-1] / count
    places = np.column_stack([np.interp(stations, length, points[:, k]) for k in (0, 1)])
    leg = np.clip(np.searchsorted(length, stations) - 1, 0, len(points) - 2)
    run = points[leg + 1] - points[leg]
    run /= np.linalg.norm(run, axis=1, keepdims=True)
    return places, np.column_stack([run[:, 1], -run[:, 0]])


def both_sides(solid: Manifold) -> Manifold:
    """The solid and its reflection across the body's middle plane."""
    return union([solid, solid.mirror((0.0, 1.0, 0.0))])


def lofted(rings: np.ndarray) -> Manifold:
    """A closed skin over (r, k, 3) rings; the first and the last ring are filled with fans.

    Rings run anticlockwise as seen from the last one.
    """
    count, around = rings.shape[:2]
    vertices = np.concatenate([rings.reshape(-1, 3), rings[[0, -1]].mean(axis=1)])
    near = np.arange(around)
    far = np.roll(near, -1)
    faces = []
    for row in range(count - 1):
        low, high = row * around, (row + 1) * around
        faces += [np.column_stack([low + near, low + far, high + far])]
        faces += [np.column_stack([low + near, high + far, high + near])]
    last = (count - 1) * around
    first_pole, last_pole = np.full(around, count * around), np.full(around, count * around + 1)
    faces += [np.column_stack([first_pole, far, near]), np.column_stack([last_pole, last + near, last + far])]
    return Manifold(Mesh64(vertices, np.concatenate(faces).astype(np.uint64)))


def rounded_block(corners: Sequence[tuple[float, float, float, float]], segments: int = 48) -> Manifold:
    """The hull of balls at (x, y, z, radius), each set in from its corner by the caller."""
    return Manifold.batch_hull(
        [Manifold.sphere(radius, segments).translate((x, y, z)) for x, y, z, radius in corners]
    )
