"""The job that a page works on: its text, its steps, and what was worked out from it."""

from __future__ import annotations

import threading
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from unwrap.arrays import BoolArray
from unwrap.bench import Bench
from unwrap.body.body import Body
from unwrap.body.read import load_body
from unwrap.body.sense import likely_mistakes
from unwrap.body.skin import outside_faces
from unwrap.errors import BadInput
from unwrap.job import Job, parse_job
from unwrap.job_regions import RegionMark
from unwrap.make import mark_region
from unwrap.page.first_look import FirstLook
from unwrap.page.history import History, alone_with, write_safely
from unwrap.page.job_text import change
from unwrap.regions.region import Region

# A job needs a region, a page begins without one.
_STAND_IN = '\n[[region]]\nname = "none yet"\nat = [0, 0, 0]\n'

# What of a region's mark decides where it lies on the body.
GROWN_KEYS = frozenset({"at", "also", "less", "crease", "within", "trim", "bridge"})
MOST_KEPT = 200  # regions
WRITTEN_AFTER = 0.2  # s
USUAL_CREASE: float = RegionMark.model_fields["crease"].default


class Stale(Exception):
    """A change was asked for on a state of the job that is no longer the present one."""


@dataclass(frozen=True, eq=False)
class OnBench:
    """A body that was read; the key names its file as it was then, and how it was read."""

    key: str
    body: Body


