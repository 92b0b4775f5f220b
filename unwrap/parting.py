"""Regions that one piece cannot cover, as several that lap over one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.bench import Flattened
from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.job import Job
from unwrap.job_livery import LiningMark, Mark
from unwrap.job_regions import PartMark, RegionMark
from unwrap.regions.region import Joint, Patch
from unwrap.relief import Parted, Side, part

# How far a piece runs on under its neighbour, mm: common practice, no source.
BENEATH = 0.6
# Parting is worth it where it leaves less than this share of the area beyond the film.
HELPS = 0.7
# Places nearer than this to the parting lie on it, mm.
ON_LINE = 1e-6


def may_part(mark: RegionMark, flat: FlatPiece) -> bool:
    """Whether a region is to be parted if that helps.

    Left to itself, where the whole would lie over itself, and where no slit helps because its lips
    would lie over each other; wherever the film is asked too much if the job says so.
    """
    wish = mark.relief.part
    if wish is False or flat.within:
        return wish is not False and flat.overlap
    return wish is True or flat.overlap or (not flat.cuts and mark.relief.most is None)


def parted(
    job: Job,
    mark: RegionMark,
    patch: Patch,
    whole: FlatPiece,
    cost: FloatArray | None = None,
    keep_clear: BoolArray | None = None,
) -> list[Flattened]:
    """The parts of a region that fit where the whole does not; none if parting does not help.

    The last two are what `cut_cost` tells of where cuts may go.
    """
    found = part(
        patch.vertices, patch.faces, job.film_of(mark), cost=cost, keep_clear=keep_clear, whole=whole
    )
    sides = [side.flat for side in found.sides]
    if len(sides) < 2 or any(flat.overlap for flat in sides):
        return []
    beyond = sum(flat.area_beyond * float(flat.areas.sum()) for flat in sides)
    if (
        not found.within
        and beyond > HELPS * whole.area_beyond * float(whole.areas.sum())
        and not whole.overlap
    ):
        return []
    return parts_of(mark, patch, found)


def parts_of(mark: RegionMark, patch: Patch, parted: Parted) -> list[Flattened]:
    """The parts of a region, each a region of its own, laid flat.

    Parameters
    ----------
    mark : RegionMark
        The whole region.
    patch : Patch
        Its surface.
    parted : Parted
        How that was parted.
    """
    marks = PartMark.parts_of(mark, len(parted.sides))
    out = []
    for k, (own, side) in enumerate(zip(marks, parted.sides, strict=True)):
        beneath = [parting for parting in parted.partings if k in parting.under]
        under = [_edges_on(side.flat, parting.line) for parting in beneath]
        edges = np.concatenate([np.zeros((0, 2), dtype=np.int64), *under])
        over = tuple(
            marks[j].name
            for parting, found in zip(beneath, under, strict=True)
            if len(found)
            for j in parting.over
            if len(_edges_on(parted.sides[j].flat, parting.line))
        )
        out.append(Flattened(own, _patch_of(own.name, patch, parted.sides, k), side.flat, edges, over))
    return out


def over_reflected(own: RegionMark, original: RegionMark, over: Sequence[str]) -> tuple[str, ...]:
    """Which parts lap over a reflected part, from the names of those that lap over its original."""
    if not (isinstance(own, PartMark) and isinstance(original, PartMark)):
        return ()
    named = dict(zip(original.names, own.names, strict=True))
    return tuple(named[name] for name in over)


def with_parts(job: Job, name: str, count: int) -> Job:
    """The job with a region, and those that reflect it, replaced by their parts."""
    parts = {
        mark.name: PartMark.parts_of(mark, count)
        for mark in job.region
        if name in (mark.name, mark.mirror_of)
    }
    renamed = {whole: [part.name for part in group] for whole, group in parts.items()}
    regions: list[RegionMark] = []
    for mark in job.region:
        if mark.mirror_of == name:
            pairs = zip(parts[mark.name], renamed[name], strict=True)
            regions += [part.model_copy(update={"mirror_of": original}) for part, original in pairs]
        else:
            regions += parts.get(mark.name, [mark])
    lining = [part for line in job.lining for part in _lines_over_parts(line, renamed)]
    update = {
        kind: [_renamed(m, renamed) for m in getattr(job, kind)] for kind in ("fill", "band", "lettering")
    }
    return job.model_copy(update={"region": regions, "lining": lining, **update})


def told_of_parts(made: Job) -> list[str]:
    """A sentence for every region that came out in several pieces."""
    counts = {mark.whole: mark.count for mark in made.region if isinstance(mark, PartMark)}
    return [
        f"region '{name}' is made in {count} pieces, one lapping over the other by {BENEATH:g} mm: no single "
        "piece with slits lies on it within the film's take-up and nowhere over itself."
        for name, count in counts.items()
    ]


def _lines_over_parts(line: LiningMark, renamed: dict[str, list[str]]) -> list[LiningMark]:
    """A line set that goes round a parted region as if it were whole."""
    if line.together or not set(line.region) & set(renamed):
        return [_renamed(line, renamed)]
    rest = [name for name in line.region if name not in renamed]
    out = [line.model_copy(update={"region": rest})] if rest else []
    for name in line.region:
        if name in renamed:
            out.append(line.model_copy(update={"region": renamed[name], "together": True}))
    return out


def _renamed(mark: Mark, renamed: dict[str, list[str]]) -> Mark:
    return mark.model_copy(update={"region": [new for old in mark.region for new in renamed.get(old, [old])]})


def _patch_of(name: str, whole: Patch, sides: Sequence[Side], which: int) -> Patch:
    """One part's patch, with the details, holes and joints that lie on it."""
    side = sides[which]

    def here(places: FloatArray) -> np.ndarray:
        away = [np.asarray(cKDTree(s.vertices).query(places)[0]) for s in sides]
        return np.argmin(away, axis=0) == which

    new = {int(old): k for k, old in enumerate(side.vertex) if old >= 0}
    joints = []
    for joint in whole.joints:
        pairs = zip(joint.first.tolist(), joint.second.tolist(), strict=True)
        kept = np.array([(new[a], new[b]) for a, b in pairs if a in new and b in new], dtype=np.int64)
        kept = _with_made_ends(kept, side)
        if len(kept) > 1:
            joints.append(Joint(*kept.T))
    places = np.array([detail.at for detail in whole.details]).reshape(-1, 3)
    details = tuple(d for d, mine in zip(whole.details, here(places), strict=True) if mine)
    holes = whole.holes[here(whole.holes[:, :3])]
    return replace(
        whole,
        name=name,
        vertices=side.vertices,
        faces=side.faces,
        joints=tuple(joints),
        details=details,
        holes=holes,
    )


