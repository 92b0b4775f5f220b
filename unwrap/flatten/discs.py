"""Round discs on a flat shape of a patch, and what they are on the surface: their reach, edge and girth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.laid_back import LaidBack
from unwrap.flatten.metric import cross, metric_of
from unwrap.flatten.overlap import overlaps, signed_area

RINGS = 160  # rings that a disc is divided into for the radial integrals
SLABS = 360  # and sectors, for the girth
SAMPLE = 6000  # faces that an estimate looks at


@dataclass(frozen=True, eq=False)
class Rings:
    """What lies round a place on the sheet, ring by ring out to the outer outline.

    Parameters
    ----------
    room : float
        Distance on the sheet from the place to the outer outline.
    out : (RINGS + 1,) float64
        No way on the surface from the place to the circle of radius room * k / RINGS is shorter than
        out[k], crossing an opening being no length at all.
    near : (k,) int64
        The faces that meet the disc.
    corners : (k, 3, 2) float64
        Their corners as seen from the place.
    least, most : (k,) float64
        How near to the place each of them comes, and how far from it.
    home : (k,) bool
        True for the face that the place lies on.
    first, last : (k,) int64
        The rings that each of them meets.
    """

    room: float
    out: FloatArray
    near: IntArray
    corners: FloatArray
    least: FloatArray
    most: FloatArray
    home: np.ndarray
    first: IntArray
    last: IntArray

    def out_to(self, radius: FloatArray | float) -> FloatArray:
        """No way from the place to the circle of a radius on the sheet is shorter than this."""
        return np.asarray(np.interp(radius, np.linspace(0.0, self.room, RINGS + 1), self.out))


class Discs:
    """A patch with a flat shape, ready to be asked about round discs.

    Parameters
    ----------
    vertices : (n, 3) float64
    faces : (m, 3) int64
    points : (n, 2) float64
        Flat shape without flipped faces.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray, points: FloatArray) -> None:
        self.vertices = vertices
        self.points = points
        self.faces = faces
        metric = metric_of(vertices, faces)
        self.overlap = overlaps(points, faces, touches=0.0)
        loops = boundary_loops(faces)
        self.outline = points[loops.pop(int(np.argmax([signed_area(points[loop]) for loop in loops])))]
        self.openings = [points[loop] for loop in loops]
        self.girths = [
            float(np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1).sum())
            for loop in loops
        ]
        # Where the outline touches itself by a rounding, what it surrounds is still ground.
        self._inner = shapely.make_valid(shapely.polygons(self.outline))
        self._rim = shapely.linearrings(self.outline)
        shapely.prepare(self._inner)
        # Per face the metric pulled to the sheet: a step w there is sqrt(w . G w) long on the surface.
        f = metric.faces
        one, two = points[f[:, 1]] - points[f[:, 0]], points[f[:, 2]] - points[f[:, 0]]
        double = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
        back = np.stack([np.stack([two[:, 1], -two[:, 0]]), np.stack([-one[:, 1], one[:, 0]])]) / double
        x = metric.base * back[0] + metric.foot * back[1]
        y = metric.height * back[1]
        self.gram = np.stack(
            [x[0] * x[0] + y[0] * y[0], x[0] * x[1] + y[0] * y[1], x[1] * x[1] + y[1] * y[1]]
        )
        determinant = (metric.base * metric.height / double) ** 2
        # The flat coordinate along a direction e grows on the surface by up to sqrt(e . inv(G) e).
        self.inverse = np.stack([self.gram[2], -self.gram[1], self.gram[0]]) / determinant
        self.sheet_areas = 0.5 * double
        self.middles = points[faces].mean(axis=1)
        self.laid_back = LaidBack(points[faces], self.gram)
        self._tree = cKDTree(self.middles)
        rng = np.random.default_rng(0)
        count = len(faces)
        self._sample = np.arange(count) if count <= SAMPLE else rng.choice(count, SAMPLE, replace=False)
        self.spacing = float(np.sqrt(self.sheet_areas.sum() / 48.0))

    def centres(self, count: int) -> FloatArray:
        """(k, 2) places spread over the sheet, the one farthest from the outline among them."""
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        found = []
        step = float(np.sqrt(self.sheet_areas.sum() / count))
        grid = np.stack(
            np.meshgrid(*(np.arange(a + 0.5 * step, b, step) for a, b in zip(low, high, strict=True))),
            axis=-1,
        ).reshape(-1, 2)
        if len(grid):
            gap, at = self._tree.query(grid)
            found.append(grid[gap < np.sqrt(self.sheet_areas[at])])
        reach = cKDTree(self.outline).query(self.middles)[0]
        found.append(self.middles[[int(np.argmax(reach))]])
        found.append(np.average(self.middles, axis=0, weights=self.sheet_areas)[None])
        return np.concatenate(found)

    def room(self, start: FloatArray, end: FloatArray | None = None) -> float:
        """Distance on the sheet from a place, or from a segment, to the outer outline; 0 outside."""
        what = shapely.points(start) if end is None else shapely.linestrings(np.stack([start, end]))
        if not shapely.contains(self._inner, what):
            return 0.0
        return float(shapely.distance(what, self._rim))

    def chord(self, place: FloatArray, way: FloatArray) -> FloatArray:
        """(2, 2) ends of the straight run on the sheet through a place inside the outer outline."""
        far = 2.0 * float(np.linalg.norm(np.ptp(self.outline, axis=0)))
        line = shapely.linestrings(np.stack([place - far * way, place + far * way]))
        runs = shapely.get_parts(shapely.intersection(self._inner, line))
        nearest = runs[int(np.argmin(shapely.distance(runs, shapely.points(place))))]
        return shapely.get_coordinates(nearest)[[0, -1]]

    def whole(self, start: FloatArray, end: FloatArray, radius: float) -> bool:
        """True if no opening lies within a radius of the segment between two places."""
        what = shapely.linestrings(np.stack([start, end]))
        return all(shapely.distance(what, shapely.polygons(opening)) > radius for opening in self.openings)

    def blocked(self, centre: FloatArray) -> list[tuple[float, float]]:
        """The ranges of distance from a place that openings lie in."""
        ranges = []
        for opening in self.openings:
            least = float(_gap(centre, opening, np.roll(opening, -1, axis=0)).min())
            if shapely.contains_xy(shapely.polygons(opening), *centre):
                least = 0.0
            ranges.append((least, float(np.linalg.norm(opening - centre, axis=1).max())))
        return ranges

    def guess(self, centre: FloatArray) -> float:
        """Estimate of what the discs round a place will prove, from some of the faces."""
        room = self.room(centre)
        if room <= 0.0:
            return 0.0
        s = self._sample
        offset = self.middles[s] - centre
        distance = np.hypot(*offset.T)
        near = (distance < room) & (distance > 0.0)
        if near.sum() < 50:
            return 0.0
        e = offset[near] / distance[near, None]
        g = self.gram[:, s[near]]
        across = np.sqrt(np.abs(g[0] * e[:, 1] ** 2 - 2 * g[1] * e[:, 0] * e[:, 1] + g[2] * e[:, 0] ** 2))
        i = self.inverse[:, s[near]]
        along = np.sqrt(np.abs(i[0] * e[:, 0] ** 2 + 2 * i[1] * e[:, 0] * e[:, 1] + i[2] * e[:, 1] ** 2))
        rings = 12
        ring = np.minimum((distance[near] / room * rings).astype(int), rings - 1)
        weight = self.sheet_areas[s[near]]
        total = np.maximum(np.bincount(ring, weight, rings), 1e-300)
        radius = (
            np.cumsum(total / np.maximum(np.bincount(ring, weight * along, rings), 1e-300)) * room / rings
        )
        ratio = np.bincount(ring, weight * across, rings) / total
        t = (np.arange(rings) + 0.5) * room / rings
        halfway = radius - 0.5 * np.diff(np.concatenate([[0.0], radius]))
        edge = ratio * t  # per radian
        full = np.bincount(ring, minlength=rings) >= 4
        domes = np.where(full, halfway / np.maximum(edge, 1e-300), 0.0)
        flares = np.where(full, np.minimum(radius[-1] / halfway, edge / halfway), 0.0)
        return float(max(domes[2:].max(), flares[4:].max()))

    def on_surface(self, place: FloatArray) -> FloatArray:
        """(3,) where a place on the sheet lies on the surface; on the nearest face if it is off the sheet."""
        _, near = self._tree.query(place, k=min(12, len(self.faces)))
        face, shares = self._face_at(place, np.atleast_1d(near))
        if shares.min() < -1e-9:  # the middle of a long face is far from most of it
            face, shares = self._face_at(place, np.arange(len(self.faces)))
        return np.clip(shares, 0.0, 1.0) @ self.vertices[self.faces[face]]

    def _face_at(self, place: FloatArray, faces: IntArray) -> tuple[int, FloatArray]:
        """Of some faces the one that a place lies on or is nearest to, and its shares in the corners."""
        a, b, c = (self.points[self.faces[faces, k]] for k in range(3))
        double = cross(b - a, c - a)
        shares = np.column_stack([cross(b - place, c - place), cross(c - place, a - place)]) / double[:, None]
        shares = np.column_stack([shares, 1.0 - shares.sum(axis=1)])
        best = int(np.argmax(shares.min(axis=1)))
        return int(faces[best]), shares[best]

    def rings(self, centre: FloatArray, room: float) -> Rings:
        """What lies round a place, out to `room`: no more than the distance to the outer outline."""
        corner = self.points - centre
        distance = np.hypot(*corner.T)
        corners = corner[self.faces]
        least = np.min([_gap(np.zeros(2), corners[:, k], corners[:, (k + 1) % 3]) for k in range(3)], axis=0)
        home = np.all([cross(corners[:, k], corners[:, (k + 1) % 3]) >= 0.0 for k in range(3)], axis=0)
        least[home] = 0.0
        near = np.flatnonzero(least < room)
        corners, least, home = corners[near], least[near], home[near]
        most = distance[self.faces[near]].max(axis=1)
        # Every ring takes the largest of the faces that it meets.
        first = np.clip((least * (1.0 - 1e-9) / room * RINGS).astype(int), 0, RINGS - 1)
        last = np.clip((most * (1.0 + 1e-9) / room * RINGS).astype(int), 0, RINGS - 1)
        largest_out = _largest(extreme(self.inverse[:, near], corners, home), first, last, RINGS)
        width = room / RINGS
        rings = width * np.arange(RINGS + 1)
        # Across an opening nothing is gained: the way could be no length at all.
        free = largest_out > 0.0
        for low, high in self.blocked(centre):
            free &= (rings[1:] <= low) | (rings[:-1] >= high)
        gain = np.divide(width, largest_out, out=np.zeros(RINGS), where=free)
        out = np.concatenate([[0.0], np.cumsum(gain)])
        return Rings(room, out, near, corners, least, most, home, first, last)

    def reach(self, rings: Rings, radius: FloatArray) -> FloatArray:
        """Radial segments of a length on the sheet, laid back on the surface, are no longer than this."""
        along = extreme(self.gram[:, rings.near], rings.corners, rings.home)
        largest = _largest(along, rings.first, rings.last, RINGS)
        steps = np.linspace(0.0, rings.room, RINGS + 1)
        return np.interp(radius, steps, np.concatenate([[0.0], np.cumsum(np.diff(steps) * largest)]))

    def girth(self, rings: Rings) -> Girth:
        """Ready to tell how short a closed line round a disc can be."""
        turned = np.stack([rings.corners[..., 1], -rings.corners[..., 0]], axis=-1)
        swing = extreme(self.inverse[:, rings.near], turned, rings.home)
        angles = np.arctan2(rings.corners[..., 1], rings.corners[..., 0])
        toward = np.arctan2(*rings.corners.mean(axis=1).T[::-1])
        seen = np.mod(angles - toward[:, None] + np.pi, 2.0 * np.pi) - np.pi
        low, high = toward + seen.min(axis=1), toward + seen.max(axis=1)
        wide = rings.home | (high - low > 3.0)
        low[wide], high[wide] = 0.0, 2.0 * np.pi * (1.0 - 0.5 / SLABS)
        slab = 2.0 * np.pi / SLABS
        first, last = np.floor(low / slab - 1e-9).astype(int), np.floor(high / slab + 1e-9).astype(int)
        return Girth(swing, first, last, rings.least, rings.most)


