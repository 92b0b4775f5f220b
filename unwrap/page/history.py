"""Every state that a job went through on the page, kept beside it so that undo outlives the program."""

from __future__ import annotations

import json
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

MOST_STEPS = 300


class History:
    """The texts of a job, oldest first, and which of them is the present one.

    Parameters
    ----------
    job_path : Path
        The job file; the steps are kept in a hidden file beside it.
    """

    def __init__(self, job_path: Path) -> None:
        self._path = job_path.with_name(f".{job_path.name}.steps")
        self.texts: list[str] = []
        self.now = -1
        self._take_up()

    def _take_up(self) -> None:
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            texts, now = kept["texts"], kept["now"]
            if all(isinstance(text, str) for text in texts) and 0 <= now < len(texts):
                self.texts, self.now = texts, now
        except (OSError, ValueError, KeyError, TypeError):
            pass  # no steps yet, or a file that someone else wrote: begin anew

    @property
    def text(self) -> str | None:
        """The present text."""
        return self.texts[self.now] if self.texts else None

    @property
    def can_undo(self) -> bool:
        """Whether there is an older step."""
        return self.now > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a newer step."""
        return self.now + 1 < len(self.texts)

    def follow(self, text: str) -> None:
        """Take over a text that another program wrote, with its steps where it has kept them here."""
        self._take_up()
        self.add(text)

    def add(self, text: str) -> None:
        """Take a text as the newest step; steps that were undone are forgotten."""
        if text == self.text:
            return
        self.texts = [*self.texts[: self.now + 1], text][-MOST_STEPS:]
        self.now = len(self.texts) - 1
        self._keep()

    def move(self, steps: int) -> str | None:
        """Go back (-1) or forward (+1); None where there is no such step."""
        if not self.texts or not 0 <= self.now + steps < len(self.texts):
            return None
        self.now += steps
        self._keep()
        return self.text

    def _keep(self) -> None:
        write_safely(self._path, json.dumps({"now": self.now, "texts": self.texts}))


@contextmanager
def alone_with(path: Path, patience: float = 3.0) -> Iterator[None]:
    """Keep other programs like this one from writing a file while the block runs.

    A mark beside the file that is older than `patience`, seconds, was left by a program that
    was stopped, and is taken over.
    """
    mark = path.with_name(f".{path.name}.held")
    while True:
        try:
            os.close(os.open(mark, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError:
            with suppress(OSError):
                if time.time() - mark.stat().st_mtime > patience:
                    mark.unlink()
            time.sleep(0.01)
    try:
        yield
    finally:
        mark.unlink(missing_ok=True)


def write_safely(path: Path, text: str) -> None:
    """Write a text so that at any moment the file holds the old or the new one whole."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
