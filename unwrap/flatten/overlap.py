"""Does a flat shape lie over itself?  Looked for over the whole shape, not per face."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.edges import boundary_loops


def overlaps(points: FloatArray, faces: IntArray) -> bool:
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
    return not np.isclose(float(shapely.make_valid(rings).area), sum(signed), rtol=1e-9)


def signed_area(loop: FloatArray) -> float:
    """Area inside a closed outline (n, 2), positive if it runs counter-clockwise."""
    p = loop - loop[0]
    q = np.roll(p, -1, axis=0)
    return float(0.5 * np.sum(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]))
