"""The smallest box round a shape, also for shapes whose corners lie all but in line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely


@dataclass(frozen=True)
class SmallestBox:
    """A box that may stand aslant: the direction of one side, radians, and its two sides, mm."""

    slant: float
    along: float
    across: float

    @property
    def area(self) -> float:
        """Area of the box, mm²."""
        return self.along * self.across


def smallest_box(shape: shapely.Geometry) -> SmallestBox:
    """Find the rectangle of least area that holds a shape.

    Parameters
    ----------
    shape : shapely geometry
        Anything with an area, mm.

    Returns
    -------
    SmallestBox

    Notes
    -----
    One side of the smallest rectangle runs along a side of the convex hull (H. Freeman and
    R. Shapira, 1975, Communications of the ACM 18(7)), so every hull
    side is tried. The geometry library's own search is not used: where hull corners lie
    within a rounding of one line it has answered with a box that misses the shape.
    """
    corners = np.asarray(shape.convex_hull.exterior.coords)[:-1]
    sides = np.roll(corners, -1, axis=0) - corners
    slants = np.arctan2(sides[:, 1], sides[:, 0])
    directions = np.stack([np.cos(slants), np.sin(slants)])
    normals = np.stack([-directions[1], directions[0]])
    along, across = np.ptp(corners @ directions, axis=0), np.ptp(corners @ normals, axis=0)
    # Hull sides of a rounding's length point anywhere; their boxes are sound all the same.
    least = int(np.argmin(along * across))
    return SmallestBox(float(slants[least]), float(along[least]), float(across[least]))
