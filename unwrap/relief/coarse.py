"""A coarse copy of a patch, to plan cuts on."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from scipy.spatial import Delaunay, cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops
from unwrap.relief.ground import Ground

CORNER = np.radians(25.0)  # an edge that turns more than this at one vertex keeps the vertex
FEWEST = 8  # points round an opening, however small
MOST_RIM = 3000  # points round all edges: a patch of nothing but slivers has more edge than ground
MOST_OF_IT = 0.95  # share of a patch that must be left of it where its outline is smoothed


def coarse_copy(ground: Ground, count: int, smooth: float = 0.0) -> tuple[Ground, IntArray, FloatArray]:
    """Remesh an uncut patch evenly with about `count` faces.

    The flat shape is filled with an even triangle lattice, which is carried back to
    the surface; its edges are resampled and keep their corners.

    Parameters
    ----------
    ground : Ground
        The patch, uncut, its chart free of overlaps.
    count : int
        Faces wanted; the result has some more where edges are intricate.
    smooth : float
        Slots and tongues of the outline narrower than twice this are smoothed away, mm: the coarse copy
        of a ragged edge is as good to plan on, and can be meshed.

    Returns
    -------
    copy : Ground
        The coarse mesh with the same chart; `face` and `vertex` count its own.
    corners : (n, 3) int64
        For each vertex of the copy the input face's vertices that it lies between.
    weights : (n, 3) float64
        And its barycentric coordinates there: `values[corners]` weighted carries any
        value per input vertex.

    Raises
    ------
    ValueError
        If the flat shape cannot be meshed so; plan on the patch itself then.
    """
    a, b, c = np.moveaxis(ground.chart[ground.faces], 1, 0)
    double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    spacing = float(np.sqrt(0.5 * double.sum() / count * 4.0 / np.sqrt(3.0)))
    for _ in range(4):
        found = _fill(ground, spacing, smooth)
        if found is not None:
            return found
        spacing *= 0.7
    raise ValueError("the flat shape is too intricate for a coarse copy")


def _fill(ground: Ground, spacing: float, smooth: float) -> tuple[Ground, IntArray, FloatArray] | None:
    rings, corners, weights = _smoothed(ground, spacing, smooth) if smooth else _edges(ground, spacing)
    if not rings or sum(len(ring) for ring in rings) > MOST_RIM:
        return None
    rings_by_size = sorted(rings, key=lambda r: -shapely.Polygon(r).area)
    outline = shapely.Polygon(rings_by_size[0], rings_by_size[1:])
    if not outline.is_valid:
        return None
    inner = lattice(outline, spacing)
    inner_corners, inner_weights, inside = locate(ground, inner)
    inner = inner[inside]
    chart = np.concatenate([*rings, inner])
    ends = np.cumsum([0] + [len(ring) for ring in rings]).tolist()
    loops = [np.append(np.arange(i, j), i) for i, j in itertools.pairwise(ends)]
    shapely.prepare(outline)
    found = conforming(chart, loops, outline)
    if found is None:
        return None
    made = found[0][len(chart) :]
    chart, faces, _ = found
    made_corners, made_weights, _ = locate(ground, made)
    made_weights = np.clip(made_weights, 0.0, None) + 1e-300
    made_weights /= made_weights.sum(axis=1, keepdims=True)
    all_corners = np.concatenate([*corners, inner_corners[inside], made_corners])
    all_weights = np.concatenate([*weights, inner_weights[inside], made_weights])
    if not is_sound(faces, len(chart), len(rings)):
        return None
    surface = np.einsum("nk,nkx->nx", all_weights, ground.surface[all_corners])
    return Ground.of(surface, chart, faces), all_corners, all_weights


def _edges(ground: Ground, spacing: float) -> tuple[list[FloatArray], list[IntArray], list[FloatArray]]:
    """Points round each edge of the patch, and the vertices that they lie between with their weights."""
    rings, corners, weights = [], [], []
    for loop in boundary_loops(ground.faces):
        ends, share, _ = resample(ground.chart[loop], np.full(len(loop), spacing))
        i, j = loop[ends], loop[(ends + 1) % len(loop)]
        rings.append(ground.chart[i] * (1 - share[:, None]) + ground.chart[j] * share[:, None])
        corners.append(np.column_stack([i, j, i]))
        weights.append(np.column_stack([1 - share, share, np.zeros(len(share))]))
    return rings, corners, weights


def _smoothed(
    ground: Ground, spacing: float, smooth: float
) -> tuple[list[FloatArray], list[IntArray], list[FloatArray]]:
    """`_edges` of the outline without narrow slots and tongues; what is off the patch is carried on flat."""
    exact = sorted(
        (shapely.Polygon(ground.chart[loop]) for loop in boundary_loops(ground.faces)), key=lambda p: -p.area
    )
    whole = shapely.make_valid(shapely.Polygon(exact[0].exterior, [hole.exterior for hole in exact[1:]]))
    even = whole.buffer(smooth).buffer(-2.0 * smooth).buffer(smooth).simplify(0.1 * smooth)
    largest = max(shapely.get_parts(even), key=lambda part: part.area, default=shapely.Polygon())
    if largest.area < MOST_OF_IT * whole.area:
        return [], [], []
    rings, corners, weights = [], [], []
    for ring in (largest.exterior, *largest.interiors):
        chart = shapely.get_coordinates(ring)[:-1]
        ends, share, _ = resample(chart, np.full(len(chart), spacing))
        points = chart[ends] + share[:, None] * (np.roll(chart, -1, axis=0)[ends] - chart[ends])
        near, weight = _nearest(ground, points)
        rings.append(points)
        corners.append(near)
        weights.append(weight)
    return rings, corners, weights


def _nearest(ground: Ground, points: FloatArray) -> tuple[IntArray, FloatArray]:
    """The vertices of the face nearest to each point of the chart, and its weights there, below 0 beyond."""
    triangles = ground.chart[ground.faces]
    face = shapely.STRtree(shapely.polygons(triangles)).nearest(shapely.points(points))
    a, b, c = np.moveaxis(triangles[face], 1, 0)
    shares = np.linalg.solve(np.stack([b - a, c - a], axis=2), (points - a)[:, :, None])[:, :, 0]
    return ground.faces[face], np.column_stack([1.0 - shares.sum(axis=1), shares])


def resample(ring: FloatArray, sizes: FloatArray) -> tuple[IntArray, FloatArray, np.ndarray]:
    """Points round a closed ring, evenly between its corners.

    Parameters
    ----------
    ring : (n, 2) float64
    sizes : (n,) float64
        Spacing wanted at each vertex, mm.

    Returns
    -------
    segment : (k,) int64
        Which segment of the ring each lies on.
    share : (k,) float64
        And where on it.
    corner : (k,) bool
        Whether it is a corner.
    """
    length = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    stops = corners_of(ring, np.concatenate([[0.0], np.cumsum(length)]), float(np.median(sizes)))
    # Lengths counted in spacings: one point per unit.
    units = length / (0.5 * (sizes + np.roll(sizes, -1)))
    at = np.concatenate([[0.0], np.cumsum(units)])
    start = at[stops] if len(stops) else at[:1]
    step = min(1.0, at[-1] / FEWEST)
    places, corner = [], []
    for low, high in zip(start, [*start[1:], start[0] + at[-1]], strict=True):
        count = max(1, round((high - low) / step))
        places.append(low + (high - low) * np.arange(count) / count)
        corner.append((np.arange(count) == 0) & (len(stops) > 0))
    s = np.concatenate(places) % at[-1]
    segment = np.clip(np.searchsorted(at, s, side="right") - 1, 0, len(ring) - 1)
    share = np.clip((s - at[segment]) / np.maximum(units[segment], 1e-300), 0.0, 1.0)
    return segment, share, np.concatenate(corner)


def corners_of(ring: FloatArray, at: FloatArray, spacing: float) -> IntArray:
    """Vertices where the ring turns sharply, once its fine teeth are smoothed over."""
    closed = shapely.LineString(np.concatenate([ring, ring[:1]]))
    kept = shapely.get_coordinates(shapely.simplify(closed, 0.15 * spacing, preserve_topology=False))[:-1]
    if len(kept) < 3:
        return np.zeros(0, dtype=np.int64)
    ahead = np.roll(kept, -1, axis=0) - kept
    behind = kept - np.roll(kept, 1, axis=0)
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turn = np.abs(np.arctan2(cross, np.einsum("ij,ij->i", behind, ahead)))
    found = cKDTree(ring).query(kept[turn > CORNER])[1]
    out: list[int] = []
    for v in np.sort(found).tolist():
        if not out or (at[v] - at[out[-1]] > 0.35 * spacing and at[-1] - at[v] + at[out[0]] > 0.35 * spacing):
            out.append(v)
    return np.array(out, dtype=np.int64)


def lattice(outline: shapely.Polygon, spacing: float) -> FloatArray:
    low_x, low_y, high_x, high_y = outline.bounds
    height = spacing * np.sqrt(0.75)
    rows = np.arange(low_y + 0.5 * height, high_y, height)
    columns = np.arange(low_x, high_x, spacing)
    x = columns[None, :] + 0.5 * spacing * (np.arange(len(rows)) % 2)[:, None]
    y = np.broadcast_to(rows[:, None], x.shape)
    points = np.column_stack([x.ravel(), y.ravel()])
    shapely.prepare(outline)
    points = points[shapely.contains_xy(outline, *points.T)]
    away = shapely.distance(outline.boundary, shapely.points(points))
    return points[away > 0.55 * spacing]


def locate(ground: Ground, points: FloatArray) -> tuple[IntArray, FloatArray, np.ndarray]:
    """Find points of the chart on the mesh.

    Returns
    -------
    corners : (n, 3) int64
        Vertices of the face that each point lies in.
    weights : (n, 3) float64
        Barycentric coordinates.
    inside : (n,) bool
        False where no face holds the point.
    """
    triangles = ground.chart[ground.faces]
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    tree = shapely.STRtree(shapely.box(*low.T, *high.T))
    which, face = tree.query(shapely.points(points))
    a, b, c = (triangles[face, k] - points[which] for k in range(3))

    def cross(p: FloatArray, q: FloatArray) -> FloatArray:
        return p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]

    w = np.column_stack([cross(b, c), cross(c, a), cross(a, b)])
    w /= w.sum(axis=1, keepdims=True)
    least = w.min(axis=1)
    order = np.lexsort((least, which))  # the best face of each point comes last
    which, face, w, least = which[order], face[order], w[order], least[order]
    last = np.append(which[1:] != which[:-1], True) if len(which) else np.zeros(0, bool)
    corners = np.zeros((len(points), 3), dtype=np.int64)
    weights = np.zeros((len(points), 3))
    inside = np.zeros(len(points), dtype=bool)
    corners[which[last]] = ground.faces[face[last]]
    weights[which[last]] = w[last]
    inside[which[last]] = least[last] > -1e-9
    return corners, weights, inside


def conforming(
    chart: FloatArray, runs: list[IntArray], outline: shapely.Polygon
) -> tuple[FloatArray, IntArray, list[IntArray]] | None:
    """Delaunay triangles inside the outline that have every run of vertices as edges.

    An edge that is not there gets a vertex in its middle and all is meshed again.
    """
    for _ in range(6):
        faces = Delaunay(chart).simplices.astype(np.int64)
        a, b, c = np.moveaxis(chart[faces], 1, 0)
        double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        faces[double < 0] = faces[double < 0][:, ::-1]
        centre = chart[faces].mean(axis=1)
        faces = faces[
            (np.abs(double) > 1e-5 * np.abs(double).mean()) & shapely.contains_xy(outline, *centre.T)
        ]
        n = len(chart)
        start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
        have = np.unique(np.minimum(start, end) * n + np.maximum(start, end))
        split: list[IntArray] = []
        middles: list[FloatArray] = []
        for run in runs:
            low, high = np.minimum(run[:-1], run[1:]), np.maximum(run[:-1], run[1:])
            missing = np.flatnonzero(~np.isin(low * n + high, have))
            new = n + sum(len(m) for m in middles) + np.arange(len(missing))
            middles.append(0.5 * (chart[run[missing]] + chart[run[missing + 1]]))
            split.append(np.insert(run, missing + 1, new))
        if not any(len(m) for m in middles):
            return chart, faces, runs
        chart, runs = np.concatenate([chart, *middles]), split
    return None


def is_sound(faces: IntArray, count: int, loops: int) -> bool:
    """One connected sheet with every vertex in use, the right openings and no pinched edge."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * count + np.maximum(start, end)
    _, inverse, uses = np.unique(key, return_inverse=True, return_counts=True)
    lone = uses[inverse] == 1
    if len(np.unique(faces)) != count or uses.max() > 2:
        return False
    if np.bincount(start[lone], minlength=count).max() > 1:
        return False
    euler = count - len(uses) + len(faces)
    return len(boundary_loops(faces)) == loops and euler == 2 - loops
