"""Pieces worked out behind the page, one at a time, the one that is looked at first."""

from __future__ import annotations

import hashlib
import threading
import traceback
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from unwrap.bench import Flattened
from unwrap.dress import Paints, dress
from unwrap.errors import BadInput
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.livery.carry import Carry
from unwrap.livery.paint import Paint
from unwrap.make import finish, flatten_mark, lay_flat_at_once, not_over_itself, ready_patch, relieved
from unwrap.page.session import GROWN_KEYS, Session, mark_named
from unwrap.page.upright import upright
from unwrap.parting import may_part, parted
from unwrap.progress import Stopwatch
from unwrap.regions.region import Patch
from unwrap.sheet.piece import Piece

# What of a region's mark decides its flat shape, beyond where it lies on the body.
_SHAPE_KEYS = GROWN_KEYS | {"openings", "joint", "relief"}
_MARKS = ("fill", "lining", "band", "lettering")
MOST_KEPT = 60  # flat shapes


@dataclass(frozen=True, eq=False)
class Worked:
    """A region's piece, or the sentence that says why there is none.

    Where only the livery does not fit, there is a bare piece and the sentence.

    Parameters
    ----------
    key : str
        Names the state of the job that this belongs to.
    grown : str
        Names the region that it was made from.
    first : bool
        A first answer, without relief cuts and with its fills only; the full one follows.
    """

    key: str
    grown: str
    piece: Piece | None = None
    remarks: tuple[str, ...] = ()
    error: str | None = None
    first: bool = False


