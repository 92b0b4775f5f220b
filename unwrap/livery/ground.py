"""The ground that a livery is laid on: one or several patches joined as they are on the body."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from functools import cached_property

import mapbox_earcut
import numpy as np
import shapely
from scipy.spatial import cKDTree

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.carry import Carry
from unwrap.livery.loops import boundary_loops

# Corners closer than this (mm) are the same place on the body.
SAME_PLACE = 1e-5


class Ground:
    """Patches joined along their joints (and along the edges they share) into one surface.

    Lining and bands are laid on the ground, so they run on across joints as if the
    region had never been opened.

    Parameters
    ----------
    carries : sequence of Carry
        The patches and their flat pieces.

    Attributes
    ----------
    vertices : (n, 3) float64
    faces : (m, 3) int64
        All patches' faces, one patch after the other.
    owner : (m,) int64
        Which carry each face belongs to.
    face : (m,) int64
        Its number in that patch.
    """

    def __init__(self, carries: Sequence[Carry]) -> None:
        self.carries = tuple(carries)
        places = np.concatenate([carry.patch.vertices for carry in self.carries])
        shift = np.cumsum([0] + [len(carry.patch.vertices) for carry in self.carries])
        faces = np.concatenate([c.patch.faces + s for c, s in zip(self.carries, shift, strict=False)])
        same = np.arange(len(places))
        for carry, s in zip(self.carries, shift, strict=False):
            for joint in carry.patch.joints:
                same = _merge(same, joint.first + s, joint.second + s)
        if len(self.carries) > 1:
            same = _merge(same, *_coincident(places, faces, shift, same))
        keep, number = np.unique(same, return_inverse=True)
        self.vertices: FloatArray = places[keep]
        self.faces: IntArray = number[faces]
        self.owner: IntArray = np.repeat(
            np.arange(len(self.carries)), [len(carry.patch.faces) for carry in self.carries]
        )
        self.face: IntArray = np.concatenate([np.arange(len(carry.patch.faces)) for carry in self.carries])
        self.number: IntArray = number
        self.shift: IntArray = shift

    def bridged(self, loops: Sequence[IntArray]) -> Ground:
        """The same ground with openings closed by faces that belong to no piece.

        Rays pass over them, so that a line runs on beside a window as a ruler would have
        it, instead of round its shadow.
        """
        lids = [lid for loop in loops if len(lid := _lid(self.vertices[loop], loop))]
        if not lids:
            return self
        out = copy(self)
        # What is worked out from the faces must be worked out anew.
        for name in [name for name, kind in vars(Ground).items() if isinstance(kind, cached_property)]:
            out.__dict__.pop(name, None)
        added = np.concatenate(lids)
        nobody = np.full(len(added), -1)
        out.faces = np.concatenate([self.faces, added])
        out.owner = np.concatenate([self.owner, nobody])
        out.face = np.concatenate([self.face, nobody])
        return out

    @property
    def name(self) -> str:
        """The regions' names, for messages."""
        return " + ".join(carry.name for carry in self.carries)

    @cached_property
    def corners(self) -> FloatArray:
        """(m, 3, 3) corner positions, mm."""
        return self.vertices[self.faces]

    @cached_property
    def normals(self) -> FloatArray:
        """(m, 3) unit normals, outwards; zero for a face without area."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        normal = np.cross(b - a, c - a)
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        return np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)

    @cached_property
    def local(self) -> FloatArray:
        """(m, 3, 2) each face laid in a plane of its own: first edge along x, mm."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        base = np.linalg.norm(b - a, axis=1)
        along = (b - a) / np.maximum(base, 1e-300)[:, None]
        x = np.einsum("mj,mj->m", c - a, along)
        y = np.linalg.norm(c - a - x[:, None] * along, axis=1)
        zero = np.zeros_like(x)
        return np.stack([np.stack([zero, zero], 1), np.stack([base, zero], 1), np.stack([x, y], 1)], axis=1)

    @cached_property
    def angles(self) -> FloatArray:
        """(m, 3) corner angles, radians."""
        p = self.local
        out = np.zeros(p.shape[:2])
        for k in range(3):
            u, v = p[:, (k + 1) % 3] - p[:, k], p[:, (k + 2) % 3] - p[:, k]
            out[:, k] = np.arctan2(np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]), (u * v).sum(axis=1))
        return out

    @cached_property
    def angle_sum(self) -> FloatArray:
        """(n,) surface angle round each vertex (interior angle at an edge), radians."""
        return np.bincount(self.faces.ravel(), self.angles.ravel(), len(self.vertices)).astype(np.float64)

    @cached_property
    def across(self) -> tuple[IntArray, IntArray]:
        """(m, 3) face across each edge (corner k to k + 1) and that edge's number there; -1 at an edge."""
        n = len(self.vertices)
        start, end = self.faces, np.roll(self.faces, -1, axis=1)
        forth, back = (start * n + end).ravel(), (end * n + start).ravel()
        order = np.argsort(forth, kind="stable")
        at = np.searchsorted(forth[order], back)
        at = np.minimum(at, len(order) - 1)
        match = order[at]
        found = forth[match] == back
        face = np.where(found, match // 3, -1).reshape(-1, 3)
        edge = np.where(found, match % 3, -1).reshape(-1, 3)
        return face, edge

    @cached_property
    def on_edge(self) -> np.ndarray:
        """(n,) True for vertices on an edge of the ground."""
        flag = np.zeros(len(self.vertices), dtype=bool)
        face, k = np.nonzero(self.across[0] < 0)
        flag[self.faces[face, k]] = True
        flag[self.faces[face, (k + 1) % 3]] = True
        return flag

    @cached_property
    def excess(self) -> FloatArray:
        """(n,) how far the angle round an inner vertex is over a full turn, radians; 0 elsewhere.

        Rays that pass such a vertex on either side part and leave a shadow of that angle.
        """
        return np.where(self.on_edge, 0.0, np.maximum(self.angle_sum - 2 * np.pi, 0.0))

    @cached_property
    def loops(self) -> list[IntArray]:
        """Edge loops as vertices, ground on the left."""
        return boundary_loops(self.faces)

    @cached_property
    def free(self) -> dict[tuple[int, int], tuple[int, int]]:
        """(face, edge number) of each edge of the ground, by its two vertices."""
        face, k = np.nonzero(self.across[0] < 0)
        start, end = self.faces[face, k], self.faces[face, (k + 1) % 3]
        keys = zip(start.tolist(), end.tolist(), strict=True)
        return dict(zip(keys, zip(face.tolist(), k.tolist(), strict=True), strict=True))


def _lid(points: FloatArray, loop: IntArray) -> IntArray:
    """Triangles that close an opening, facing as the ground does; none where it is no simple shape.

    The loop has the ground on its left, so the opening is on its right.
    """
    middle = points.mean(axis=0)
    axes = np.linalg.svd(points - middle, full_matrices=False)[2][:2]
    flat = np.ascontiguousarray((points - middle) @ axes.T)
    if not shapely.Polygon(flat).is_valid:
        return np.zeros((0, 3), dtype=np.int64)
    found = mapbox_earcut.triangulate_float64(flat, np.array([len(flat)], dtype=np.uint32))
    lid = loop[found.reshape(-1, 3).astype(np.int64)]
    # Its edges must run against the loop's, or it faces the wrong way.
    ahead = set(zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))
    with_loop = sum((int(a), int(b)) in ahead for t in lid for a, b in zip(t, np.roll(t, -1), strict=True))
    return lid[:, ::-1] if with_loop > 0 else lid


