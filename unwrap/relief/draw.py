"""Draw a smooth curve into a mesh, so that it runs along edges."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_edges
from unwrap.relief.ground import Ground

# A curve that passes a vertex closer than this share of the edge it crosses goes
# through the vertex: the bend is too small to see, and no sliver is left behind.
SNAP = 0.06


class CannotDraw(ValueError):
    """The curve leaves the patch, touches another cut, or is too short for the mesh."""


def draw_curve(
    ground: Ground, curve: FloatArray, *, from_edge: bool = True, to_edge: bool = False
) -> tuple[Ground, IntArray]:
    """Split faces so that a curve runs along edges.

    The curve is taken as the line where the signed distance to it changes its sign:
    each face then holds one straight run of it and neighbours agree on where it passes.

    Parameters
    ----------
    ground : Ground
        The mesh; both lips of earlier cuts are edges of it, and are not crossed.
    curve : (c, 2) float64
        Polyline in the chart, mm, sampled closely where it bends.
    from_edge : bool
        Whether the first point is moved to the nearest edge of the patch (as a relief
        cut's is).
    to_edge : bool
        Whether the last point is. Else it is the tip, inside the patch or on its edge.

    Returns
    -------
    ground : Ground
        The split mesh, not yet opened.
    chain : (k,) int64
        Its vertices along the curve, first to last.

    Raises
    ------
    CannotDraw
        If no run of faces carries the curve from its first point to its last.
    """
    ground, first = _edge_vertex(ground, curve) if from_edge else _inner_vertex(ground, curve[0])
    ground, last = _edge_vertex(ground, curve[::-1]) if to_edge else _inner_vertex(ground, curve[-1])
    if first == last:
        raise CannotDraw("the curve is shorter than the mesh can carry")
    return _along(ground, curve, first, last)


def cut_curves(
    ground: Ground, curves: list[FloatArray], through: Sequence[bool] | None = None
) -> tuple[Ground, list[FloatArray]]:
    """Draw curves one after the other and part the mesh along each.

    Those marked as `through` end on an edge too.

    Returns
    -------
    ground : Ground
        The opened mesh.
    cuts : list of (n, 3) float64
        The cuts on the surface, edge to tip, mm.
    """
    cuts = []
    for curve, to_edge in zip(curves, through or [False] * len(curves), strict=True):
        ground, chain = draw_curve(ground, curve, to_edge=to_edge)
        cuts.append(ground.surface[chain])
        ground = ground.opened(chain)
    return ground, cuts


def _edge_vertex(ground: Ground, curve: FloatArray) -> tuple[Ground, int]:
    """Vertex on the patch's edge at the curve's beginning, made where there is none."""
    edges = boundary_edges(ground.faces)
    a, b = ground.chart[edges[:, 0]], ground.chart[edges[:, 1]]
    along = b - a
    share = np.clip(
        np.einsum("ij,ij->i", curve[0] - a, along) / np.einsum("ij,ij->i", along, along), 0.0, 1.0
    )
    gap = np.linalg.norm(a + share[:, None] * along - curve[0], axis=1)
    # The lips of a cut lie on each other: take the one whose face the curve goes into.
    ahead = curve[min(1, len(curve) - 1)] - curve[0]
    inward = along[:, 0] * ahead[1] - along[:, 1] * ahead[0] > 0.0
    scale = float(np.linalg.norm(curve[-1] - curve[0])) + 1e-12
    best = int(np.argmin(gap + np.where(inward, 0.0, 1e-6 * scale)))
    edge, s = edges[best], float(share[best])
    if s < SNAP:
        return ground, int(edge[0])
    if s > 1.0 - SNAP:
        return ground, int(edge[1])
    ground, made, _ = ground.split(edge[None], np.array([s]), np.zeros(0, int), np.zeros((0, 3)))
    return ground, int(made[0])


def _inner_vertex(ground: Ground, point: FloatArray) -> tuple[Ground, int]:
    """Vertex at a point of the chart, made where there is none."""
    weights = _barycentric(ground, point)
    f = int(np.argmax(weights.min(axis=1)))
    w = weights[f]
    if w.min() < -1e-6:
        raise CannotDraw("the curve ends outside the patch")
    w = np.clip(w, 0.0, None) / np.clip(w, 0.0, None).sum()
    corners = ground.faces[f]
    if w.max() > 1.0 - SNAP:
        return ground, int(corners[np.argmax(w)])
    none = np.zeros(0, dtype=np.int64)
    if w.min() < SNAP:
        i, j = np.flatnonzero(np.arange(3) != np.argmin(w))
        share = w[j] / (w[i] + w[j])
        if share < SNAP or share > 1.0 - SNAP:
            return ground, int(corners[j if share > 0.5 else i])
        ground, made, _ = ground.split(corners[[i, j]][None], np.array([share]), none, np.zeros((0, 3)))
        return ground, int(made[0])
    ground, _, made = ground.split(np.zeros((0, 2), int), np.zeros(0), np.array([f]), w[None])
    return ground, int(made[0])


def _barycentric(ground: Ground, point: FloatArray) -> FloatArray:
    a, b, c = (ground.chart[ground.faces[:, k]] - point for k in range(3))

    def cross(p: FloatArray, q: FloatArray) -> FloatArray:
        return p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]

    parts = np.column_stack([cross(b, c), cross(c, a), cross(a, b)])
    total = parts.sum(axis=1, keepdims=True)
    return np.divide(parts, total, out=np.full_like(parts, -1.0), where=total > 0)


def _along(ground: Ground, curve: FloatArray, first: int, last: int) -> tuple[Ground, IntArray]:
    chart, faces = ground.chart, ground.faces
    # Only faces near the curve take part; beyond its ends the end tangents run on.
    f_edge = np.abs(chart[faces] - np.roll(chart[faces], -1, axis=1)).max()
    low, high = curve.min(axis=0) - f_edge, curve.max(axis=0) + f_edge
    near = np.flatnonzero(
        ((chart[faces].max(axis=1) >= low) & (chart[faces].min(axis=1) <= high)).all(axis=1)
    )
    ids = np.unique(faces[near])
    level = np.zeros(len(chart))
    level[ids] = _signed_distance(chart[ids], curve)
    edge_of_patch = np.zeros(len(chart), dtype=bool)
    edge_of_patch[boundary_edges(faces).ravel()] = True
    level[[first, last]] = 0.0
    _through_vertices(level, faces[near], edge_of_patch)
    level[[first, last]] = 0.0
    links = _links(level, faces[near], edge_of_patch, first, last)
    chain = _shortest(links, first, last)
    crossings = [node for node in chain if isinstance(node, tuple)]
    edges = np.array(crossings, dtype=np.int64).reshape(-1, 2)
    shares = level[edges[:, 0]] / (level[edges[:, 0]] - level[edges[:, 1]])
    none = np.zeros(0, dtype=np.int64)
    ground, made, _ = ground.split(edges, shares, none, np.zeros((0, 3)))
    number = dict(zip(crossings, made.tolist(), strict=True))
    return ground, np.array([number[c] if isinstance(c, tuple) else c for c in chain], dtype=np.int64)


def _signed_distance(points: FloatArray, curve: FloatArray) -> FloatArray:
    """Signed distance to a polyline that runs on straight at both ends; left is positive."""
    a, along = curve[:-1], np.diff(curve, axis=0)
    length = np.linalg.norm(along, axis=1)
    a, along = a[length > 0], along[length > 0]
    unit = along / np.linalg.norm(along, axis=1, keepdims=True)
    # Tangents at the corners: between them the side is judged by the turning tangent,
    # which leaves no wedge on the outside of a bend without a side.
    corner = np.concatenate([unit[:1], unit[:-1] + unit[1:], unit[-1:]])
    out = np.empty(len(points))
    for block in range(0, len(points), 4096):
        p = points[block : block + 4096, None, :]
        share = np.einsum("pcx,cx->pc", p - a, along) / np.einsum("cx,cx->c", along, along)
        share[:, 1:] = np.maximum(share[:, 1:], 0.0)
        share[:, :-1] = np.minimum(share[:, :-1], 1.0)
        away = p - (a + share[:, :, None] * along)
        nearest = np.argmin(np.einsum("pcx,pcx->pc", away, away), axis=1)
        row = np.arange(len(nearest))
        away, s = away[row, nearest], np.clip(share[row, nearest], 0.0, 1.0)[:, None]
        tangent = (1.0 - s) * corner[nearest] + s * corner[nearest + 1]
        side = tangent[:, 0] * away[:, 1] - tangent[:, 1] * away[:, 0]
        out[block : block + 4096] = np.sign(side) * np.linalg.norm(away, axis=1)
    return out


def _through_vertices(level: FloatArray, faces: IntArray, fixed: np.ndarray) -> None:
    """Let the curve pass through inner vertices that it would nearly touch; changes `level`."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    a, b = level[start], level[end]
    crossed = a * b < 0.0
    share = np.abs(a[crossed]) / (np.abs(a[crossed]) + np.abs(b[crossed]))
    close = np.concatenate([start[crossed][share < SNAP], end[crossed][share > 1.0 - SNAP]])
    level[np.unique(close[~fixed[close]])] = 0.0
    # A face that lies on the curve with all three corners has no side: give one back.
    flat = faces[(level[faces] == 0.0).all(axis=1)]
    level[flat[:, 0][~fixed[flat[:, 0]]]] = 1e-9 * float(np.abs(level).max())


Node = int | tuple[int, int]


def _links(
    level: FloatArray, faces: IntArray, fixed: np.ndarray, first: int, last: int
) -> dict[Node, list[Node]]:
    """Straight runs of the curve inside faces: vertices, or edges (a, b) that it crosses."""
    links: dict[Node, list[Node]] = {}
    sign = np.sign(level[faces]).astype(int)
    carries = (sign.min(axis=1) < 0) & (sign.max(axis=1) > 0) | ((sign == 0).sum(axis=1) == 2)
    one_sided: dict[tuple[int, int], int] = {}
    for corners, signs in zip(faces[carries].tolist(), sign[carries].tolist(), strict=True):
        nodes: list[Node] = [v for v, s in zip(corners, signs, strict=True) if s == 0]
        for i in range(3):
            a, b = corners[i], corners[(i + 1) % 3]
            if signs[i] * signs[(i + 1) % 3] < 0 and not (fixed[a] and fixed[b] and _is_lone(faces, a, b)):
                nodes.append((min(a, b), max(a, b)))
        if len(nodes) != 2:
            continue
        p, q = nodes
        if isinstance(p, int) and isinstance(q, int):
            # Along an edge: the curve runs there only if the faces lie on its two sides.
            key, side = (min(p, q), max(p, q)), sum(signs)
            if one_sided.setdefault(key, side) == side:
                continue
        # The curve may begin and end on the patch's edge but not touch it on the way.
        if any(isinstance(n, int) and fixed[n] and n not in (first, last) for n in nodes):
            continue
        links.setdefault(p, []).append(q)
        links.setdefault(q, []).append(p)
    return links


def _is_lone(faces: IntArray, a: int, b: int) -> bool:
    has = (faces == a).any(axis=1) & (faces == b).any(axis=1)
    return int(has.sum()) == 1


def _shortest(links: dict[Node, list[Node]], first: int, last: int) -> list[Node]:
    before: dict[Node, Node] = {first: first}
    queue: deque[Node] = deque([first])
    while queue:
        at = queue.popleft()
        if at == last:
            break
        for there in links.get(at, ()):
            if there not in before:
                before[there] = at
                queue.append(there)
    if last not in before:
        raise CannotDraw("the curve leaves the patch or meets another cut")
    chain: list[Node] = [last]
    while chain[-1] != first:
        chain.append(before[chain[-1]])
    return chain[::-1]