@dataclass(frozen=True, eq=False)
class Girth:
    """How fast the angle round a place can turn on each face, and the sectors that the face lies in.

    Parameters
    ----------
    swing : (k,) float64
        Times the distance from the place: the largest turn, in radians, of a step of length 1.
    first, last : (k,) int64
        Sectors, counted on through a full turn.
    least, most : (k,) float64
        As in `Rings`.
    """

    swing: FloatArray
    first: IntArray
    last: IntArray
    least: FloatArray
    most: FloatArray

    def beyond(self, radius: float) -> float:
        """No closed line on these faces round the disc of a radius on the sheet is shorter than this."""
        out = self.most > radius
        turn = self.swing[out] / np.maximum(self.least[out], radius)
        largest = _largest(turn, self.first[out], self.last[out], SLABS)
        return float((2.0 * np.pi / SLABS / np.maximum(largest, 1e-300)).sum()) if largest.all() else 0.0


def _largest(values: FloatArray, first: IntArray, last: IntArray, count: int) -> FloatArray:
    """(count,) the largest of the values whose run first..last (round and round) has each place."""
    found = np.zeros(count)
    for k in range(int((last - first).max(initial=-1)) + 1):
        np.maximum.at(found, np.mod(np.minimum(first + k, last), count), values)
    return found


