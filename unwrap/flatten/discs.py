"""Regions of a patch that a flat shape carries onto round discs: their radius, edge and area."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops, interior_edges
from unwrap.flatten.metric import metric_of
from unwrap.flatten.overlap import overlaps, signed_area

RINGS = 160  # rings that a disc is divided into for the radial integrals
LEVELS = 16  # discs tried round each centre
SAMPLE = 6000  # faces that an estimate looks at


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
        self.points = points
        self.faces = faces
        metric = metric_of(vertices, faces)
        self.areas = metric.areas
        self.overlap = overlaps(points, faces, touches=0.0)
        loops = boundary_loops(faces)
        self.outline = points[loops.pop(int(np.argmax([signed_area(points[loop]) for loop in loops])))]
        self.openings = [points[loop] for loop in loops]
        self.girths = [
            float(np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1).sum())
            for loop in loops
        ]
        self._inner = shapely.polygons(self.outline)
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
        # Gradient on the surface of the flat distance: its square is e . inv(G) e along the radius e.
        self.inverse = np.stack([self.gram[2], -self.gram[1], self.gram[0]]) / determinant
        self.sheet_areas = 0.5 * double
        self.middles = points[faces].mean(axis=1)
        self.edges, self.pairs = interior_edges(faces)
        self._tree = cKDTree(self.middles)
        rng = np.random.default_rng(0)
        count = len(faces)
        self._sample = np.arange(count) if count <= SAMPLE else rng.choice(count, SAMPLE, replace=False)
        self._scale = self.areas.sum() / self.areas[self._sample].sum()
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

    def room(self, centre: FloatArray) -> float:
        """Distance on the sheet from a place to the outer outline; 0 outside."""
        if not shapely.contains_xy(self._inner, *centre):
            return 0.0
        return float(_gap(centre, self.outline, np.roll(self.outline, -1, axis=0)).min())

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
        """Estimate of `bound` from some of the faces."""
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
        full = np.bincount(ring, minlength=rings) >= 4
        halfway = radius - 0.5 * np.diff(np.concatenate([[0.0], radius]))
        domes = np.where(full, halfway / np.maximum(ratio * t, 1e-300), 0.0)
        reach = (
            np.cumsum(np.bincount(ring, weight * along / np.maximum(along**2, 1e-300), rings) / total)
            * room
            / rings
        )
        area = np.cumsum(np.bincount(ring, self.areas[s[near]], rings)) * self._scale
        flares = np.sqrt(area / np.pi) / np.maximum(reach, 1e-300)
        return float(max(domes[2:].max(), flares[4:].max()))

    def bound(self, centre: FloatArray) -> float:
        """Largest of the two bounds over the discs round a place."""
        room = self.room(centre) * (1.0 - 1e-9)
        if room <= 1e-6 * self.spacing:
            return 1.0
        corner = self.points - centre
        distance = np.hypot(*corner.T)
        faces = self.faces
        corners = corner[faces]
        least = np.min([_gap(np.zeros(2), corners[:, k], corners[:, (k + 1) % 3]) for k in range(3)], axis=0)
        home = np.all([_cross(corners[:, k], corners[:, (k + 1) % 3]) >= 0.0 for k in range(3)], axis=0)
        least[home] = 0.0
        near = np.flatnonzero(least < room)
        corners, least, home = corners[near], least[near], home[near]
        most = distance[faces[near]].max(axis=1)
        out = _extreme(self.inverse[:, near], corners, home)
        back = _extreme(self.gram[:, near], corners, home)
        # Every ring takes the largest of the faces that it meets.
        first = np.clip((least * (1.0 - 1e-9) / room * RINGS).astype(int), 0, RINGS - 1)
        last = np.clip((most * (1.0 + 1e-9) / room * RINGS).astype(int), 0, RINGS - 1)
        largest_out, largest_back = np.zeros(RINGS), np.zeros(RINGS)
        for k in range(int((last - first).max()) + 1):
            at = np.minimum(first + k, last)
            np.maximum.at(largest_out, at, out)
            np.maximum.at(largest_back, at, back)
        width = room / RINGS
        blocked = self.blocked(centre)
        rings = width * np.arange(RINGS + 1)
        # Across an opening nothing is gained: the way could be no length at all.
        free = np.ones(RINGS, dtype=bool)
        for low, high in blocked:
            free &= (rings[1:] <= low) | (rings[:-1] >= high)
        gain = np.divide(width, largest_out, out=np.zeros(RINGS), where=free & (largest_out > 0.0))
        radius = np.concatenate([[0.0], np.cumsum(gain)])
        reach = np.concatenate([[0.0], np.cumsum(width * largest_back)])
        whole = min([low for low, _ in blocked], default=np.inf)
        circles = Circles(self, corner, distance)
        best = 1.0
        for level in np.unique(np.linspace(RINGS / LEVELS, RINGS, LEVELS).astype(int)):
            t = level * width
            if any(low <= t <= high for low, high in blocked):
                continue
            length = circles.length(t)
            round_ = 2.0 * np.pi * radius[level] / length
            for (_, high), girth in zip(blocked, self.girths, strict=True):
                if high < t:
                    beyond = radius[level] - radius[int(np.ceil(high / width))]
                    round_ = min(round_, 2.0 * np.pi * beyond / girth)
            best = max(best, round_)
            if t >= whole:
                continue
            part = np.flatnonzero((most > t) & (least < t))
            # No need to cut the faces if even whole ones would not make the area large enough.
            if np.sqrt(self.areas[near[least < t]].sum() / np.pi) <= best * reach[level]:
                continue
            cut = sum(_sector(corners[part, k], corners[part, (k + 1) % 3], t) for k in range(3))
            inside = float(self.areas[near[most <= t]].sum())
            inside += float((self.areas[near[part]] * cut / self.sheet_areas[near[part]]).sum())
            best = max(best, np.sqrt(inside / np.pi) / reach[level])
        return float(best)


class Circles:
    """Round one centre: how long the circles on the sheet are on the surface.

    Parameters
    ----------
    discs : Discs
    corner : (n, 2) float64
        The points as seen from the centre.
    distance : (n,) float64
        Their distances from it.
    """

    def __init__(self, discs: Discs, corner: FloatArray, distance: FloatArray) -> None:
        self.gram, self.pairs = discs.gram, discs.pairs
        one, two = discs.edges.T
        self.start, self.step = corner[one], corner[two] - corner[one]
        self.square = np.einsum("ij,ij->i", self.step, self.step)
        self.mid = np.einsum("ij,ij->i", self.start, self.step) / self.square
        self.far = np.maximum(distance[one], distance[two])
        self.start_square = np.einsum("ij,ij->i", self.start, self.start)
        # Square of the distance of the whole line that the edge lies on: never more than its own.
        self.near = self.start_square - self.mid**2 * self.square

    def length(self, t: float) -> float:
        """Length on the surface of the circle of radius t, from above; inf where it cannot be had."""
        maybe = np.flatnonzero((self.far >= t) & (self.near < t * t))
        a, step, mid = self.start[maybe], self.step[maybe], self.mid[maybe]
        inside = mid**2 - (self.start_square[maybe] - t * t) / self.square[maybe]
        root = np.sqrt(np.maximum(inside, 0.0))
        angles, left, right = [], [], []
        for sign in (-1.0, 1.0):
            where = sign * root - mid
            hit = (inside > 0.0) & (where >= 0.0) & (where < 1.0)
            place = a[hit] + where[hit, None] * step[hit]
            # Counter-clockwise the circle goes from the right of an edge to its left where
            # the edge points outwards.
            outwards = np.einsum("ij,ij->i", place, step[hit]) > 0.0
            pair = self.pairs[maybe[hit]]
            angles.append(np.arctan2(place[:, 1], place[:, 0]))
            left.append(np.where(outwards, pair[:, 0], pair[:, 1]))
            right.append(np.where(outwards, pair[:, 1], pair[:, 0]))
        angle, into, out_of = (np.concatenate(x) for x in (angles, left, right))
        if len(angle) == 0:
            return np.inf
        order = np.argsort(angle)
        angle, into, out_of = angle[order], into[order], out_of[order]
        if (into != np.roll(out_of, -1)).any():
            # The circle runs through a vertex, or along an edge: rounding mixes the order up.
            into = np.where(into == np.roll(out_of, -1), into, -1)
        turn = np.diff(np.concatenate([angle, [angle[0] + 2.0 * np.pi]]))
        g = self.gram[:, np.maximum(into, 0)]
        # Mean over the arc of the squared speed  G11 sin^2 - 2 G12 sin cos + G22 cos^2.
        low, high = angle, angle + turn
        even = 0.5 * (g[0] + g[2]) * turn
        odd = 0.25 * (g[2] - g[0]) * (np.sin(2 * high) - np.sin(2 * low))
        odd += 0.5 * g[1] * (np.cos(2 * high) - np.cos(2 * low))
        arcs = np.sqrt(np.maximum(turn * (even + odd), 0.0))
        lost = into < 0
        if lost.any():
            # Where the order is in doubt the arc gets the largest speed there is.
            arcs[lost] = turn[lost] * np.sqrt((self.gram[0] + self.gram[2]).max())
        return float(t * arcs.sum())


def _extreme(form: FloatArray, corners: FloatArray, home: np.ndarray) -> FloatArray:
    """Largest root of e . F e over the directions e in which a face is seen from the origin."""
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


def _sector(a: FloatArray, b: FloatArray, t: float) -> FloatArray:
    """Signed area that triangles (origin, a, b) have in common with the disc of radius t."""
    step = b - a
    square = np.einsum("ij,ij->i", step, step)
    mid = np.einsum("ij,ij->i", a, step) / square
    root = np.sqrt(np.maximum(mid**2 - (np.einsum("ij,ij->i", a, a) - t * t) / square, 0.0))
    enter, leave = np.clip(-mid - root, 0.0, 1.0), np.clip(-mid + root, 0.0, 1.0)
    p, q = a + enter[:, None] * step, a + leave[:, None] * step
    return 0.5 * (t * t * (_turn(a, p) + _turn(q, b)) + _cross(p, q))


def _turn(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.arctan2(_cross(a, b), np.einsum("ij,ij->i", a, b)))


def _gap(place: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Distance from a place to each segment."""
    along = end - start
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    t = np.clip(np.einsum("ij,ij->i", place - start, along) / square, 0.0, 1.0)
    return np.asarray(np.linalg.norm(start + t[:, None] * along - place, axis=1))


def _cross(p: FloatArray, q: FloatArray) -> FloatArray:
    return np.asarray(p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0])
