"""From a marked region to its pieces, keeping whatever the next change leaves as it is."""

from __future__ import annotations

import hashlib
import traceback
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from unwrap.bench import Flattened
from unwrap.cut_cost import cut_cost
from unwrap.dress import Paints, dress_what_fits
from unwrap.errors import BadInput
from unwrap.fittings import fittings_on
from unwrap.flatten.bound import bound_of
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.job import Job
from unwrap.job_regions import PartMark, RegionMark
from unwrap.lay_flat import lay_flat, lay_flat_at_once
from unwrap.livery.carry import Carry
from unwrap.livery.paint import Paint
from unwrap.make import finish, flatten_mark, ready_patch
from unwrap.page.aside import Aside, Dropped, go_on
from unwrap.page.session import GROWN_KEYS, Session
from unwrap.page.upright import beside, upright
from unwrap.parting import with_parts
from unwrap.progress import Stopwatch
from unwrap.regions.region import Patch
from unwrap.sheet.outline import direction_on, outline_of
from unwrap.sheet.piece import Piece

# What of a region's mark decides its flat shape, beyond where it lies on the body.
_SHAPE_KEYS = GROWN_KEYS | {"openings", "joint", "relief"}
_MARKS = ("fill", "lining", "band", "lettering")
MOST_KEPT = 60  # flat shapes


@dataclass(frozen=True, eq=False)
class Worked:
    """A region's piece, or the sentence that says why there is none.

    Where only some livery does not fit, there is the piece without that, and the sentence.

    Parameters
    ----------
    key : str
        Names the state of the job that this belongs to.
    grown : str
        Names the region that it was made from.
    pieces : tuple of Piece
        One, or the several that a region is parted into, side by side.
    first : bool
        A first answer, before the cuts are worked out; the full one follows.
    """

    key: str
    grown: str
    pieces: tuple[Piece, ...] = ()
    remarks: tuple[str, ...] = ()
    error: str | None = None
    first: bool = False


@dataclass(frozen=True, eq=False)
class Laid:
    """A region laid flat, in one part or several; `weighed` names what had a say in its cuts."""

    parts: tuple[Flattened, ...]
    carries: tuple[Carry, ...]
    weighed: str = ""


