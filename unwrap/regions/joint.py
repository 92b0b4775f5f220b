"""Open a region that closes on itself along a straight joint.

A tube, a whole barrel, a closed cap: none of them lies flat until it is cut from
edge to edge. The joint is placed where it shows least, by default underneath, and
runs straight along the axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import dijkstra

from unwrap.arrays import FloatArray, IntArray
from unwrap.regions.cut import cut_along
from unwrap.regions.edges import boundary_loops, compact, edge_table, face_normals
from unwrap.regions.region import Joint
from unwrap.regions.shape import name_shape
from unwrap.regions.split import split_at_level

Side = Literal["bottom", "top", "front", "rear", "left", "right"]
DIRECTIONS: dict[str, tuple[float, float, float]] = {
    "bottom": (0.0, 0.0, -1.0),
    "top": (0.0, 0.0, 1.0),
    "front": (1.0, 0.0, 0.0),
    "rear": (-1.0, 0.0, 0.0),
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
}
# Where the asked side lies along the axis itself, the next best in this order.
INSTEAD = ("bottom", "rear", "right")

# A vertex this near to the joint's line (mm) is taken as on it; far below what a
# blade can follow, and enough to leave no sliver beside a facet's edge.
ON_LINE = 2e-3

# An edge that a cap of this much curvature would close (steradians) is the end of
# a tube or barrel, not an opening: pi is a cone of half-angle 30 degrees.
END_CAP = np.pi
# A surface without curvature of its own must be opened for much less: a shallow
# cone lies flat only once it is cut.
END_CAP_FLAT = 0.05
NO_CURVATURE = 0.02


@dataclass(frozen=True, eq=False)
class Opened:
    """A surface after opening: arrays as in `Patch`."""

    vertices: FloatArray
    faces: IntArray
    joints: tuple[Joint, ...]


def open_surface(vertices: FloatArray, faces: IntArray, side: Side = "bottom") -> Opened:
    """Cut a connected surface so that it can be laid flat.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        A connected manifold surface.
    side : str
        Where the joint goes: "bottom", "top", "front", "rear", "left" or "right".

    Returns
    -------
    Opened
        The surface with both edges of each joint; unchanged where it was open. It has
        no handle, and openings only where film can lie round them.
    """
    joints: list[Joint] = []
    for _ in range(64):  # each turn removes one end, one handle or closes the count
        loops = boundary_loops(faces)
        table = edge_table(faces)
        characteristic = len(np.unique(faces)) - len(table.ends) + len(faces)
        handles = (2 - characteristic - len(loops)) // 2
        if handles > 0:
            path = _handle_path(vertices, faces, side)
        elif not loops:
            vertices, faces, path = _slit(vertices, faces, side)
        else:
            ends = find_ends(vertices, faces, loops)
            if len(ends) < 2:
                break
            vertices, faces, path = _joint_path(vertices, faces, loops, ends[0], ends[1], side)
        if path is None or len(path) < 2:
            break
        vertices, faces, joints = _cut_path(vertices, faces, path, joints)
    return Opened(vertices, faces, tuple(joints))


def find_ends(vertices: FloatArray, faces: IntArray, loops: list[IntArray]) -> list[int]:
    """Tell the ends of a tube from the openings in a sheet.

    Parameters
    ----------
    vertices, faces : arrays
        The surface, mm.
    loops : list of (k,) int64
        Its boundary loops.

    Returns
    -------
    list of int
        Loops that bound the surface as a whole, the widest first: one for a sheet
        (however many openings it has), two for a tube.

    Notes
    -----
    By the theorem of Gauss and Bonnet a loop with total geodesic curvature t would be
    closed by a cap of curvature 2 pi + t, t being counted with the surface on its left
    and negative. A window's cap is flat; a barrel end's is a hemisphere's worth.
    """
    angles = _corner_angles(vertices, faces)
    total = np.bincount(faces.ravel(), weights=angles.ravel(), minlength=len(vertices))
    caps = np.array([2 * np.pi + float(np.sum(np.pi - total[loop])) for loop in loops])
    on_edge = np.zeros(len(vertices), dtype=bool)
    for loop in loops:
        on_edge[loop] = True
    inside = np.unique(faces)
    inside = inside[~on_edge[inside]]
    curved = float(np.abs(2 * np.pi - total[inside]).sum()) if len(inside) else 0.0
    limit = END_CAP if curved > NO_CURVATURE else END_CAP_FLAT
    order = np.argsort(-caps, kind="stable")
    return [int(order[0])] + [int(k) for k in order[1:] if abs(caps[k]) > limit]


def _corner_angles(vertices: FloatArray, faces: IntArray) -> FloatArray:
    corners = vertices[faces]
    first = np.roll(corners, -1, axis=1) - corners
    second = np.roll(corners, 1, axis=1) - corners
    return np.arctan2(
        np.linalg.norm(np.cross(first, second), axis=2), np.einsum("mij,mij->mi", first, second)
    )


def _frame(
    vertices: FloatArray, faces: IntArray, away: FloatArray | None, side: str
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A point on the axis, the axis, and the direction of the asked side across it."""
    normals, areas = face_normals(vertices, faces)
    good = areas > 0
    shape = name_shape(vertices[faces[good]], normals[good], areas[good], 0.0)
    middle = np.average(vertices[faces].mean(axis=1), axis=0, weights=areas)
    if shape.axis is not None and shape.centre is not None:
        axis, middle = np.array(shape.axis), np.array(shape.centre)
    elif away is not None and np.linalg.norm(away) > 1e-3 * np.ptp(vertices, axis=0).max():
        axis = away / np.linalg.norm(away)
    else:
        mean = areas @ normals
        length = np.linalg.norm(mean)
        axis = mean / length if length > 1e-3 * areas.sum() else np.array([1.0, 0.0, 0.0])
    for name in (side, *INSTEAD):
        across = np.array(DIRECTIONS[name]) - axis * (axis @ np.array(DIRECTIONS[name]))
        if np.linalg.norm(across) > 0.2:
            break
    return middle, axis, across / np.linalg.norm(across)