class Session:
    """One job on the page.

    Parameters
    ----------
    job_path : Path
        The job file. Its folder is the only one that is read from or written to, apart
        from the body that the job names.
    """

    def __init__(self, job_path: Path) -> None:
        self.path = job_path.resolve()
        self.folder = self.path.parent
        self.lock = threading.RLock()
        self.history = History(self.path)
        self.revision = 0
        self.text = self._read()
        self.history.add(self.text)
        self._job: tuple[str, Job] | None = None
        self._on_bench: OnBench | None = None
        self._outside: tuple[str, BoolArray] | None = None
        self._hints: tuple[str, tuple[str, ...]] = "", ()
        self._first_look: tuple[str, FirstLook] | None = None
        self._body_lock = threading.Lock()
        self._outside_lock = threading.Lock()
        self._look_lock = threading.Lock()
        self._regions: dict[str, Region] = {}
        self._growing: dict[str, threading.Lock] = {}

    # -------------------------------------------------------------- the text

    def _read(self) -> str:
        try:
            data = self.path.read_bytes()
            if not data.strip():  # most editors empty a file before they write into it
                time.sleep(WRITTEN_AFTER)
                data = self.path.read_bytes()
            return data.decode("utf-8")
        except OSError as error:
            raise BadInput(f"{self.path.name}: cannot be read ({error.strerror}).") from None
        except UnicodeDecodeError:
            raise BadInput(f"{self.path.name}: this is not a text file; a job is TOML in UTF-8.") from None

    def follow_file(self) -> bool:
        """Take over what another program wrote into the job file; True if there was something."""
        with self.lock:
            text = self._read()
            if text == self.text:
                return False
            self.text = text
            self.history.follow(text)
            self.revision += 1
            return True

    def job(self) -> Job:
        """The job as it stands; without regions where none is marked yet."""
        with self.lock:
            if self._job is None or self._job[0] != self.text:
                self._job = self.text, _parsed(self.text, self.path.name)
            return self._job[1]

    def do(self, revision: int, what: str, how: dict[str, Any]) -> None:
        """Make one change and save the job.

        Raises
        ------
        Stale
            If the job has changed since the page saw it.
        BadInput
            If the change leads to a job that cannot be; nothing is changed then.
        """
        with self._alone():
            self._must_be(revision)
            text = change(self.text, what, **how)
            _parsed(text, self.path.name)
            self._save(text)
            self.history.add(text)

    def step(self, revision: int, steps: int) -> None:
        """Undo (-1) or redo (+1)."""
        with self._alone():
            self._must_be(revision)
            text = self.history.move(steps)
            if text is not None:
                self._save(text)

    def tried(self, name: str, values: dict[str, Any]) -> RegionMark:
        """A region's mark as it would be with other values; nothing is saved."""
        with self.lock:
            text = change(self.text, "set region", name=name, values=values)
        return mark_named(_parsed(text, self.path.name), str(values.get("name", name)))

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Nobody else changes the job while the block runs, in this program or in another one of its kind."""
        try:
            with self.lock, alone_with(self.path):
                yield
        except OSError as error:
            raise BadInput(
                f"{self.path.name}: its folder cannot be written to ({error.strerror}); nothing was changed."
            ) from None

    def _must_be(self, revision: int) -> None:
        if self.follow_file():
            raise Stale("Another program changed the job file; it is shown anew. Make your change again.")
        if revision != self.revision:
            raise Stale("Another window changed the job; it is shown anew. Make your change again.")

    def _save(self, text: str) -> None:
        write_safely(self.path, text)
        self.text = text
        self.revision += 1

    # -------------------------------------------------------------- the body

    def on_bench(self) -> OnBench:
        """The job's body, read again only when the job names another or its file changed."""
        source = self.job().body
        file = self.folder / source.file
        try:
            stamp = file.stat().st_mtime_ns
        except OSError:
            raise BadInput(
                f"{source.file}: there is no such body file; mend [body] file in the job."
            ) from None
        key = repr((str(file), stamp, source.units, source.front, source.up))
        with self._body_lock:
            if self._on_bench is None or self._on_bench.key != key:
                body = load_body(file, units=source.units, front=source.front, up=source.up)
                self._on_bench = OnBench(key, body)
                self._regions.clear()
            return self._on_bench

    def outside(self) -> BoolArray:
        """The body's faces that are seen from outside."""
        bench = self.on_bench()
        with self._outside_lock:
            if self._outside is None or self._outside[0] != bench.key:
                self._outside = (bench.key, outside_faces(bench.body))
            return self._outside[1]

    def outside_if_known(self) -> BoolArray | None:
        """The same, or None as long as it takes to find them."""
        known = self._outside
        return known[1] if known is not None and known[0] == self.on_bench().key else None

    def first_look(self) -> FirstLook:
        """The table for a region at a glance, made once for a body."""
        bench = self.on_bench()
        with self._look_lock:
            if self._first_look is None or self._first_look[0] != bench.key:
                self._first_look = (bench.key, FirstLook(bench.body))
            return self._first_look[1]

    def get_ready(self) -> None:
        """Do ahead what the first click needs: rays, the glance, what is outside; and look for slips."""
        self.pick([0.0, 0.0, 0.0], [1.0, 0.0, 0.0])
        self.first_look().parts(USUAL_CREASE)
        self.outside()
        source, bench = self.job(), self.on_bench()
        said = likely_mistakes(
            bench.body, **source.body.model_dump(include={"units", "front", "up"}), scale=source.job.scale
        )
        self._hints = bench.key + repr(source.job.scale), said

    def hints(self) -> tuple[str, ...]:
        """What about the body is likely a slip; empty as long as that is not known."""
        key, said = self._hints
        return said if key == self.on_bench().key + repr(self.job().job.scale) else ()

    def bench(self, job: Job | None = None) -> Bench:
        """The job with its body, as the making takes them."""
        return Bench(job or self.job(), self.folder, self.on_bench().body, self.outside())

    def pick(self, origin: list[float], direction: list[float]) -> tuple[list[float], int] | None:
        """The first place of the body on a ray, mm, and its face; None where the ray misses."""
        body = self.on_bench().body
        hit = body.rays.first(np.array([origin]), np.array([direction]))
        if hit.face[0] < 0:
            return None
        return (hit.weights[0] @ body.vertices[body.faces[hit.face[0]]]).tolist(), int(hit.face[0])

    def region(self, mark: RegionMark, job: Job) -> Region:
        """A marked region, grown once for each way it is marked."""
        bench = self.on_bench()
        key = bench.key + mark.model_dump_json(include=set(GROWN_KEYS)) + repr(job.job.scale)
        with self.lock:
            growing = self._growing.setdefault(key, threading.Lock())
        with growing:  # the page and the pieces ask for the same one at the same time
            found = self._regions.get(key)
            if found is None:
                found = mark_region(self.bench(job), mark)
                with self.lock:
                    if len(self._regions) > MOST_KEPT:
                        self._regions.clear()
                        self._growing.clear()
                    self._regions[key] = found
        return replace(found, name=mark.name)


def mark_named(job: Job, name: str) -> RegionMark:
    """The mark of a region. Raises BadInput where the job has none of that name."""
    for mark in job.region:
        if mark.name == name:
            return mark
    raise BadInput(f'there is no region named "{name}" in the job.')


def _parsed(text: str, where: str) -> Job:
    try:
        empty = not tomllib.loads(text).get("region")
    except tomllib.TOMLDecodeError:
        empty = False  # the parser says where the mistake is
    if not empty:
        return parse_job(text, where)
    return parse_job(text + _STAND_IN, where).model_copy(update={"region": []})