def extreme(form: FloatArray, corners: FloatArray, home: np.ndarray) -> FloatArray:
    """Largest root of e . F e over the directions e in which a face is seen from the origin.

    Parameters
    ----------
    form : (3, m) float64
        Entries xx, xy, yy of F, positive definite.
    corners : (m, 3, 2) float64
    home : (m,) bool
        Faces that the origin lies on: seen in every direction.

    Returns
    -------
    (m,) float64
    """
    middle, swing = 0.5 * (form[0] + form[2]), np.hypot(0.5 * (form[0] - form[2]), form[1])
    top = 0.5 * np.arctan2(form[1], 0.5 * (form[0] - form[2]))
    value = np.full(len(corners), -1.0)
    angles = np.arctan2(corners[:, :, 1], corners[:, :, 0])
    toward = np.arctan2(*corners.mean(axis=1).T[::-1])
    seen = np.mod(angles - toward[:, None] + np.pi, 2.0 * np.pi) - np.pi
    low, high = seen.min(axis=1), seen.max(axis=1)
    for edge in (low, high):
        value = np.maximum(value, np.cos(2.0 * (toward + edge - top)))
    # The largest is reached where the direction `top`, or its opposite, is inside.
    turn = np.mod(top - toward - low, np.pi)
    value[(turn <= high - low) | home | (high - low > 3.0)] = 1.0
    # In needles the two may cancel: their rounding is added, so that the root is never too small.
    return np.sqrt(np.maximum(middle + swing * value, 0.0) + 1e-14 * middle)


def _gap(place: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Distance from a place to each segment."""
    along = end - start
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    t = np.clip(np.einsum("ij,ij->i", place - start, along) / square, 0.0, 1.0)
    return np.asarray(np.linalg.norm(start + t[:, None] * along - place, axis=1))
