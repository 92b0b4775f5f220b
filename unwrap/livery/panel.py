"""A panel within a region: the part between planes square to the body's axes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from unwrap.errors import BadInput
from unwrap.livery.beams import Beams
from unwrap.livery.carry import Carry
from unwrap.livery.edges import Edge
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered
from unwrap.livery.planar import clip_convex, join_parts, ragged_polygons
from unwrap.livery.section import section_strips

AXES = "xyz"
# A limit this near to the end of a region (mm) is no limit.
AT_END = 1e-3

Limits = Mapping[str, tuple[float, float]]


class Panel:
    """Limits that part a panel from its region, as edges to inset from.

    Parameters
    ----------
    ground : Ground
    within : mapping of str to (low, high)
        Limits along "x", "y", "z", mm; empty for the whole region.
    depth : float
        How far inside the limits will be asked for, mm.
    where : str
        What the panel is for, for messages.

    Raises
    ------
    BadInput
        If an axis is unknown or the limits miss the region.
    """

    def __init__(self, ground: Ground, within: Limits, depth: float, where: str) -> None:
        self.ground = ground
        self.planes: list[tuple[int, float, bool]] = []
        self.strips: list[Beams] = []
        for name, (low, high) in within.items():
            if name not in AXES:
                raise BadInput(f'{where}: there is no axis "{name}"; use x, y and z')
            axis = AXES.index(name)
            least, most = ground.vertices[:, axis].min(), ground.vertices[:, axis].max()
            if not low < high or high <= least or low >= most:
                raise BadInput(
                    f"{where}: {name} from {low:g} to {high:g} holds nothing of the region, "
                    f"which runs from {least:.2f} to {most:.2f} mm"
                )
            for limit, above in ((low, True), (high, False)):
                if least + AT_END < limit < most - AT_END:
                    ahead, astern = section_strips(ground, axis, limit, depth)
                    self.planes.append((axis, limit, above))
                    self.strips.append(ahead if above else astern)

    def holds(self, edge: Edge) -> bool:
        """Whether an edge of the ground, or a part of it, bounds the panel."""
        start, end = self.ground.vertices[list(edge)]
        low, high = 0.0, 1.0
        for axis, limit, above in self.planes:
            near, far = ((end if k else start)[axis] - limit for k in (0, 1))
            near, far = (near, far) if above else (-near, -far)
            if max(near, far) <= 0:
                return False
            if min(near, far) < 0:
                share = near / (near - far)
                low, high = (max(low, share), high) if near < 0 else (low, min(high, share))
        return high > low

    def outside(self, level: float) -> list[list[shapely.Geometry]]:
        """Per carry, what lies beyond the limits or nearer to one than `level`."""
        out: list[list[shapely.Geometry]] = [[] for _ in self.ground.carries]
        for (axis, limit, above), strips in zip(self.planes, self.strips, strict=True):
            for i, carry in enumerate(self.ground.carries):
                out[i].append(_beyond(carry, axis, limit, not above))
            if level > 0:
                for i, area in enumerate(covered(self.ground, strips, 0.0, level)):
                    out[i].append(area)
        return out


def _beyond(carry: Carry, axis: int, limit: float, above: bool) -> shapely.Geometry:
    """The part of a piece on one side of a plane."""
    value = (carry.on_surface[..., axis] - limit) * (1.0 if above else -1.0)
    whole = np.flatnonzero((value >= 0).all(axis=1))
    crossed = np.flatnonzero((value > 0).any(axis=1) & (value < 0).any(axis=1))
    flat = carry.on_sheet[crossed]
    # The plane's line on the sheet: the linear function with these values at the corners.
    system = np.concatenate([flat, np.ones((len(crossed), 3, 1))], axis=2)
    lines = np.linalg.solve(system, value[crossed][..., None])[..., 0]
    polygons, counts = clip_convex(flat, np.full(len(crossed), 3), lines)
    bits = ragged_polygons(polygons, counts)
    return join_parts(whole, bits, crossed[counts >= 3], carry.on_sheet)
