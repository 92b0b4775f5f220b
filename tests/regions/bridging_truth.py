"""A bridged region measured against the same body built without its details."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from bridged_bodies import Case
from conftest import all_faces, body_of_solid
from manifold3d import Manifold

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.regions import Patch, grow_region, make_patch
from unwrap.regions.edges import boundary_loops, face_normals

# What the two may differ by: outline mm, share of the area, stretch of what is developable.
OUTLINE, AREA, STRETCH = 0.05, 2e-3, 1e-3


@dataclass(frozen=True)
class Compared:
    """What a bridged region differs by.

    Parameters
    ----------
    count : int
        Details that were carried over.
    outline : float
        Largest distance of one outline from the other, mm.
    area : float
        Share of the area.
    stretch : float
        Largest |stretch| of the flat piece.
    """

    count: int
    outline: float
    area: float
    stretch: float

    @property
    def holds(self) -> bool:
        """Whether all are as small as they must be."""
        return self.outline <= OUTLINE and self.area <= AREA and self.stretch <= STRETCH


def compare(case: Case) -> Compared:
    """Grow and bridge a case's region on both of its bodies."""
    bridged, plain = (_patch(solid, case) for solid in case.make())
    areas = [float(face_normals(patch.vertices, patch.faces)[1].sum()) for patch in (bridged, plain)]
    flat = flatten(bridged.vertices, bridged.faces, Film(0.04, 0.01), thorough=False)
    return Compared(
        len(bridged.details),
        max(_off(bridged, plain), _off(plain, bridged)),
        abs(areas[0] / areas[1] - 1.0),
        float(np.abs(flat.stretch - 1.0).max()),
    )


def _patch(solid: Manifold, case: Case) -> Patch:
    body = body_of_solid(solid)
    region = grow_region(
        body, "side", case.at, within=case.within, outside=all_faces(body), bridge=case.bridge
    )
    return make_patch(region, bridge=case.bridge)


def _off(one: Patch, other: Patch) -> float:
    """Largest distance of one outline's corners from the other outline, mm."""
    points = one.vertices[np.concatenate(boundary_loops(one.faces))]
    loops = [other.vertices[loop] for loop in boundary_loops(other.faces)]
    start = np.concatenate(loops)
    along = np.concatenate([np.roll(loop, -1, axis=0) - loop for loop in loops])
    offset = points[:, None] - start[None]
    share = np.clip((offset * along).sum(-1) / (along * along).sum(-1), 0, 1)
    return float(np.linalg.norm(offset - share[..., None] * along, axis=2).min(axis=1).max())
