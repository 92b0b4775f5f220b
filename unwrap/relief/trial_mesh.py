"""A coarse mesh that has given slits as edges, made afresh for every trial.

Meshing round the slits instead of cutting a fixed mesh keeps the triangles near them
alike wherever they go, so that what a trial measures changes smoothly with the slits.
"""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.relief.coarse import conforming, is_sound, lattice, resample
from unwrap.relief.drag import TrialMesh
from unwrap.relief.field import Field
from unwrap.relief.ground import Ground
from unwrap.relief.slit import SAMPLES, Edge, Slit, edges_of

MOST_PLACES = 30_000  # that the lattice's points are chosen from
TURN = 0.3  # of a sphere's radius: the farthest that points may stand apart on one as curved
CLOSEST = 0.25  # of the ordinary spacing
SMALL = 12.0  # spacings round an opening below which it has no corners
STEEP = 0.4  # sine of the angle with the edge below which a slit leaves a splinter of film beside its foot
STRIP = 0.6  # of the spacing, or of the way from its foot: a strip of film narrower than this is thin
RING = np.radians([0.0, 60.0, 120.0, 240.0, 300.0])  # round a tip, away from its slit


class TrialMesher:
    """Lattice and edges of a patch, ready to be meshed with slits.

    Parameters
    ----------
    field : Field
    count : int
        Faces wanted.
    edges : list of Edge, optional
        The patch's edges, if they are known.
    """

    def __init__(self, field: Field, count: int, edges: list[Edge] | None = None) -> None:
        self.field = field
        self.edges: list[Edge] = edges_of(field.ground) if edges is None else edges
        a, b, c = np.moveaxis(field.ground.surface[field.ground.faces], 1, 0)
        area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
        self.spacing = float(np.sqrt(area / count * 4.0 / np.sqrt(3.0)))
        for _ in range(4):
            self._rings: list[tuple[FloatArray, np.ndarray]] = []
            for edge in self.edges:
                segment, share, corner = resample(edge.ring, self.size(edge.ring))
                # Round a small opening all places are corners; none of them holds a slit there.
                corner &= edge.length > SMALL * self.spacing
                self._rings.append((edge.at[segment] + share * np.diff(edge.at)[segment], corner))
            rings = [edge.point(at) for edge, (at, _) in zip(self.edges, self._rings, strict=True)]
            self.outline = shapely.Polygon(rings[0], rings[1:])
            if self.outline.is_valid:
                self._lattice = self._filling()
                self._sizes = self.size(self._lattice)
                if self.mesh(()) is not None:
                    return
            self.spacing *= 0.75
        raise ValueError("the flat shape is too intricate to plan cuts on")

    def size(self, points: FloatArray) -> FloatArray:
        """(n,) spacing wanted at points of the chart, mm there."""
        return self.field.scale(points) * self.spacing_at(points)

    def spacing_at(self, points: FloatArray) -> FloatArray:
        """(n,) spacing wanted over the surface, mm: even, but closer where it is curved sharply both ways."""
        turn = np.maximum(self.spacing * self.field.bend(points), 1e-12)
        return self.spacing * np.clip(TURN / turn, CLOSEST, 1.0)

    def _filling(self) -> FloatArray:
        """Points over the patch, as far apart as their spacing and as even as can be."""
        sizes = self.size(self.field.ground.chart)
        if sizes.max() < 1.3 * sizes.min():
            return lattice(self.outline, float(sizes.mean()))
        # Where the flat shape is crushed to nothing in places, these do without points.
        finest = float(np.sqrt(self.outline.area / MOST_PLACES))
        dense = lattice(self.outline, max(0.45 * float(sizes.min()), finest))
        want = self.size(dense)
        tree = cKDTree(dense)
        order = np.random.default_rng(0).permutation(len(dense))
        free = np.ones(len(dense), dtype=bool)
        chosen = []
        for i in order.tolist():
            if free[i]:
                chosen.append(i)
                free[tree.query_ball_point(dense[i], 0.8 * want[i])] = False
        # Each point moves to the middle of what is nearest to it: even out the chance spacing.
        points, weight = dense[chosen], want**-2.0
        for _ in range(8):
            owner = cKDTree(points).query(dense)[1]
            total = np.bincount(owner, weight, minlength=len(points))
            points = np.column_stack(
                [np.bincount(owner, weight * dense[:, k], minlength=len(points)) for k in (0, 1)]
            )
            points = points[total > 0] / total[total > 0, None]
        away = shapely.distance(self.outline.boundary, shapely.points(points))
        return points[away > 0.55 * self.size(points)]

    def at_fault(self, slits: tuple[Slit, ...]) -> np.ndarray:
        """(s,) bool: slits that leave the patch, run along its edge or come too near another one."""
        if not slits:
            return np.zeros(0, dtype=bool)
        h = self.size(np.array([slit.tip for slit in slits]))
        points = np.stack([slit.curve() for slit in slits])
        curves = shapely.linestrings(points)
        through = np.array([slit.into is not None for slit in slits])
        quarter = SAMPLES // 4
        ends = np.where(
            through,
            shapely.linestrings(points[:, quarter:-quarter]),
            shapely.linestrings(points[:, quarter:]),
        )
        bad = ~np.asarray(shapely.covers(self.outline, ends))
        tips = shapely.distance(self.outline.boundary, shapely.points(points[:, -1]))
        bad |= ~through & (tips < 0.4 * h)
        bad |= self._graze(slits, points)
        one, two = _crowded(curves, 0.5 * h, self.outline)
        bad[one] = bad[two] = True
        return np.asarray(bad, dtype=bool)

    def strips(self, curves: FloatArray, through: BoolArray) -> FloatArray:
        """(c,) how much of each curve leaves but a thin strip of film between it and an edge, mm.

        `curves` (c, p, 2) begin on an edge, and end on one where they run `through`.
        """
        step = np.linalg.norm(np.diff(curves, axis=1), axis=2)
        arc = np.cumsum(step, axis=1)
        away = np.where(through[:, None], np.minimum(arc, arc[:, -1:] - arc), arc)
        inner = curves[:, 1:]
        gap = shapely.distance(self.outline.boundary, shapely.points(inner))
        flat = inner.reshape(-1, 2)
        scale = self.field.scale(flat).reshape(gap.shape)
        room = STRIP * np.minimum(away, scale * self.spacing_at(flat).reshape(gap.shape))
        thin = np.maximum(1.0 - gap / np.maximum(room, 1e-9), 0.0)
        thin[away < 1e-9] = 0.0
        long: FloatArray = (step / scale * thin).sum(axis=1)
        return long

    def _graze(self, slits: tuple[Slit, ...], points: FloatArray) -> np.ndarray:
        """(s,) bool: slits that leave or meet an edge at a small angle on the surface."""
        ends = [(i, slit.edge, slit.start, 0, SAMPLES // 8) for i, slit in enumerate(slits)]
        ends += [
            (i, slit.into, slit.into.nearest(slit.tip), -1, -1 - SAMPLES // 8)
            for i, slit in enumerate(slits)
            if slit.into is not None
        ]
        reach = 0.25 * self.spacing
        along = np.array([edge.point(at + reach) - edge.point(at - reach) for _, edge, at, _, _ in ends])
        away = np.array([points[i, inner] - points[i, end] for i, _, _, end, inner in ends])
        feet = np.array([points[i, end] for i, _, _, end, _ in ends])
        slant = self.field.at(feet)[:, 4:10].reshape(-1, 3, 2)
        u, w = (np.einsum("nij,nj->ni", slant, way) for way in (along, away))
        over = (u * w).sum(axis=1) ** 2 / np.maximum((u * u).sum(axis=1) * (w * w).sum(axis=1), 1e-300)
        bad = np.zeros(len(slits), dtype=bool)
        bad[[end[0] for end, square in zip(ends, over, strict=True) if square > 1.0 - STEEP**2]] = True
        return bad

    def mesh(self, slits: tuple[Slit, ...]) -> TrialMesh | None:
        """The mesh parted along the slits; None where they cannot be cut or would part it in two."""
        if _parts(slits):
            return None
        along = [_shares_along(slit, self) for slit in slits]
        lines = [slit.at(share) for slit, share in zip(slits, along, strict=True)]
        sizes = [float(self.size(line[-1:])[0]) for line in lines]
        rings: list[FloatArray] = []
        corners: list[BoolArray] = []
        ends: dict[tuple[int, int], int] = {}
        count = 0
        for edge, (at, corner) in zip(self.edges, self._rings, strict=True):
            places, corner, marks = _with_ends(edge, at, corner, slits, self)
            ends |= {end: count + mark for end, mark in marks.items()}
            rings.append(places)
            corners.append(corner)
            count += len(places)
        fixed = [edge.point(places) for edge, places in zip(self.edges, rings, strict=True)]
        outline = shapely.Polygon(fixed[0], fixed[1:])
        shapely.prepare(outline)
        chains: list[IntArray] = []
        for i, (slit, line) in enumerate(zip(slits, lines, strict=True)):
            free = line[1:] if slit.into is None else line[1:-1]
            last = [] if slit.into is None else [ends[i, 1]]
            chains.append(np.concatenate([[ends[i, 0]], count + np.arange(len(free)), last]).astype(np.int64))
            fixed.append(free)
            count += len(free)
        inside = [points for points in fixed[len(rings) :] if len(points)]
        if inside and not shapely.contains_xy(outline, *np.concatenate(inside).T).all():
            return None
        inner = self._round(slits, lines, sizes, outline)
        if inner is None:
            return None
        lengths = np.cumsum([0] + [len(ring) for ring in rings])
        loops = [np.append(np.arange(i, j), i) for i, j in itertools.pairwise(lengths.tolist())]
        found = conforming(np.concatenate([*fixed, inner]), loops + chains, outline)
        if found is None:
            return None
        chart, faces, runs = found
        if not is_sound(faces, len(chart), len(rings)):
            return None
        ground = Ground.of(self.field.places(chart), chart, faces)
        loops, chains = runs[: len(rings)], runs[len(rings) :]
        if chains:
            ground = ground.opened(*chains)
        return TrialMesh.of(ground, self.edges, slits, rings, corners, loops, chains)

    def _round(
        self,
        slits: tuple[Slit, ...],
        lines: list[FloatArray],
        sizes: list[float],
        outline: shapely.Polygon,
    ) -> FloatArray | None:
        """Lattice points clear of the slits, and rings of points round their tips."""
        inner, rounds = self._lattice, []
        if not lines:
            return inner
        rim = outline.boundary
        curves = [shapely.LineString(line) for line in lines]
        if len(_crowded(np.array(curves), 0.4 * np.array(sizes), outline)[0]):
            return None
        points = shapely.points(inner)
        keep = np.ones(len(inner), dtype=bool)
        for slit, line, curve, h in zip(slits, lines, curves, sizes, strict=True):
            keep &= shapely.distance(points, curve) > 0.6 * self._sizes
            if slit.into is not None:
                rounds.append(np.zeros((0, 2)))
                continue
            keep &= np.linalg.norm(inner - line[-1], axis=1) > 0.9 * h
            ahead = np.arctan2(*(line[-1] - line[-2])[::-1])
            rounds.append(line[-1] + 0.5 * h * np.column_stack([np.cos(RING + ahead), np.sin(RING + ahead)]))
        inner = inner[keep]
        extra = np.concatenate(rounds)
        owner = np.repeat(np.arange(len(rounds)), [len(points) for points in rounds])
        marks, local = shapely.points(extra), np.array(sizes)[owner]
        fits = shapely.contains_xy(outline, *extra.T) & (shapely.distance(marks, rim) > 0.3 * local)
        for i, curve in enumerate(curves):
            fits &= (owner == i) | (shapely.distance(marks, curve) > 0.35 * local)
        extra, local = extra[fits], local[fits]
        if len(extra):
            alone = [len(pair) == 1 for pair in cKDTree(extra).query_ball_point(extra, 0.25 * local)]
            extra, local = extra[alone], local[alone]
            if len(extra):
                gap, near = cKDTree(extra).query(inner)
                inner = inner[gap > 0.45 * local[near]]
        return np.concatenate([inner, extra])


def _crowded(curves: np.ndarray, least: FloatArray, outline: shapely.Polygon) -> tuple[IntArray, IntArray]:
    """Pairs of curves that come nearer to each other than the larger of their least distances.

    Those that an opening parts do not count.
    """
    one, two = np.triu_indices(len(curves), 1)
    near = shapely.distance(curves[one], curves[two]) < np.maximum(least[one], least[two])
    one, two = one[near], two[near]
    between = shapely.line_interpolate_point(
        shapely.shortest_line(curves[one], curves[two]), 0.5, normalized=True
    )
    joined = np.asarray(shapely.intersects(outline, between), dtype=bool)
    return one[joined], two[joined]


def _parts(slits: tuple[Slit, ...]) -> bool:
    """Whether slits that run from edge to edge close a ring: what is inside would fall out."""
    group: dict[int, int] = {}
    for slit in slits:
        if slit.into is None:
            continue
        one, two = (group.setdefault(id(edge), id(edge)) for edge in (slit.edge, slit.into))
        if one == two:
            return True
        group |= {edge: one for edge, of in group.items() if of == two}
    return False


def _shares_along(slit: Slit, mesher: TrialMesher) -> FloatArray:
    """Shares of a slit at even steps of about the spacing; the last one before a tip is half as long."""
    share = np.linspace(0.0, 1.0, SAMPLES)
    curve = slit.at(share)
    sizes = mesher.size(curve)
    step = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(step / (0.4 * (sizes[1:] + sizes[:-1])))])
    length = float(at[-1])
    if slit.into is not None:
        places = np.linspace(0.0, length, max(1, round(length)) + 1)
    else:
        rest = length - min(0.6, 0.5 * length)
        places = np.append(np.linspace(0.0, rest, max(1, round(rest)) + 1), length)
    return np.interp(places, at, share)


def _with_ends(
    edge: Edge, at: FloatArray, corner: BoolArray, slits: tuple[Slit, ...], mesher: TrialMesher
) -> tuple[FloatArray, BoolArray, dict[tuple[int, int], int]]:
    """Places round one edge with the slits' feet and ends put in, and which are corners.

    Also which place is whose (slit, 0 or 1).
    """
    owner = {}
    places, keep = at % edge.length, np.ones(len(at), dtype=bool)
    ends = [((i, 0), slit.foot, slit.start) for i, slit in enumerate(slits) if slit.edge is edge]
    ends += [((i, 1), slit.tip, edge.nearest(slit.tip)) for i, slit in enumerate(slits) if slit.into is edge]
    added = []
    for end, point, place in ends:
        h = float(mesher.size(point[None])[0])
        here = place % edge.length
        gap = np.abs((places - here + 0.5 * edge.length) % edge.length - 0.5 * edge.length)
        if (corner & (gap < 0.15 * h)).any():
            here = float(places[np.argmin(np.where(corner, gap, np.inf))])
        keep &= corner & (gap > 1e-9) | (gap > 0.45 * h)
        owner[end] = here
        added.append(here)
    corners = places[corner]
    places = np.sort(np.concatenate([places[keep], added]))
    return (
        places,
        np.isin(places, corners),
        {end: int(np.argmin(np.abs(places - here))) for end, here in owner.items()},
    )
