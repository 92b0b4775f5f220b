"""A marked region's patch laid flat as its job asks: in one piece or, where it has to be, in several."""

from __future__ import annotations

from dataclasses import replace

from unwrap.arrays import BoolArray, FloatArray
from unwrap.bench import Flattened
from unwrap.errors import BadInput
from unwrap.flatten import flatten
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.parting import may_part, parted
from unwrap.regions.region import Patch
from unwrap.relief import relieve
from unwrap.relief.crumple import beyond_only_where_crumpled

PARTING = "in its region, relief = { part = true } lets it become several pieces that lap"


def lay_flat(
    job: Job, mark: RegionMark, patch: Patch, cost: FloatArray | None, keep_clear: BoolArray | None
) -> list[Flattened]:
    """A patch laid flat, with relief cuts where the film needs them; several where it has to be parted.

    The last two are what `cut_cost` tells of where cuts may go.
    """
    try:
        flat = _relieved(job, mark, patch, cost, keep_clear)
        parts = parted(job, mark, patch, flat, cost, keep_clear) if may_part(mark, flat) else []
    except BadInput:
        raise
    except ValueError as why:
        raise BadInput(
            f"region '{mark.name}': its surface is too broken to be laid flat ({why}); trim it with within, "
            "or mend the mesh there."
        ) from None
    nowhere = keep_clear is not None and bool(keep_clear.all())
    settled = mark.relief.part is True or nowhere or beyond_only_where_crumpled(flat)
    if not flat.within and not settled:
        flat = replace(flat, notes=(*flat.notes, PARTING))
    return parts or [Flattened(mark, patch, not_over_itself(mark, flat))]


def lay_flat_if_it_can(
    job: Job, mark: RegionMark, patch: Patch, cost: FloatArray | None, keep_clear: BoolArray | None
) -> tuple[list[Flattened], str]:
    """A region laid flat; or nothing, and the sentence that says why no piece can be made of it."""
    try:
        return lay_flat(job, mark, patch, cost, keep_clear), ""
    except BadInput as why:
        return [], str(why)


def lay_flat_at_once(job: Job, mark: RegionMark, patch: Patch) -> FlatPiece:
    """A patch's first flat shape, without cuts: least work, whatever the film says to its worst."""
    return flatten(patch.vertices, patch.faces, job.film_of(mark), thorough=False)


def _relieved(
    job: Job, mark: RegionMark, patch: Patch, cost: FloatArray | None, keep_clear: BoolArray | None
) -> FlatPiece:
    return relieve(
        patch.vertices,
        patch.faces,
        job.film_of(mark),
        cost=cost,
        keep_clear=keep_clear,
        most=mark.relief.most,
    )


def not_over_itself(mark: RegionMark, flat: FlatPiece) -> FlatPiece:
    """The piece, refused if it cannot be printed."""
    if flat.overlap:
        raise BadInput(
            f"region '{mark.name}': it curves so much that every flat shape found lies over itself; "
            "trim it with within, or mark it as two regions."
        )
    return flat