def _joint_path(
    vertices: FloatArray, faces: IntArray, loops: list[IntArray], first: int, second: int, side: str
) -> tuple[FloatArray, IntArray, IntArray | None]:
    """Split along the half-plane of the axis on the asked side; the path from loop to loop in it."""
    start, end = loops[first], loops[second]
    away = vertices[end].mean(axis=0) - vertices[start].mean(axis=0)
    middle, axis, across = _frame(vertices, faces, away, side)
    height = (vertices - middle) @ np.cross(axis, across)
    toward = (vertices - middle) @ across
    near = np.asarray((toward[faces] > 0).any(axis=1))
    more, parts, _, _, level = split_at_level(vertices, faces, height, near, ON_LINE)
    table = edge_table(parts)
    ends = table.ends
    along = (level[ends] == 0).all(axis=1) & (((more[ends] - middle) @ across) > 0).all(axis=1)
    boundary = table.count == 1
    use = along | boundary
    length = np.linalg.norm(more[ends[:, 0]] - more[ends[:, 1]], axis=1)
    # a run along an opening's edge costs next to nothing: the joint may pass through it
    weight = np.where(boundary, 1e-6, 1.0) * np.maximum(length, 1e-9)
    path = _shortest(
        ends[use],
        weight[use],
        _on_loop(parts, ends[boundary], start, len(vertices)),
        _on_loop(parts, ends[boundary], end, len(vertices)),
        len(more),
    )
    if path is not None:
        return more, parts, path
    table = edge_table(faces)
    ends = table.ends
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    low = ((vertices[ends].mean(axis=1) - middle) @ across).max() - (
        vertices[ends].mean(axis=1) - middle
    ) @ across
    span = max(float(low.max()), 1e-9)
    path = _shortest(ends, np.maximum(length, 1e-9) * (1 + 4 * low / span), start, end, len(vertices))
    return vertices, faces, path


