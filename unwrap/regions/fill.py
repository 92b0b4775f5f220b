"""Fill a gap in a surface with triangles between the vertices of its edge."""

from __future__ import annotations

import mapbox_earcut
import numpy as np

from unwrap.body.body import FloatArray, IntArray


def fill_loops(vertices: FloatArray, loops: list[IntArray], normal: FloatArray | None = None) -> IntArray:
    """Triangulate the ground inside a loop, less the ground inside further loops.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    loops : list of (k,) int64
        Vertices along the gap's edges in order. The first is the outer one.
    normal : (3,) float64, optional
        The direction that the triangles face; by default that of the first loop taken
        as counter-clockwise.

    Returns
    -------
    (f, 3) int64
        Triangles, counter-clockwise about `normal`.
    """
    outer = vertices[loops[0]]
    if normal is None:
        normal = loop_normal(outer)
    first, second = plane_axes(normal)
    order = np.concatenate(loops)
    plane = np.stack([vertices[order] @ first, vertices[order] @ second], axis=1)
    # earcut works in floats relative to the size of the loop; centring keeps digits
    plane = plane - plane[: len(outer)].mean(axis=0)
    rings = np.cumsum([len(loop) for loop in loops]).astype(np.uint32)
    triangles = (
        mapbox_earcut.triangulate_float64(np.ascontiguousarray(plane), rings).reshape(-1, 3).astype(np.int64)
    )
    u, v = plane[triangles[:, 1]] - plane[triangles[:, 0]], plane[triangles[:, 2]] - plane[triangles[:, 0]]
    turned = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    triangles[turned] = triangles[turned][:, [0, 2, 1]]
    return order[triangles]


def loop_normal(points: FloatArray) -> FloatArray:
    """Unit normal of a closed loop by its area vector (M. E. Newell's method); +z for one without area."""
    middle = points - points.mean(axis=0)
    area = np.cross(middle, np.roll(middle, -1, axis=0)).sum(axis=0)
    length = np.linalg.norm(area)
    return area / length if length > 0 else np.array([0.0, 0.0, 1.0])


def plane_axes(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors that with `normal` make a right-handed frame."""
    first = np.cross(np.eye(3)[np.abs(normal).argmin()], normal)
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)
