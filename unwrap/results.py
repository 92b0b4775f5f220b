"""Everything that `make` writes: sheets, plates, proof, strain picture, guide, report."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from unwrap.alongside import Alongside, Task, timed
from unwrap.bench import Bench, Dressed, Result
from unwrap.body.body import Body
from unwrap.film import Film
from unwrap.guide.body_pictures import LetteredView, lettered_views
from unwrap.guide.content import gather_guide
from unwrap.guide.guide import html_of
from unwrap.guide.guide_pdf import guide_pdf
from unwrap.guide.order import Step, application_order
from unwrap.guide.proof import draw_proof
from unwrap.guide.report import clean
from unwrap.guide.strain import draw_strain
from unwrap.job import Job
from unwrap.job_settings import PrintSettings
from unwrap.progress import Stopwatch, Tell
from unwrap.sheet.dots import plate_pngs
from unwrap.sheet.inks import Press
from unwrap.sheet.pdf import sheet_pdf
from unwrap.sheet.sheet import Sheet
from unwrap.sheet.svg import sheet_svg, trial_svg, white_svg

# What a run may leave in its folder; an older run's are replaced as one set.
WRITTEN = (
    "sheet-*.svg",
    "sheet-*.pdf",
    "trial-*.svg",
    "proof.png",
    "strain.png",
    "plate-*.png",
    "guide.html",
    "guide.pdf",
    "report.json",
    "number-*/*",
)


# The pictures of a smaller body are drawn before a helper has begun.
WORTH_DRAWING = 5000
INITIALS = {"cyan": "c", "magenta": "m", "yellow": "y", "black": "k", "white": "w"}


@dataclass(frozen=True, eq=False)
class Drawing:
    """The pictures that are being drawn: what draws proof and views, and what draws the strain."""

    pictures: Task
    strain: Task


def begin_drawing(bench: Bench, dressed: Dressed, folder: Path, crew: Alongside) -> Drawing:
    """Have the pictures of the finished pieces drawn into a folder while these are laid on sheets."""
    worth = len(bench.body.faces) > WORTH_DRAWING
    _, pieces = dressed.sets[0]
    steps, title = application_order(pieces, dressed.plan), bench.job.job.name
    return Drawing(
        crew.submit(timed, draw_pictures, bench.body, steps, folder, title, worth=worth),
        crew.submit(timed, draw_strain, pieces, folder / "strain.png", worth=worth),
    )


def write_results(
    bench: Bench,
    result: Result,
    drawing: Drawing,
    folder: Path,
    watch: Stopwatch,
    tell: Tell,
    crew: Alongside,
) -> dict[str, Any]:
    """Write all files of a job into a folder.

    Parameters
    ----------
    bench : Bench
        The job and its body.
    result : Result
        The pieces on their sheets.
    drawing : Drawing
        The pictures, from `begin_drawing` with the same folder.
    folder : Path
        A folder with nothing in it but those pictures.
    watch : Stopwatch
        Counts the time of each kind of file.
    tell : callable
        Told what is being written.
    crew : Alongside
        Who draws.

    Returns
    -------
    dict
        The report as it was written.
    """
    job = bench.job
    with watch("files"):
        tell("writing the sheets", 0.75)
        _write_sheets(job, result.sheets, folder)
        for numbered in result.further:
            inner = folder / f"number-{_file_name(numbered.number)}"
            inner.mkdir()
            _write_sheets(job, numbered.sheets, inner)
    with watch("guide"):
        tell("writing the guide", 0.8)
        guide = gather_guide(
            bench.body,
            result.pieces,
            result.sheets,
            title=job.job.name,
            warnings=result.report["warnings"],
            facts=_facts(job),
            plan=result.plan,
        )
    tell("drawing the pictures", 0.9)
    (views, seconds), (_, strain_seconds) = crew.results([drawing.pictures, drawing.strain])
    watch.add("pictures", seconds)
    watch.add("strain picture", strain_seconds)
    with watch("guide"):
        tell("writing the guide", 0.95)
        guide = replace(guide, views=views, strain=(folder / "strain.png").read_bytes())
        (folder / "guide.html").write_text(html_of(guide), encoding="utf-8")
        (folder / "guide.pdf").write_bytes(guide_pdf(guide))
    report = {**result.report, "seconds": clean(watch.seconds)}
    (folder / "report.json").write_text(json.dumps(report, indent=1, ensure_ascii=False), encoding="utf-8")
    return report


def draw_pictures(body: Body, steps: Sequence[Step], folder: Path, title: str) -> tuple[LetteredView, ...]:
    """The proof written into a folder, and the guide's views: pictures of one scene, each taken once."""
    scene, taken = draw_proof(body, [step.piece for step in steps], folder / "proof.png", title=title)
    return lettered_views(scene, steps, taken)


def press_of(settings: PrintSettings) -> Press:
    """The printer as the plates need it."""
    return Press(
        inks="".join(letter for ink, letter in INITIALS.items() if ink in settings.inks),
        face_down=settings.face_down,
        registration=settings.registration,
        white_choke=settings.white_choke,
        white_hits=settings.white_hits,
        bare=frozenset(settings.bare),
        limit=settings.coverage_limit,
        white_name=settings.white_name,
        cut_name=settings.cut_name,
        scale_x=settings.scale_x,
        scale_y=settings.scale_y,
    )


def _write_sheets(job: Job, sheets: Sequence[Sheet], folder: Path) -> None:
    title, press = job.job.name, press_of(job.print)
    for sheet in sheets:
        n = sheet.number
        files = {
            f"sheet-{n}.svg": sheet_svg(sheet, press.face_down, press=press, title=title),
            f"trial-{n}.svg": trial_svg(sheet, title=title),
        }
        if press.has_white:
            files[f"sheet-{n}-white.svg"] = white_svg(sheet, press.face_down, press=press)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        (folder / f"sheet-{n}.pdf").write_bytes(sheet_pdf(sheet, press, title=title))
        if job.print.plates:
            for ink, png in plate_pngs(sheet, press, job.print.resolution).items():
                (folder / f"plate-{n}-{_file_name(ink)}.png").write_bytes(png)


def _file_name(text: str) -> str:
    return re.sub(r"[^\w.-]+", "-", text).strip(".-") or "x"


def _facts(job: Job) -> dict[str, str]:
    own = {f"Film of {mark.name}": _taken_up(mark.film.film) for mark in job.region if mark.film}
    return {
        "Scale": f"1:{job.job.scale:g}",
        "Film": _taken_up(job.film.film),
        **own,
        "Printed": "mirrored, for film that is turned over" if job.print.face_down else "not mirrored",
    }


def _taken_up(film: Film) -> str:
    return f"takes up {film.stretch:.1%} of stretch and {film.compression:.1%} of compression"