class BenchWork:
    """Keeps the pieces of a session in step with its job.

    A thread of its own works through the regions whose piece is out of date. `events`
    grows with every piece that is finished, so that a page can wait for news.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.looked_at: str | None = None
        self.events = 0
        self.busy: str | None = None
        self._done: dict[str, Worked] = {}
        self._flat: dict[str, tuple[Flattened, Carry, str]] = {}
        self._last_patch: tuple[str, Patch] | None = None
        self._news = threading.Condition()
        self._ready = threading.Event()
        self._stop = False
        self._thread = threading.Thread(target=self._run, name="pieces", daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """Look at the job again: it may have changed."""
        with self._news:
            self._news.notify_all()

    def forget(self) -> None:
        """Give up the flat shapes that are kept, as if the job were new."""
        self._flat.clear()
        self._last_patch = None

    def stop(self) -> None:
        """End after the piece that is being worked on."""
        self._stop = True
        self.wake()

    def result(self, name: str) -> Worked | None:
        """What was worked out last for a region, perhaps of an earlier state of the job."""
        return self._done.get(name)

    def wait_for_news(self, after: int, seconds: float) -> int:
        """The count of events, as soon as it is above `after` or the time is over."""
        with self._news:
            self._news.wait_for(lambda: self.events > after or self._stop, timeout=seconds)
            return self.events

    def key(self, job: Job, mark: RegionMark) -> str:
        """Names everything that a region's piece depends on."""
        marks = [[m.model_dump() for m in job.marks_for(getattr(job, kind), mark)] for kind in _MARKS]
        shapes = [self._shape_key(job, other) for other in self._partners(job, mark)]
        drawings = [(m.model_dump(), _saved(self.session.folder / m.file)) for m in job.artwork]
        own = mark.name, mark.spares, job.bleed_of(mark)
        return _digest((shapes, marks, drawings, job.print.model_dump(), own))

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

    def grown_key(self, job: Job, mark: RegionMark) -> str:
        """Names everything that decides where a region lies on the body."""
        settings = job.original_of(mark).model_dump(include=set(GROWN_KEYS))
        return _digest((self.session.on_bench().key, job.job.scale, settings, mark.mirror_of is not None))

    def _shape_key(self, job: Job, mark: RegionMark) -> str:
        settings = job.original_of(mark).model_dump(include=set(_SHAPE_KEYS))
        fittings = [fitting.model_dump() for fitting in job.fitting]
        return _digest((mark.name, self.grown_key(job, mark), job.film_of(mark), settings, fittings))

    def get_ready(self) -> None:
        """Do ahead what the first click on the body needs, once the body is shown."""
        self._ready.set()
        self.wake()

    def _run(self) -> None:
        prepared = None
        while not self._stop:
            try:
                following = self._next()
                body = self.session.on_bench().key
                if self._ready.is_set() and prepared != body:
                    self.session.get_ready()
                    prepared = body
                    continue
            except BadInput:
                following = None  # the page shows what is wrong with the job or the body
            if following is None:
                with self._news:
                    self._news.wait(timeout=1.0)
                continue
            job, mark, key = following
            self._tell(mark.name)
            for worked in self._work(job, mark, key):
                self._done[mark.name] = worked
                self._tell(mark.name)
            self._tell(None)

    def _tell(self, busy: str | None) -> None:
        """Give news to whoever waits for it."""
        with self._news:
            self.busy = busy
            self.events += 1
            self._news.notify_all()

    def _next(self) -> tuple[Job, RegionMark, str] | None:
        job = self.session.job()
        for mark in sorted(job.region, key=lambda mark: mark.name != self.looked_at):
            key = self.key(job, mark)
            done = self._done.get(mark.name)
            if done is None or done.key != key:
                return job, mark, key
        return None

    def _work(self, job: Job, mark: RegionMark, key: str) -> Iterator[Worked]:
        """The region's piece: a first answer where the full one takes longer, then the full one."""
        grown = self.grown_key(job, mark)
        try:
            if mark.mirror_of is None and self._shape_key(job, mark) not in self._flat:
                yield from self._first(job, mark, f"first of {key}", grown)
            flattened, carry = self._flattened(job, mark)
            carries = {mark.name: carry}
            for other in self._partners(job, mark)[1:]:
                with suppress(BadInput):  # the other region says so itself
                    carries[other.name] = self._flattened(job, other)[1]
            paints, remarks, error = self._dressed(_only_on(job, mark), mark.name, carries)
            yield Worked(key, grown, upright(finish(job, flattened, paints)), tuple(remarks), error)
        except BadInput as error:
            yield Worked(key, grown, error=str(error))
        except Exception as error:  # one region that fails must not end the page
            traceback.print_exc()
            yield Worked(key, grown, error=f'region "{mark.name}": this could not be worked out ({error}).')

    def _first(self, job: Job, mark: RegionMark, key: str, grown: str) -> Iterator[Worked]:
        """The flat shape of least work in its fills, where there is one."""
        patch = self._patch(job, mark)
        try:
            flat = lay_flat_at_once(job, mark, patch)
            carry = Carry(patch, flat)
            paints = self._laid(_only_on(_filled(job), mark), {mark.name: carry})[0][mark.name]
            yield Worked(key, grown, upright(finish(job, Flattened(mark, patch, flat), paints)), first=True)
        except ValueError:
            return  # the full answer says what is wrong

    def _patch(self, job: Job, mark: RegionMark) -> Patch:
        """A region made ready to flatten, kept for the step that follows."""
        shape = self._shape_key(job, mark)
        if self._last_patch is None or self._last_patch[0] != shape:
            self._last_patch = shape, ready_patch(job, mark, self.session.region(mark, job))
        return self._last_patch[1]

    def _flattened(self, job: Job, mark: RegionMark) -> tuple[Flattened, Carry]:
        shape, weighed = self._shape_key(job, mark), _weighed(job, mark)
        known = self._flat.get(shape)
        # Bands and lettering decide where cuts go, so they matter to a piece that has some.
        if known is None or (known[2] != weighed and known[0].flat.cuts):
            if mark.mirror_of is not None:
                original = mark_named(job, mark.mirror_of)
                done = {original.name: self._flattened(job, original)[0]}
                (flattened,) = flatten_mark(self.session.bench(job), mark, done, Stopwatch())
            else:
                patch = self._patch(job, mark)
                flattened = Flattened(mark, patch, self._laid_flat(job, mark, patch))
            if len(self._flat) > MOST_KEPT:
                self._flat.clear()
            known = self._flat[shape] = flattened, Carry(flattened.patch, flattened.flat), weighed
        flattened, carry, _ = known
        return Flattened(mark, flattened.patch, flattened.flat), carry

    def _laid_flat(self, job: Job, mark: RegionMark, patch: Patch) -> FlatPiece:
        """The region's piece; where the sheets carry it in several, whole, with a word about that."""
        flat = relieved(job, mark, patch, self.session.on_bench().body, self.session.folder)
        parts = parted(job, mark, patch, flat) if may_part(mark, flat) else []
        if not parts:
            return not_over_itself(mark, flat)
        told = f"the sheets carry it in {len(parts)} pieces that lap over one another; here it is shown whole"
        return replace(flat, notes=(*flat.notes, told))

    def _laid(self, job: Job, carries: dict[str, Carry]) -> tuple[Paints, list[str]]:
        return dress(job, carries, self.session.on_bench().body, self.session.folder)

    def _dressed(
        self, job: Job, name: str, carries: dict[str, Carry]
    ) -> tuple[list[Paint], list[str], str | None]:
        """A region's paints and remarks; without what does not fit, and the sentence that says so."""
        try:
            paints, remarks = self._laid(job, carries)
            return paints[name], remarks, None
        except Exception as error:
            if not isinstance(error, BadInput):
                traceback.print_exc()
                error = BadInput(f'region "{name}": this livery could not be laid ({error}).')
            return self._laid(_filled(job), carries)[0][name], [], str(error)


def _filled(job: Job) -> Job:
    """The job with no livery but its fills."""
    return job.model_copy(update={"artwork": [], **{kind: [] for kind in _MARKS if kind != "fill"}})


def _weighed(job: Job, mark: RegionMark) -> str:
    """Names the livery that has a say in where a region's cuts go."""
    return _digest([m.model_dump() for kind in (job.band, job.lettering) for m in job.marks_for(kind, mark)])


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
