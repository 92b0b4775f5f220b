"""Pieces worked out behind the page, one at a time, the one that is looked at first."""

from __future__ import annotations

import hashlib
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from unwrap.bench import Flattened
from unwrap.dress import Paints, dress
from unwrap.errors import BadInput
from unwrap.job import Job, RegionMark
from unwrap.livery.carry import Carry
from unwrap.livery.paint import Paint
from unwrap.make import finish, flatten_mark
from unwrap.page.session import Session, mark_named
from unwrap.page.upright import upright
from unwrap.progress import Stopwatch
from unwrap.sheet.piece import Piece

# What of a region's mark decides where it lies on the body, and then its flat shape.
_GROWN_KEYS = {"at", "crease", "within", "bridge"}
_SHAPE_KEYS = _GROWN_KEYS | {"openings", "joint", "relief", "edge"}
_MARKS = ("fill", "lining", "band", "lettering")


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
    """

    key: str
    grown: str
    piece: Piece | None = None
    remarks: tuple[str, ...] = ()
    error: str | None = None


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
        self._flat: dict[str, tuple[Flattened, Carry]] = {}
        self._news = threading.Condition()
        self._stop = False
        self._thread = threading.Thread(target=self._run, name="pieces", daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """Look at the job again: it may have changed."""
        with self._news:
            self._news.notify_all()

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
        return _digest((shapes, marks, drawings, job.print.model_dump(), mark.name, mark.spares))

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
        original = mark_named(job, mark.mirror_of) if mark.mirror_of else mark
        settings = original.model_dump(include=_GROWN_KEYS)
        return _digest((self.session.on_bench().key, job.job.scale, settings, mark.mirror_of is not None))

    def _shape_key(self, job: Job, mark: RegionMark) -> str:
        original = mark_named(job, mark.mirror_of) if mark.mirror_of else mark
        settings = original.model_dump(include=_SHAPE_KEYS)
        fittings = [fitting.model_dump() for fitting in job.fitting]
        return _digest((mark.name, self.grown_key(job, mark), job.film.model_dump(), settings, fittings))

    def _run(self) -> None:
        while not self._stop:
            try:
                following = self._next()
                if following is None:
                    self.session.first_look()  # ready before the first click
            except BadInput:
                following = None  # the page shows what is wrong with the job or the body
            if following is None:
                with self._news:
                    self._news.wait(timeout=1.0)
                continue
            job, mark, key = following
            self.busy = mark.name
            with self._news:
                self.events += 1
                self._news.notify_all()
            worked = self._work(job, mark, key)
            self.busy = None
            with self._news:
                self._done[mark.name] = worked
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

    def _work(self, job: Job, mark: RegionMark, key: str) -> Worked:
        grown = self.grown_key(job, mark)
        try:
            flattened, carry = self._flattened(job, mark)
            bench, carries = self.session.bench(job), {mark.name: carry}
            for other in self._partners(job, mark)[1:]:
                with suppress(BadInput):  # the other region says so itself
                    carries[other.name] = self._flattened(job, other)[1]
            dressed = partial(dress, carries=carries, body=bench.body, folder=bench.folder)
            paints, remarks, error = _dressed(_only_on(job, mark), mark.name, dressed)
            return Worked(key, grown, upright(finish(job, flattened, paints)), tuple(remarks), error)
        except BadInput as error:
            return Worked(key, grown, error=str(error))
        except Exception as error:  # one region that fails must not end the page
            traceback.print_exc()
            return Worked(key, grown, error=f'region "{mark.name}": this could not be worked out ({error}).')

    def _flattened(self, job: Job, mark: RegionMark) -> tuple[Flattened, Carry]:
        shape = self._shape_key(job, mark)
        if shape not in self._flat:
            done = {}
            if mark.mirror_of is not None:
                original = mark_named(job, mark.mirror_of)
                done[original.name] = self._flattened(job, original)[0]
            if len(self._flat) > 60:
                self._flat.clear()
            flattened = flatten_mark(self.session.bench(job), mark, done, Stopwatch())
            self._flat[shape] = flattened, Carry(flattened.patch, flattened.flat)
        flattened, carry = self._flat[shape]
        return Flattened(mark, flattened.patch, flattened.flat), carry


def _dressed(
    job: Job, name: str, dressed: Callable[[Job], tuple[Paints, list[str]]]
) -> tuple[list[Paint], list[str], str | None]:
    """A region's paints and remarks; without what does not fit, and the sentence that says so."""
    try:
        paints, remarks = dressed(job)
        return paints[name], remarks, None
    except Exception as error:
        if not isinstance(error, BadInput):
            traceback.print_exc()
            error = BadInput(f'region "{name}": this livery could not be laid ({error}).')
        plain = job.model_copy(update={"artwork": [], **{kind: [] for kind in _MARKS if kind != "fill"}})
        return dressed(plain)[0][name], [], str(error)


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
