"""Pieces worked out behind the page: first shapes of all regions, then whole pieces, one at a time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from unwrap.errors import BadInput
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.page.aside import Aside, Dropped, wanted_while
from unwrap.page.session import Session
from unwrap.page.working_out import Worked, WorkingOut

Task = tuple[Job, RegionMark, str]


class BenchWork:
    """Keeps the pieces of a session in step with its job.

    One thread works out first shapes, another has whole pieces worked out in a process beside
    this one, so that a change shows at once. What is under way for a region that is marked
    otherwise by now is dropped; the region that is looked at comes first. `events` grows with
    every answer, so that a page can wait for news.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.aside = Aside()
        self.out = WorkingOut(session, self.aside)
        self.looked_at: str | None = None
        self.events = 0
        self._done: dict[str, Worked] = {}
        self._begun: dict[str, str] = {}  # the state of the job that a region's first shape was tried for
        self._busy: dict[str, str | None] = {}
        self._known: tuple[tuple[Job, str, Any], list[Task]] | None = None
        self._whole: Task | None = None  # the piece that is being worked out beside
        self._prepared: str | None = None
        self._news = threading.Condition()
        self._ready = threading.Event()
        self._stop = False
        for name, work in (("first shapes", self._first), ("pieces", self._piece)):
            threading.Thread(target=self._run, args=(name, work), name=name, daemon=True).start()

    @property
    def busy(self) -> str | None:
        """The region that is worked on."""
        return next((name for name in self._busy.values() if name), None)

    def wake(self) -> None:
        """Look at the job again: it may have changed."""
        with suppress(BadInput):
            if (task := self._whole) is not None and not self._holds(task):
                self.aside.drop()
        self._look_up()

    def _look_up(self) -> None:
        with self._news:
            self._news.notify_all()

    def stop(self) -> None:
        """End at once."""
        self._stop = True
        self._ready.set()
        self.aside.stop()
        self._look_up()

    def result(self, name: str) -> Worked | None:
        """What was worked out last for a region, perhaps of an earlier state of the job."""
        return self._done.get(name)

    def wait_for_news(self, after: int, seconds: float) -> int:
        """The count of events, as soon as it is above `after` or the time is over."""
        with self._news:
            self._news.wait_for(lambda: self.events > after or self._stop, timeout=seconds)
            return self.events

    def get_ready(self) -> None:
        """Begin, now that the body is shown."""
        self._ready.set()
        self.wake()

    # -------------------------------------------------------------- the two threads

    def _run(self, name: str, work: Callable[[], Iterator[tuple[Task, Worked | None]]]) -> None:
        """Take on one task after the other; wait where there is none."""
        with suppress(BadInput):
            self.session.on_bench()  # read while the browser opens
        self._ready.wait()
        while not self._stop:
            found = False
            # The page shows what is wrong with the job or the body.
            with suppress(BadInput, Dropped):
                for task, worked in work():
                    found = True
                    if worked is not None and self._holds(task):
                        self._done[task[1].name] = worked
                    self._tell(name, task[1].name)
            if found:
                self._tell(name, None)
            else:
                with self._news:
                    self._news.wait(timeout=1.0)

    def _first(self) -> Iterator[tuple[Task, Worked | None]]:
        task = next((one for one in self._tasks() if self._begun.get(one[1].name) != one[2]), None)
        if task is None:
            return
        yield task, None
        with wanted_while(lambda: self._holds(task)):
            for worked in self.out.at_once(*task):
                yield task, worked
        self._begun[task[1].name] = task[2]

    def _piece(self) -> Iterator[tuple[Task, Worked | None]]:
        tasks = self._tasks()
        if any(self._begun.get(mark.name) != key for _, mark, key in tasks):
            return
        job = self.session.job()
        ready = f"{self.session.on_bench().key} {job.job.scale}"
        if self._prepared != ready:
            self._prepared = ready
            threading.Thread(target=self.aside.get_ready, name="helper", daemon=True).start()
            self.session.get_ready()
            self._tell("pieces", None)
        task = next((one for one in tasks if not self._is_done(one)), None)
        if task is None:
            return
        yield task, None
        self._whole = task
        try:
            with wanted_while(lambda: self._holds(task)):
                yield task, self.out.whole(*task)
        finally:
            self._whole = None

    def _is_done(self, task: Task) -> bool:
        done = self._done.get(task[1].name)
        return done is not None and done.key == task[2]

    def _tasks(self) -> list[Task]:
        """Every region with what names the present state of its pieces, the one looked at first."""
        job = self.session.job()
        state = job, self.session.on_bench().key, self.out.drawings(job)
        known = self._known
        if known is None or known[0][0] is not job or known[0] != state:
            known = self._known = state, [(job, mark, self.out.key(job, mark)) for mark in job.region]
        return sorted(known[1], key=lambda task: task[1].name != self.looked_at)

    def _holds(self, task: Task) -> bool:
        """Whether the job still asks for what was worked out."""
        return any(mark.name == task[1].name and key == task[2] for _, mark, key in self._tasks())

    def _tell(self, thread: str, busy: str | None) -> None:
        """Give news to whoever waits for it."""
        with self._news:
            self._busy[thread] = busy
            self.events += 1
            self._news.notify_all()