def _with_made_ends(pairs: IntArray, side: Side) -> IntArray:
    """A joint's pairs with those that a parting made where it crosses the joint."""
    made = np.flatnonzero(side.vertex < 0)
    if len(pairs) == 0 or len(made) < 2:
        return pairs
    beside = {tuple(edge) for edge in np.sort(boundary_edges(side.faces), axis=1).tolist()}
    twins = [made[list(twin)] for twin in cKDTree(side.vertices[made]).query_pairs(ON_LINE)]
    ends = [pairs[:1], pairs[-1:]]
    for k, (a, b) in enumerate((ends[0][0], ends[1][0])):
        for one, two in [*twins, *(twin[::-1] for twin in twins)]:
            if {(min(one, a), max(one, a)), (min(two, b), max(two, b))} <= beside:
                ends[k] = np.array([[one, two]])
    first = [] if (ends[0] == pairs[:1]).all() else [ends[0]]
    last = [] if (ends[1] == pairs[-1:]).all() else [ends[1]]
    return np.concatenate([*first, pairs, *last])


def _edges_on(flat: FlatPiece, line: FloatArray) -> IntArray:
    """(k, 2) the piece's edges that lie on a parting."""
    free = boundary_edges(flat.faces)
    a, along = line[:-1], np.diff(line, axis=0)
    places = flat.surface[np.unique(free)]
    share = np.einsum("pcx,cx->pc", places[:, None] - a, along) / np.einsum("cx,cx->c", along, along)
    foot = a + np.clip(share, 0.0, 1.0)[:, :, None] * along
    on_line = np.zeros(len(flat.surface), dtype=bool)
    on_line[np.unique(free)] = np.linalg.norm(places[:, None] - foot, axis=2).min(axis=1) < ON_LINE
    return free[on_line[free].all(axis=1)]
