"""Pieces worked out behind the page, one at a time, the one that is looked at first."""

from __future__ import annotations

import threading
from contextlib import suppress

from unwrap.errors import BadInput
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.page.session import Session
from unwrap.page.working_out import Worked, WorkingOut


class BenchWork:
    """Keeps the pieces of a session in step with its job.

    A thread of its own works through the regions whose piece is out of date. `events`
    grows with every piece that is finished, so that a page can wait for news.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.out = WorkingOut(session)
        self.looked_at: str | None = None
        self.events = 0
        self.busy: str | None = None
        self._done: dict[str, Worked] = {}
        self._news = threading.Condition()
        self._ready = threading.Event()
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
        self.get_ready()

    def result(self, name: str) -> Worked | None:
        """What was worked out last for a region, perhaps of an earlier state of the job."""
        return self._done.get(name)

    def wait_for_news(self, after: int, seconds: float) -> int:
        """The count of events, as soon as it is above `after` or the time is over."""
        with self._news:
            self._news.wait_for(lambda: self.events > after or self._stop, timeout=seconds)
            return self.events

    def get_ready(self) -> None:
        """Do ahead what the first click on the body needs, once the body is shown."""
        self._ready.set()
        self.wake()

    def _run(self) -> None:
        with suppress(BadInput):
            self.session.on_bench()  # read while the browser opens
        self._ready.wait()
        prepared = None
        while not self._stop:
            try:
                following = self._next()
                body = self.session.on_bench().key
                if prepared != body:
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
            for worked in self.out.work(job, mark, key):
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
            key = self.out.key(job, mark)
            done = self._done.get(mark.name)
            if done is None or done.key != key:
                return job, mark, key
        return None