def _on_loop(faces: IntArray, edges: IntArray, loop: IntArray, old: int) -> IntArray:
    """Vertices of a loop, with those that splitting has put on its edges."""
    size = int(max(faces.max(), old)) + 1
    graph = sp.coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(size, size))
    _, label = sp.csgraph.connected_components(graph, directed=False)
    return np.flatnonzero(label == label[loop[0]])


def _shortest(
    edges: IntArray, weight: FloatArray, sources: IntArray, targets: IntArray, size: int
) -> IntArray | None:
    graph = sp.coo_matrix((weight, (edges[:, 0], edges[:, 1])), shape=(size, size)).tocsr()
    distance, before, _ = dijkstra(
        graph, directed=False, indices=sources, return_predecessors=True, min_only=True
    )
    reachable = targets[np.isfinite(distance[targets])]
    if not len(reachable):
        return None
    here = int(reachable[distance[reachable].argmin()])
    path = [here]
    while before[here] >= 0:
        here = int(before[here])
        path.append(here)
    return np.array(path[::-1], dtype=np.int64)


def _slit(vertices: FloatArray, faces: IntArray, side: str) -> tuple[FloatArray, IntArray, IntArray | None]:
    """A first cut into a surface without any edge: half round it on the asked side."""
    middle, axis, across = _frame(vertices, faces, None, side)
    spans = vertices - vertices.mean(axis=0)
    long = np.linalg.eigh(spans.T @ spans)[1][:, 2]
    if abs(long @ across) < 0.9:
        axis = long - across * (long @ across)
        axis /= np.linalg.norm(axis)
    else:
        axis = np.cross(across, np.eye(3)[np.abs(across).argmin()])
        axis /= np.linalg.norm(axis)
    height = (vertices - middle) @ np.cross(axis, across)
    more, parts, _, _, level = split_at_level(vertices, faces, height, None, ON_LINE)
    ends = edge_table(parts).ends
    beside = (more - middle) @ across
    along = (level[ends] == 0).all(axis=1) & (beside[ends].max(axis=1) > 0)
    length = np.linalg.norm(more[ends[:, 0]] - more[ends[:, 1]], axis=1)
    line = np.unique(ends[along])
    if not len(line):
        return vertices, faces, None
    reach = (more[line] - middle) @ axis
    path = _shortest(
        ends[along],
        np.maximum(length[along], 1e-9),
        line[[reach.argmin()]],
        line[[reach.argmax()]],
        len(more),
    )
    return more, parts, path


