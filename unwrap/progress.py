"""How long work is shown: a bar on a terminal, nothing elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

# Called with what is being done now and the share that is done, 0 to 1.
Tell = Callable[[str, float], None]


def silent(doing: str, share: float) -> None:
    """Tell nobody."""


def progress_bar(console: Console, *, transient: bool) -> Progress:
    """The tool's progress bar: what is made, how far, how long, and what is done now (`doing`)."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        TimeElapsedColumn(),
        TextColumn("{task.fields[doing]}", style="dim"),
        console=console,
        transient=transient,
        disable=not console.is_terminal,
    )


@contextmanager
def shown(title: str, console: Console) -> Iterator[Tell]:
    """A progress bar while the block runs; it goes when the block ends."""
    with progress_bar(console, transient=True) as bar:
        task = bar.add_task(title, total=1.0, doing="")

        def tell(doing: str, share: float) -> None:
            bar.update(task, completed=share, doing=doing)

        yield tell


@dataclass
class Stopwatch:
    """Seconds spent per stage, added up."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        """Count the block's time under a stage's name."""
        begun = time.perf_counter()
        try:
            yield
        finally:
            self.add(stage, time.perf_counter() - begun)

    def add(self, stage: str, seconds: float) -> None:
        """Count time under a stage's name that was spent elsewhere."""
        self.seconds[stage] = self.seconds.get(stage, 0.0) + seconds
