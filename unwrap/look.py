"""`unwrap look`: what a body is, in words and pictures."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from unwrap.arrays import BoolArray
from unwrap.body.body import Body
from unwrap.body.health import Health, check_health
from unwrap.body.picture import VIEWS, Shot, draw_body, take_shot
from unwrap.body.read import load_body
from unwrap.body.render import corner_normals
from unwrap.body.sense import Axes, axes_line, guess_axes, likely_mistakes
from unwrap.body.skin import outside_faces
from unwrap.body.symmetry import Symmetry, find_symmetry
from unwrap.body.thin import thin_flat
from unwrap.body.views import SIDES, Side, draw_view, write_view_svg
from unwrap.errors import BadInput
from unwrap.lengths import read_scale
from unwrap.output import all_at_once
from unwrap.progress import Tell, silent
from unwrap.regions.grow import default_bridge
from unwrap.regions.surfaces import Surface, find_surfaces

DRAWN = ("body.png", "view-*.svg")
# Most of the work is done in libraries that let another thread run beside them.
THREADS = 2
# Where no scale is given, details are bridged as in 4 mm to the foot.
USUAL_SCALE = 76.2
# A list longer than this is read by nobody; the picture shows the rest.
MOST_LISTED = 40


@dataclass(frozen=True, eq=False)
class Found:
    """What a look at a body found.

    Parameters
    ----------
    body : Body
        With no more faces than its shape needs where it is flat.
    outside : (m,) bool
        Faces seen from outside.
    surfaces : tuple of Surface
        The smooth surfaces, largest first.
    mistakes : tuple of str
        Likely slips of unit or scale.
    lines : tuple of str
        All of it in words, for the screen.
    """

    body: Body
    outside: BoolArray
    surfaces: tuple[Surface, ...]
    mistakes: tuple[str, ...]
    lines: tuple[str, ...]

    @property
    def needs_the_user(self) -> bool:
        """Whether something is likely to be wrong with the file."""
        return bool(self.mistakes)


def look_at(
    path: Path,
    out_dir: Path,
    units: str,
    front: str,
    up: str,
    scale: str | None = None,
    tell: Tell = silent,
    reading: Future[Body] | None = None,
) -> Found:
    """Look a body over, and draw it and its views into a folder.

    Parameters
    ----------
    path : Path
        The body.
    out_dir : Path
    units, front, up : str
        As in `load_body`.
    scale : str or None
        As in a job file.
    tell : callable
        Told what is being done.
    reading : Future of Body or None
        The body, where somebody has begun to read it so.

    Raises
    ------
    BadInput
        If the file cannot be read as a body, or the scale is none.
    """
    known = asked_scale(scale)
    tell("reading", 0.0)
    body = reading.result() if reading else load_body(path, units=units, front=front, up=up)
    with all_at_once(out_dir, stale=DRAWN) as staging, looked_at(body, front, up) as sight:
        shots = begin_shots(sight)
        views = begin_views(sight, staging)
        found = survey(sight, units, front, up, known, tell)
        tell("drawing", 0.8)
        labels = np.full(len(sight.bare.faces), -1, dtype=np.int64)
        for number, surface in enumerate(found.surfaces):
            labels[surface.faces] = number
        names = {number: surface.letter for number, surface in enumerate(found.surfaces)}
        draw_body(body, [shot.result() for shot in shots], staging / "body.png", labels=labels, names=names)
        tell("drawing the views", 0.9)
        for view in views:
            view.result()
    return found


def asked_scale(text: str | None) -> float | None:
    """Prototype over model of a scale given on the command line."""
    try:
        return None if text is None else read_scale(text)
    except ValueError as error:
        raise BadInput(f"--scale: {error}.") from None


@dataclass(frozen=True, eq=False)
class Sight:
    """A body that is being looked at.

    Parameters
    ----------
    body : Body
        As it was read.
    bare : Body
        With no more faces than its shape needs where it is flat.
    health : Future of Health
    axes : Future of Axes or None
        Where the shape says that front and up are.
    symmetry : Future of Symmetry
    beside : Executor
        Takes what can be done beside the rest.
    """

    body: Body
    bare: Body
    health: Future[Health]
    axes: Future[Axes | None]
    symmetry: Future[Symmetry]
    beside: Executor


@contextmanager
def looked_at(body: Body, front: str, up: str) -> Iterator[Sight]:
    """Begin to look at a body: what is put beside the block is given up where that ends with an error."""
    with ThreadPoolExecutor(THREADS) as beside:
        bare = thin_flat(body)
        try:
            yield Sight(
                body,
                bare,
                beside.submit(check_health, body, bare),
                beside.submit(guess_axes, bare, front, up),
                beside.submit(find_symmetry, bare),
                beside,
            )
        finally:
            beside.shutdown(cancel_futures=True)


def survey(
    sight: Sight, units: str, front: str, up: str, scale: float | None = None, tell: Tell = silent
) -> Found:
    """Everything that `look` says, without drawing."""
    bare = sight.bare
    tell("finding the outside", 0.2)
    outside = outside_faces(bare)
    tell("finding the surfaces", 0.4)
    surfaces = find_surfaces(bare, outside, bridge=default_bridge(scale or USUAL_SCALE))
    guess = sight.axes.result()
    mistakes = likely_mistakes(bare, units=units, front=front, up=up, scale=scale, guess=guess)
    halves = (axes_line(guess, front, up), sight.symmetry.result().line)
    words = _in_words(sight.body, surfaces, mistakes, halves, sight.health.result())
    return Found(bare, outside, surfaces, mistakes, tuple(words))


def begin_shots(sight: Sight) -> list[Future[Shot]]:
    """The body taken from several sides, beside what else is done."""
    bare, submit = sight.bare, sight.beside.submit
    smooth = submit(lambda: corner_normals(bare.vertices, bare.faces, edges=bare.edges))
    return [submit(lambda view: take_shot(bare, *view, smooth.result()), view) for view in VIEWS]


def begin_views(sight: Sight, folder: Path) -> list[Future[None]]:
    """The five view drawings written into a folder, beside what else is done."""

    def draw(side: Side) -> None:
        write_view_svg(draw_view(sight.bare, side), folder / f"view-{side}.svg")

    return [sight.beside.submit(draw, side) for side in SIDES]


def _in_words(
    body: Body,
    surfaces: tuple[Surface, ...],
    mistakes: tuple[str, ...],
    halves: tuple[str, str],
    health: Health,
) -> list[str]:
    length, width, height = body.size
    lines = [
        f"{body.name}: {length:.2f} mm long, {width:.2f} mm wide, {height:.2f} mm high, "
        f"{len(body.faces)} faces",
        *(f"Look at this: {mistake}" for mistake in mistakes),
        *halves,
        "Health: " + "; ".join(health.lines()),
        "",
        "Surfaces seen from outside, the largest first:",
        f"  {'':3} {'kind':16} {'area mm²':>9}   name it in a job by",
    ]
    for surface in surfaces[:MOST_LISTED]:
        x, y, z = surface.at
        kind = f"{surface.kind} r {surface.radius:.1f}" if surface.kind == "cylinder" else surface.kind
        lines.append(f"  {surface.letter:3} {kind:16} {surface.area:9.1f}   at = [{x:.2f}, {y:.2f}, {z:.2f}]")
    if len(surfaces) > MOST_LISTED:
        largest = surfaces[MOST_LISTED].area
        lines.append(f"  and {len(surfaces) - MOST_LISTED} more of {largest:.0f} mm² or less")
    return lines