def _merge(same: IntArray, first: IntArray, second: IntArray) -> IntArray:
    """Give pairs of vertices one number (the lowest of all that hang together)."""
    same = same.copy()
    for a, b in zip(np.asarray(first).tolist(), np.asarray(second).tolist(), strict=True):
        i, j = _root(same, a), _root(same, b)
        same[max(i, j)] = min(i, j)
    return np.array([_root(same, i) for i in range(len(same))], dtype=np.int64)


def _root(same: IntArray, i: int) -> int:
    while same[i] != i:
        same[i] = same[same[i]]
        i = int(same[i])
    return i


def _coincident(
    places: FloatArray, faces: IntArray, shift: IntArray, same: IntArray
) -> tuple[IntArray, IntArray]:
    """Pairs of edge vertices of different patches at the same place, the nearest first.

    Two corners of one patch never become one by way of a third patch's: where a limit has
    passed a hair beside a corner, the face between them would be left without a side.
    """
    edge = np.unique(np.concatenate(boundary_loops(faces)))
    pairs = edge[cKDTree(places[edge]).query_pairs(SAME_PLACE, output_type="ndarray")]
    pairs = pairs[
        np.argsort(np.linalg.norm(places[pairs[:, 0]] - places[pairs[:, 1]], axis=1), kind="stable")
    ]
    owner = np.searchsorted(shift, np.arange(len(places)), side="right")
    same = same.copy()
    owners: dict[int, set[int]] = {}
    for vertex in np.unique(pairs).tolist():
        owners.setdefault(int(same[vertex]), set()).add(int(owner[vertex]))
    kept = []
    for a, b in pairs.tolist():
        i, j = sorted((_root(same, a), _root(same, b)))
        if i != j and not owners[i] & owners[j]:
            same[j] = i
            owners[i] |= owners.pop(j)
            kept.append((a, b))
    first, second = np.array(kept, dtype=np.int64).reshape(-1, 2).T
    return first, second