def _handle_path(vertices: FloatArray, faces: IntArray, side: str) -> IntArray | None:
    """A short cut that undoes one handle: from edge to edge, or once round where there is no edge.

    The cut graph is found as in tree-cotree decomposition (D. Eppstein, "Dynamic
    generators of topologically embedded graphs", 2003): what is in neither the tree
    of the vertices nor the tree of the faces runs round a handle.
    """
    table = edge_table(faces)
    ends = table.ends
    size = len(vertices)
    length = np.maximum(np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1), 1e-9)
    roots = np.unique(ends[table.count == 1])
    if not len(roots):
        roots = np.array([(vertices @ np.array(DIRECTIONS[side])).argmax()])
    weight = np.where(table.count == 1, 1e-6 * length, length)
    graph = sp.coo_matrix((weight, (ends[:, 0], ends[:, 1])), shape=(size, size)).tocsr()
    distance, before, _ = dijkstra(
        graph, directed=False, indices=roots, return_predecessors=True, min_only=True
    )
    child = np.flatnonzero(before >= 0)
    tree_key = np.minimum(child, before[child]) * np.int64(size) + np.maximum(child, before[child])
    key = ends[:, 0] * np.int64(size) + ends[:, 1]
    free = ~np.isin(key, tree_key) & (table.pair[:, 0] >= 0)
    # the tree of the faces takes the edges that would close the longest ways round first
    round_trip = distance[ends[:, 0]] + distance[ends[:, 1]] + length
    candidates = np.flatnonzero(free)
    dual = sp.coo_matrix(
        (-round_trip[candidates] - 1.0, (table.pair[candidates, 0], table.pair[candidates, 1])),
        shape=(len(faces), len(faces)),
    ).tocsr()
    spanning = sp.csgraph.minimum_spanning_tree(dual).tocoo()
    used = np.minimum(spanning.row, spanning.col) * np.int64(len(faces)) + np.maximum(
        spanning.row, spanning.col
    )
    low, high = np.sort(table.pair[candidates], axis=1).T
    generators = candidates[~np.isin(low * np.int64(len(faces)) + high, used)]
    if not len(generators):
        return None
    for edge in generators[np.argsort(round_trip[generators], kind="stable")]:
        halves = []
        for vertex in ends[edge]:
            run = [int(vertex)]
            while before[run[-1]] >= 0:
                run.append(int(before[run[-1]]))
            halves.append(run)
        shared = set(halves[0]) & set(halves[1])
        if not shared or (shared == {halves[0][-1]} and table.count.min() == 2):
            return np.array(halves[0][::-1] + halves[1], dtype=np.int64)
    return None


def _cut_path(
    vertices: FloatArray, faces: IntArray, path: IntArray, joints: list[Joint]
) -> tuple[FloatArray, IntArray, list[Joint]]:
    """Cut along a path and record both edges; a path through an opening makes two joints."""
    table = edge_table(faces)
    size = np.int64(len(vertices))
    low, high = np.sort(np.stack([path[:-1], path[1:]], axis=1), axis=1).T
    key = table.ends[:, 0] * size + table.ends[:, 1]
    edge = np.searchsorted(key, low * size + high)
    inner = table.pair[edge, 0] >= 0
    steps = np.stack([path[:-1], path[1:]], axis=1)
    fresh, parted, _ = cut_along(vertices, faces, steps[inner])
    corner_of = {}
    for face in np.unique(table.pair[edge[inner]]):
        for k in range(3):
            corner_of[(int(faces[face, k]), int(faces[face, (k + 1) % 3]))] = (int(face), k)
    # earlier joints keep to their places: the vertices there may have got new numbers
    renewed = [_renumber(joint, faces, parted) for joint in joints]
    runs: list[list[int]] = []
    for place in np.flatnonzero(inner).tolist():
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(int(place))
        else:
            runs.append([int(place)])
    for run in runs:
        left, right = [], []
        for place in run:
            a, b = int(path[place]), int(path[place + 1])
            face, k = corner_of[(a, b)]
            other, j = corner_of[(b, a)]
            left.append(int(parted[face, k]))
            right.append(int(parted[other, (j + 1) % 3]))
            last = int(parted[face, (k + 1) % 3]), int(parted[other, j])
        left.append(last[0])
        right.append(last[1])
        renewed.append(Joint(first=np.array(left, dtype=np.int64), second=np.array(right, dtype=np.int64)))
    fresh, parted, _ = compact(fresh, parted)
    return fresh, parted, renewed


def _renumber(joint: Joint, faces: IntArray, parted: IntArray) -> Joint:
    """An earlier joint in the numbers that a further cut has given."""
    lookup: dict[int, int] = {}
    for old, new in zip(faces.ravel().tolist(), parted.ravel().tolist(), strict=True):
        lookup.setdefault(old, new)
    first = np.array([lookup[int(vertex)] for vertex in joint.first], dtype=np.int64)
    second = np.array([lookup[int(vertex)] for vertex in joint.second], dtype=np.int64)
    return Joint(first=first, second=second)
