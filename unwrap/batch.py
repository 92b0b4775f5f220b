"""Several jobs side by side: a line of progress each, one summary; a failing job stops no other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from queue import Empty, Queue
from threading import Event, Thread

from rich.console import Console
from rich.progress import Progress, TaskID

from unwrap.errors import BadInput
from unwrap.guide.report import summary_lines
from unwrap.progress import Tell, progress_bar, shown

Telling = tuple[int, str, float]


@dataclass(frozen=True)
class Outcome:
    """How one job ended: its exit status and what to print."""

    job: Path
    out: Path
    status: int
    lines: tuple[str, ...]


def make_all(jobs: Sequence[Path], out: Path, workers: int, screen: Console, complaints: Console) -> int:
    """Make one or more jobs and print what came of them.

    Parameters
    ----------
    jobs : sequence of Path
        Job files. One job is written into `out` itself, several into a folder each.
    out : Path
    workers : int
        How many to make side by side, each in a process of its own.
    screen, complaints : Console
        Where results and refusals are printed.

    Returns
    -------
    int
        The worst exit status of all jobs.
    """
    if len(jobs) == 1:
        with shown(jobs[0].parent.name or jobs[0].name, complaints) as tell:
            outcomes = [_make_one(jobs[0], out, tell)]
    else:
        folders = _folders(jobs, out)
        outcomes = _side_by_side(jobs, folders, workers, complaints)
    for outcome in outcomes:
        if len(outcomes) > 1:
            screen.rule(str(outcome.job))
        to = complaints if outcome.status == 2 else screen
        for line in outcome.lines:
            to.print(line, markup=False, soft_wrap=True)
    if len(outcomes) > 1:
        screen.rule("all jobs")
        said = Counter(outcome.status for outcome in outcomes)
        screen.print(f"{said[0]} done, {said[1]} done that need a look, {said[2]} that cannot be used")
    return max(outcome.status for outcome in outcomes)


def _make_one(job: Path, out: Path, tell: Tell, processes: int | None = None) -> Outcome:
    from unwrap.make import make

    try:
        result = make(job, out, tell=tell, processes=processes)
    except BadInput as error:
        return Outcome(job, out, 2, (str(error),))
    except MemoryError:
        return Outcome(job, out, 2, (f"{job}: there is not enough memory for this body; simplify it.",))
    lines = (
        *summary_lines(result.report),
        *_advice(result.report["advice"]),
        f"Written to {out}: {', '.join(path.relative_to(out).as_posix() for path in result.files)}",
    )
    return Outcome(job, out, result.status, lines)


def _advice(remarks: Sequence[str]) -> list[str]:
    if not remarks:
        return []
    more = f" ({len(remarks) - 1} more under advice in report.json)" if len(remarks) > 1 else ""
    return [f"Advice: {remarks[0].rstrip('.')}{more}."]


def _folders(jobs: Sequence[Path], out: Path) -> list[Path]:
    """A folder per job, named by the job file, or by its folder where all are called the same."""
    for name in (lambda job: job.stem, lambda job: job.resolve().parent.name):
        names = [name(job) for job in jobs]
        if len(set(names)) == len(names):
            return [out / folder for folder in names]
    return [out / f"{number:02}-{job.stem}" for number, job in enumerate(jobs, 1)]


def _side_by_side(
    jobs: Sequence[Path], folders: Sequence[Path], workers: int, console: Console
) -> list[Outcome]:
    # A spawned process starts clean on every system; a forked one would inherit the bar's threads.
    context = get_context("spawn")
    with (
        context.Manager() as manager,
        _bars(jobs, console) as (bar, tasks),
        ProcessPoolExecutor(min(workers, len(jobs)), mp_context=context) as pool,
    ):
        told: Queue[Telling] = manager.Queue()
        running = [
            pool.submit(_in_a_process, number, job, folder, told, 1 if workers > 1 else None)
            for number, (job, folder) in enumerate(zip(jobs, folders, strict=True))
        ]
        over = Event()
        listener = Thread(target=_listen, args=(told, bar, tasks, over), daemon=True)
        listener.start()
        try:
            return [_outcome(*given) for given in zip(running, jobs, folders, strict=True)]
        except KeyboardInterrupt:
            for future in running:
                future.cancel()
            raise
        finally:
            over.set()
            listener.join()


@contextmanager
def _bars(jobs: Sequence[Path], console: Console) -> Iterator[tuple[Progress, list[TaskID]]]:
    """One progress line per job."""
    with progress_bar(console, transient=False) as bar:
        yield bar, [bar.add_task(str(job), total=1.0, doing="waiting") for job in jobs]


def _listen(told: Queue[Telling], bar: Progress, tasks: list[TaskID], over: Event) -> None:
    while not over.is_set():
        try:
            number, doing, share = told.get(timeout=0.2)
        except Empty:
            continue
        bar.update(tasks[number], completed=share, doing=doing)


def _in_a_process(number: int, job: Path, out: Path, told: Queue[Telling], processes: int | None) -> Outcome:
    return _make_one(job, out, lambda doing, share: told.put((number, doing, share)), processes)


def _outcome(future: Future[Outcome], job: Path, out: Path) -> Outcome:
    try:
        return future.result()
    except BrokenProcessPool:
        return Outcome(job, out, 2, (f"{job}: its process was ended, most likely for want of memory.",))
