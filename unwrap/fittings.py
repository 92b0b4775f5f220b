"""Slits for the parts that already stand on a piece's ground: knobs, pipes, brackets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.bench import Flattened
from unwrap.body.body import Body
from unwrap.cut_cost import cut_cost
from unwrap.flatten.edges import boundary_edges
from unwrap.job import Job
from unwrap.job_regions import FittingMark
from unwrap.regions.mirror import reflected, reflected_details
from unwrap.regions.nearest import nearest_on_faces
from unwrap.regions.region import Patch
from unwrap.relief.fitting import Fitting, even_ground, fitting_slit, nearest_on_piece
from unwrap.sheet.piece import Piece

# A fitting this far from a region (mm), or half its own width, still stands on it.
NEAR = 0.5


def fittings_on(job: Job, part: Flattened, body: Body, folder: Path) -> tuple[Fitting, ...]:
    """A hole and a slit for each fitting that stands on a piece, in the order to cut them.

    Those nearest to an edge come first, and the slits of the others may begin at theirs.
    """
    on_it = [fitting for fitting in job.fitting if _stands_on(fitting, part.patch)]
    if not on_it:
        return ()
    flat = part.flat
    ground = even_ground(flat)
    original = job.original_of(part.mark)
    surface = replace(part.patch, vertices=ground.surface, faces=ground.faces)
    if original is not part.mark:
        # Wishes and livery are those of the other side.
        surface = replace(
            surface,
            vertices=reflected(ground.surface, body.middle),
            faces=ground.faces[:, ::-1],
            details=reflected_details(part.patch.details, body.middle),
        )
    cost, keep_clear = cut_cost(job, original, surface, body, folder)
    holes = np.array([[*nearest_on_piece(flat, np.asarray(f.at))[1], f.diameter] for f in on_it])
    edge = shapely.MultiLineString(flat.points[boundary_edges(flat.faces)].tolist())
    made: list[Fitting] = []
    for k in np.argsort(shapely.distance(edge, shapely.points(holes[:, :2])), kind="stable").tolist():
        made.append(
            fitting_slit(
                flat,
                on_it[k].at,
                on_it[k].diameter,
                cost=cost,
                keep_clear=keep_clear,
                ground=ground,
                made=made,
                others=np.delete(holes, k, axis=0),
            )
        )
    return tuple(made)


def with_fittings(piece: Piece, fittings: Sequence[Fitting]) -> Piece:
    """A piece with its fittings' holes and slits."""
    if not fittings:
        return piece
    return replace(
        piece,
        pierce=np.vstack([piece.pierce, *(one.hole[None] for one in fittings)]),
        fitted=len(fittings),
        slits=(*piece.slits, *(one.slit for one in fittings if len(one.slit))),
    )


def told_of_fittings(job: Job, done: Mapping[str, Flattened]) -> list[str]:
    """A sentence for every fitting that stands on no piece, or that leaves nothing of one."""
    said = []
    for fitting in job.fitting:
        where = f"the fitting at ({', '.join(f'{x:g}' for x in fitting.at)})"
        under = [part for part in done.values() if _stands_on(fitting, part.patch)]
        if not under:
            said.append(
                f"{where} stands on no piece, so nothing is cut for it: give the point where it meets the "
                "surface"
            )
        said += [
            f"{where} is {fitting.diameter:g} mm wide and leaves nothing of piece {part.mark.name}: give its "
            "diameter where it meets the surface, or leave the region out"
            for part in under
            if _covers(fitting, part.patch.vertices)
        ]
    return said


def _stands_on(fitting: FittingMark, patch: Patch) -> bool:
    _, _, away = nearest_on_faces(patch.vertices[patch.faces], np.asarray(fitting.at))
    return away <= max(NEAR, 0.5 * fitting.diameter)


def _covers(fitting: FittingMark, places: FloatArray) -> bool:
    return bool(np.linalg.norm(places - np.asarray(fitting.at), axis=1).max() <= 0.5 * fitting.diameter)