class WorkingOut:
    """Works out the pieces of a session's regions.

    Parameters
    ----------
    session : Session
    aside : Aside
        Whom whole pieces are given to; first shapes are worked out here.
    """

    def __init__(self, session: Session, aside: Aside) -> None:
        self.session = session
        self.aside = aside
        self._laid: dict[str, Laid] = {}
        self._painted: dict[str, tuple[str, tuple[Paints, list[str], str | None]]] = {}
        self._patches: dict[str, Patch] = {}

    def forget(self) -> None:
        """Give up the flat shapes that are kept, as if the job were new."""
        self._laid.clear()
        self._painted.clear()
        self._patches.clear()

    # -------------------------------------------------------------- what depends on what

    def key(self, job: Job, mark: RegionMark) -> str:
        """Names everything that a region's pieces depend on."""
        fittings = [fitting.model_dump() for fitting in job.fitting]
        own = mark.name, mark.spares, job.bleed_of(mark), job.original_of(mark).relief.lap
        return _digest((self._livery_key(job, mark), own, fittings))

    def grown_key(self, job: Job, mark: RegionMark) -> str:
        """Names everything that decides where a region lies on the body."""
        settings = job.original_of(mark).model_dump(include=set(GROWN_KEYS))
        return _digest((self.session.on_bench().key, job.job.scale, settings, mark.mirror_of is not None))

    def _shape_key(self, job: Job, mark: RegionMark) -> str:
        settings = job.original_of(mark).model_dump(include=set(_SHAPE_KEYS))
        return _digest((mark.name, self.grown_key(job, mark), job.film_of(mark), settings))

    def _livery_key(self, job: Job, mark: RegionMark) -> str:
        marks = [[m.model_dump() for m in job.marks_for(getattr(job, kind), mark)] for kind in _MARKS]
        shapes = [self._shape_key(job, other) for other in self._partners(job, mark)]
        limits = job.print.min_line, job.print.min_gap
        return _digest((shapes, marks, self.drawings(job), limits))

    def _weighed(self, job: Job, mark: RegionMark) -> str:
        """Names the livery that has a say in where a region's cuts go."""
        kinds = (job.lining, job.band, job.lettering)
        marks = [m.model_dump() for kind in kinds for m in job.marks_for(kind, job.original_of(mark))]
        return _digest((marks, self.drawings(job)))

    def drawings(self, job: Job) -> list[Any]:
        """The job's artwork, and when each drawing was last saved."""
        return [(m.model_dump(), _saved(self.session.folder / m.file)) for m in job.artwork]

    def _partners(self, job: Job, mark: RegionMark) -> list[RegionMark]:
        """The region itself, then those that share a mark with it that runs across them."""
        together = [lining for lining in job.lining if lining.together]
        # What a region reflects comes along: it takes that one's livery.
        names = {mark.name} | ({mark.mirror_of} if mark.mirror_of else set())
        for across in job.marks_for([*together, *job.band, *job.lettering], mark):
            named = set(across.region)
            reflected = {other.name for other in job.region if other.mirror_of in named} - named
            names |= named if mark.name in named else named | reflected
        return [mark, *(other for other in job.region if other.name in names - {mark.name})]

    # -------------------------------------------------------------- the work

    def whole(self, job: Job, mark: RegionMark, key: str) -> Worked:
        """The region's pieces with all their livery and cuts."""
        grown = self.grown_key(job, mark)
        try:
            return self._finished(job, mark, self._laid_flat(job, mark), key, grown)
        except Dropped:
            raise
        except BadInput as error:
            return Worked(key, grown, error=str(error))
        except Exception as error:  # one region that fails must not end the page
            traceback.print_exc()
            return Worked(key, grown, error=f'region "{mark.name}": this could not be worked out ({error}).')

    def at_once(self, job: Job, mark: RegionMark, key: str) -> Iterator[Worked]:
        """What can be shown while the whole is worked out: the shape of least work, or the former cuts."""
        try:
            yield from self._at_once(job, mark, key, self.grown_key(job, mark))
        except Dropped:
            raise
        except Exception:
            return  # the whole says what is wrong

    def _at_once(self, job: Job, mark: RegionMark, key: str, grown: str) -> Iterator[Worked]:
        known = self._laid.get(self._shape_key(job, mark))
        if known is None and mark.mirror_of is None:
            patch = self._patch(job, mark)
            go_on()
            flat = lay_flat_at_once(job, mark, patch)
            yield Worked(f"first of {key}", grown, (upright(_sketch(job, mark, patch, flat)),), first=True)
            if not flat.beyond.any():  # nothing to even out and nothing to cut: the full shape already
                flat = replace(flat, bound=bound_of(flat.surface, flat.faces, flat.points))
                self._keep(job, mark, [Flattened(mark, patch, flat)])
                return
            known = _carried([Flattened(mark, patch, flat)], "without cuts")
        elif known is None or not self._outdated(job, mark, known):
            return
        yield self._finished(job, mark, known, f"first with livery of {key}", grown, first=True)

    def _finished(
        self, job: Job, mark: RegionMark, laid: Laid, key: str, grown: str, first: bool = False
    ) -> Worked:
        paints, remarks, error = self._dressed(_only_on(job, mark), mark, laid, first)
        go_on()
        body, folder = self.session.on_bench().body, self.session.folder
        pieces = [
            upright(finish(job, part, paints[part.mark.name], fittings=fittings_on(job, part, body, folder)))
            for part in laid.parts
        ]
        return Worked(key, grown, beside(pieces), tuple(remarks), None if first else error, first)

    # -------------------------------------------------------------- flat shapes

    def _outdated(self, job: Job, mark: RegionMark, laid: Laid) -> bool:
        """Whether its cuts were chosen for another livery."""
        cut = len(laid.parts) > 1 or any(part.flat.cuts for part in laid.parts)
        return cut and laid.weighed != self._weighed(job, mark)

    def _laid_flat(self, job: Job, mark: RegionMark) -> Laid:
        known = self._laid.get(self._shape_key(job, mark))
        if known is None or self._outdated(job, mark, known):
            parts = self._reflected(job, mark) if mark.mirror_of else self._own(job, mark)
            known = self._keep(job, mark, parts)
        return known

    def _keep(self, job: Job, mark: RegionMark, parts: list[Flattened]) -> Laid:
        if len(self._laid) > MOST_KEPT:
            self._laid.clear()
        laid = self._laid[self._shape_key(job, mark)] = _carried(parts, self._weighed(job, mark))
        return laid

    def _own(self, job: Job, mark: RegionMark) -> list[Flattened]:
        patch = self._patch(job, mark)
        weights = cut_cost(job, mark, patch, self.session.on_bench().body, self.session.folder)
        parts: list[Flattened] = self.aside.call(lay_flat, job, mark, patch, *weights)
        return parts

    def _reflected(self, job: Job, mark: RegionMark) -> list[Flattened]:
        """A reflection, part by part as its original is parted."""
        original = job.original_of(mark)
        done = {part.mark.name: part for part in self._laid_flat(job, original).parts}
        told = with_parts(job, original.name, len(done)) if len(done) > 1 else job
        own = PartMark.parts_of(mark, len(done)) if len(done) > 1 else [mark]
        names = {part.name for part in own}
        bench = self.session.bench(told)
        marks = [other for other in told.region if other.name in names]
        return [part for other in marks for part in flatten_mark(bench, other, done, Stopwatch())]

    def _patch(self, job: Job, mark: RegionMark) -> Patch:
        """A region made ready to flatten, kept for the whole piece."""
        shape = self._shape_key(job, mark)
        patch = self._patches.get(shape)
        if patch is None:
            if len(self._patches) > MOST_KEPT:
                self._patches.clear()
            region = self.session.region(mark, job)
            go_on()
            patch = self._patches[shape] = ready_patch(job, mark, region)
        return patch

    # -------------------------------------------------------------- livery

    def _dressed(
        self, job: Job, mark: RegionMark, laid: Laid, first: bool
    ) -> tuple[Paints, list[str], str | None]:
        """Paints and remarks; without what does not fit, and the sentence that says so."""
        key = _digest((self._livery_key(job, mark), laid.weighed, first))
        known = self._painted.get(mark.name)
        if known is None or known[0] != key:
            known = self._painted[mark.name] = key, self._laid_on(job, mark, laid, first)
        return known[1]

    def _laid_on(
        self, job: Job, mark: RegionMark, laid: Laid, first: bool
    ) -> tuple[Paints, list[str], str | None]:
        groups = {mark.name: laid}
        for other in self._partners(job, mark)[1:]:
            with suppress(BadInput, KeyError):  # the other region says so itself, or comes later
                known = self._laid[self._shape_key(job, other)] if first else self._laid_flat(job, other)
                groups[other.name] = known
        carries: dict[str, Carry] = {}
        for name, group in groups.items():
            carries |= {part.mark.name: c for part, c in zip(group.parts, group.carries, strict=True)}
            original = next((m.mirror_of or name for m in job.region if m.name == name), None)
            if len(group.parts) > 1 and original is not None:
                job = with_parts(job, original, len(group.parts))
        go_on()
        given = job, mark.name, carries, self.session.on_bench().body, self.session.folder
        if first:
            return dress_what_fits(*given)
        laid_on: tuple[Paints, list[str], str | None] = self.aside.call(dress_what_fits, *given)
        return laid_on


def _sketch(job: Job, mark: RegionMark, patch: Patch, flat: FlatPiece) -> Piece:
    """A flat shape in its fills, without what only the sheet needs: what can be shown soonest."""
    outline, slits = outline_of(flat.points, flat.faces)
    paints = tuple(Paint("fill", fill.colour, outline, ()) for fill in job.marks_for(job.fill, mark))
    front, up = (direction_on(flat, np.array(way)) for way in ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))
    return Piece(mark.name, mark.name, patch, flat, outline, paints=paints, slits=slits, front=front, up=up)


def _carried(parts: list[Flattened], weighed: str = "") -> Laid:
    return Laid(tuple(parts), tuple(Carry(part.patch, part.flat) for part in parts), weighed)


def _only_on(job: Job, mark: RegionMark) -> Job:
    """The job with no more livery than lies on one region."""
    return job.model_copy(update={kind: job.marks_for(getattr(job, kind), mark) for kind in _MARKS})


def _saved(path: Path) -> int:
    """When a file was last written; 0 where there is none."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def _digest(parts: Any) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:20]
