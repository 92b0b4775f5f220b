"""Does a flat shape lie over itself?  Looked for over the whole shape, not per face."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops

# What lies over itself by less than this in depth (mm) touches: no blade parts it otherwise.
TOUCHES = 2e-3
SMALL = 1e-4  # nor by more than this share of the patch's size, however small it is


def overlaps(points: FloatArray, faces: IntArray, touches: float = TOUCHES) -> bool:
    """True if the flat shape lies over itself somewhere.

    With every face wound counter-clockwise, how many faces lie over a place is the
    winding number of the outline round it. An outline that does not cross itself, whose
    outer loop winds once and holds the others (which wind the other way), gives 1 inside
    and 0 outside: no overlap.

    Parameters
    ----------
    points : (n, 2) float64
        Flat positions, no flipped face.
    faces : (m, 3) int64
    touches : float
        Depth of what lies double that still is no overlap, mm.
    """
    loops = [points[loop] for loop in boundary_loops(faces)]
    signed = [signed_area(loop) for loop in loops]
    outer = int(np.argmax(signed))
    if signed[outer] <= 0.0 or sum(s > 0.0 for s in signed) != 1:
        return True
    rings = shapely.polygons(
        shapely.linearrings(loops[outer]),
        holes=[shapely.linearrings(loop) for k, loop in enumerate(loops) if k != outer] or None,
    )
    if bool(shapely.is_valid(rings)):
        return False
    # Touching is no overlap: only area counted twice is.
    touches = min(touches, SMALL * float(np.sqrt(abs(sum(signed)))))
    double = sum(signed) - float(shapely.make_valid(rings).area)
    if np.isclose(double, 0.0, atol=1e-9 * abs(sum(signed))):
        return False
    # Far more than a hair along the whole outline: there is no need to look where.
    around = sum(float(np.linalg.norm(loop - np.roll(loop, 1, axis=0), axis=1).sum()) for loop in loops)
    return abs(double) > touches * around or _deepest_double(points, faces) > touches


def _deepest_double(points: FloatArray, faces: IntArray) -> float:
    """Depth of the deepest place at which two faces lie over each other: twice its area over its length."""
    triangles = shapely.polygons(points[faces])
    one, two = shapely.STRtree(triangles).query(triangles, predicate="intersects")
    one, two = one[one < two], two[one < two]
    shared = shapely.intersection(triangles[one], triangles[two])
    area, around = shapely.area(shared), shapely.length(shared)
    depth = np.divide(4.0 * area, around, out=np.zeros(len(area)), where=around > 0)
    return float(depth.max(initial=0.0))


def signed_area(loop: FloatArray) -> float:
    """Area inside a closed outline (n, 2), positive if it runs counter-clockwise."""
    p = loop - loop[0]
    q = np.roll(p, -1, axis=0)
    return float(0.5 * np.sum(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]))
