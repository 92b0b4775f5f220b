"""The commands: thin wrappers that print, show progress and choose the exit status.

What a command works with is imported when it is called: help comes at once.
"""

from __future__ import annotations

import os
from concurrent.futures import Future
from contextlib import AbstractContextManager
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from unwrap.progress import Tell, shown

if TYPE_CHECKING:
    from unwrap.body.body import Body

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Turn the livery of a model vehicle into a few large waterslide decals.",
)
screen = Console(highlight=False)
complaints = Console(stderr=True, highlight=False)

BodyFile = Annotated[
    Path, typer.Argument(help="The body: STL, OBJ, 3MF, PLY, OFF or GLB.", show_default=False)
]
Units = Annotated[str, typer.Option(help="Unit of the file: mm, cm, m or in.")]
Front = Annotated[str, typer.Option(help="Axis of the file that points to the front, such as +x.")]
Up = Annotated[str, typer.Option(help="Axis of the file that points up, such as +z.")]


@app.command()
def look(
    body: BodyFile,
    out: Annotated[Path | None, typer.Option(help="Folder for the pictures; BODY-look if left out.")] = None,
    units: Units = "mm",
    front: Front = "+x",
    up: Up = "+z",
    scale: Annotated[
        str | None, typer.Option(help="Prototype to model, such as 1:76.2: to notice slips of size.")
    ] = None,
) -> None:
    """Say and draw what a body is: size, health, and the surfaces found, each with a point to name it by."""
    with _stages(f"looking at {body.name}") as progress:
        reading = _begin_to_read(body, units, front, up)
        from unwrap.look import look_at

        out = out or Path(f"{body.stem}-look")
        found = look_at(body, out, units, front, up, scale, progress, reading)
    for line in found.lines:
        screen.print(line, markup=False, soft_wrap=not screen.is_terminal)
    raise typer.Exit(1 if found.needs_the_user else 0)


@app.command()
def start(
    body: BodyFile,
    out: Annotated[Path | None, typer.Option(help="Folder for the job; BODY-job if left out.")] = None,
    scale: Annotated[str, typer.Option(help="Prototype to model, such as 1:76.2 or 4 mm/ft.")] = "1:76.2",
    units: Units = "mm",
    front: Front = "+x",
    up: Up = "+z",
) -> None:
    """Write a first job file, with a region for each large outer surface, and the five view drawings."""
    with _stages(f"starting from {body.name}") as progress:
        reading = _begin_to_read(body, units, front, up)
        from unwrap.start import start_job

        out = out or Path(f"{body.stem}-job")
        lines = start_job(body, out, scale, units, front, up, progress, reading)
    for line in lines:
        screen.print(line, markup=False, soft_wrap=True)


@app.command()
def make(
    jobs: Annotated[list[Path], typer.Argument(help="One or more job files.", show_default=False)],
    out: Annotated[Path, typer.Option(help="Folder for the results; several jobs get a folder each in it.")],
    workers: Annotated[int, typer.Option(min=1, max=64, help="How many jobs to make side by side.")] = 1,
) -> None:
    """Make the sheets, plates, proofs, guide and report of one or more jobs."""
    from unwrap.batch import make_all

    raise typer.Exit(make_all(jobs, out, workers, screen, complaints))


@app.command()
def mark(
    job: Annotated[Path, typer.Argument(help="A job file, or a body to begin one for.", show_default=False)],
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port on 127.0.0.1; 0 takes a free one.")] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
) -> None:
    """Open the marking page: mark the regions on the body in a browser."""
    from unwrap.page import serve

    serve(job, port=port, open_browser=browser)


@app.command()
def coupon(
    out: Annotated[Path, typer.Option(help="Folder for the test print, or for what was read.")] = Path(
        "coupon"
    ),
    read: Annotated[
        Path | None, typer.Option(help="The filled-in form: write film and print settings from it.")
    ] = None,
    sheet: Annotated[str, typer.Option(help="A4, A3 or Letter.")] = "A4",
    inks: Annotated[str, typer.Option(help="Inks of the printer, such as cyan,magenta,yellow,white.")] = (
        "cyan,magenta,yellow,white"
    ),
    face_down: Annotated[bool, typer.Option(help="Film is turned over: print mirrored.")] = True,
    colour: Annotated[str, typer.Option(help="A colour of the model to match.")] = "#1f4d3a",
) -> None:
    """Make a test print that measures printer and film, or read what was measured on it."""
    from unwrap.coupon_files import print_coupon, read_form

    lines = (
        read_form(read, out)
        if read is not None
        else print_coupon(out, sheet=sheet, inks=inks.split(","), face_down=face_down, colour=colour)
    )
    for line in lines:
        screen.print(line, markup=False, soft_wrap=True)


def _begin_to_read(body: Path, units: str, front: str, up: str) -> Future[Body]:
    """A body that is read while what works on it is imported: that takes half a second."""
    # Before NumPy comes: a second core gains nothing in products this small, but it spins between them.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from unwrap.body.read import load_body

    reading: Future[Body] = Future()

    def read() -> None:
        try:
            reading.set_result(load_body(body, units=units, front=front, up=up))
        except BaseException as error:  # raised where the body is asked for
            reading.set_exception(error)

    Thread(target=read, daemon=True).start()  # who stops the command does not wait for it
    return reading


def _stages(title: str) -> AbstractContextManager[Tell]:
    return shown(title, complaints)
