"""Lay a job's livery on its flat pieces."""

from __future__ import annotations

import math
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from unwrap.alongside import Alongside
from unwrap.body.body import Body
from unwrap.body.views import draw_view
from unwrap.errors import BadInput
from unwrap.job import Job
from unwrap.job_livery import BandMark, LetteringMark, LiningMark
from unwrap.livery.artwork import lay_artwork
from unwrap.livery.band import lay_band_over
from unwrap.livery.carry import Carry
from unwrap.livery.fill import lay_fill
from unwrap.livery.lettering import lay_lettering_over
from unwrap.livery.lining import lay_lining_over
from unwrap.livery.paint import Paint
from unwrap.livery.run_on import run_on

Paints = dict[str, list[Paint]]

# Lining on fewer faces is laid before a helper has begun.
WORTH_A_HELPER = 2000
# From a piece's plane to that of its reflection on the body's other side.
ACROSS = np.array([[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


class _Laying(NamedTuple):
    """A mark that is laid on its own, on the pieces of some regions at once.

    Attributes
    ----------
    lay : callable
        Returns one tuple of Paint per piece, and remarks; the pieces are its last argument.
    how : tuple
        Its arguments before them.
    names : list of str
        The regions that are there of those that it goes over.
    """

    lay: Callable[..., tuple[Sequence[tuple[Paint, ...]], Sequence[str]]]
    how: tuple[Any, ...]
    names: list[str]


def dress(
    job: Job,
    carries: Mapping[str, Carry],
    body: Body,
    folder: Path,
    number: int = 0,
    crew: Alongside | None = None,
) -> tuple[Paints, list[str]]:
    """Lay fills, lining, bands, artwork and lettering, in this order, on the regions that are there.

    A region that reflects another takes that one's fills, lining and bands as they are,
    reflected, so the other must be there too; lettering is laid anew, to be read.

    Parameters
    ----------
    job : Job
        What is wanted.
    carries : mapping of str to Carry
        The flat pieces by region; a mark on a region that is not among them is passed over.
    body : Body
        What artwork is thrown on.
    folder : Path
        Where the drawings are named from.
    number : int
        Which of the running numbers the lettering carries.
    crew : Alongside, optional
        Who lays lining, bands and lettering, while artwork is thrown here.

    Returns
    -------
    paints : dict of str to list of Paint
        In painting order.
    remarks : list of str
        What had to be changed for the printer, each sentence once.

    Raises
    ------
    BadInput
        If a mark does not fit its region.
    """
    crew = crew or Alongside(1)
    paints: Paints = {name: [] for name in carries}
    remarks: list[str] = []
    for fill in job.fill:
        names = _there(fill.region, carries)
        fills = [(lay_fill(carries[name], fill.colour),) for name in names]
        _put_on_both_sides(job, fill.region, names, fills, paints)
    edged = [*_linings(job, carries), *_bands(job, carries)]
    lettered = _letterings(job, carries, body, number)
    tasks = []
    for lay, how, names in (*edged, *lettered):
        pieces = [carries[name] for name in names]
        worth = sum(len(piece.flat.faces) for piece in pieces) > WORTH_A_HELPER
        tasks.append(crew.submit(lay, *how, pieces, worth=worth))
    thrown = [
        lay_artwork(body, list(carries.values()), draw_view(body, art.view), folder / art.file, art.measure)
        for art in job.artwork
    ]
    found = crew.results(tasks)
    for (_, (_, mark), names), (laid, said) in zip(edged, found, strict=False):
        _put_on_both_sides(job, mark.region, names, laid, paints)
        remarks += said
    for laid, said in thrown:
        _put(list(carries), laid, paints)
        if len(carries) == len(job.region):
            # Only then is what falls on none of them truly lost.
            remarks += said
    for (_, _, names), (laid, _) in zip(lettered, found[len(edged) :], strict=True):
        _put(names, laid, paints)
    if any(paint.kind != "fill" for group in paints.values() for paint in group):
        paints = run_on(list(carries.values()), paints)
    return paints, list(dict.fromkeys(remarks))


def _linings(job: Job, carries: Mapping[str, Carry]) -> list[_Laying]:
    return [
        _Laying(_lay_lining, (job, lining), group)
        for lining in job.lining
        for names in [_there(lining.region, carries)]
        for group in ([names] if lining.together else [[name] for name in names])
        if group
    ]


def _bands(job: Job, carries: Mapping[str, Carry]) -> list[_Laying]:
    there = [(band, _there(band.region, carries)) for band in job.band]
    return [_Laying(_lay_band, (job, band), names) for band, names in there if names]


def _letterings(job: Job, carries: Mapping[str, Carry], body: Body, number: int) -> list[_Laying]:
    found = []
    for lettering in job.lettering:
        if names := _there(lettering.region, carries):
            found.append(_Laying(_lay_lettering, (lettering, lettering.at, number), names))
        if names := _there(_reflections(job, lettering.region), carries):
            # Only the place is reflected; the words read the right way round on both sides.
            x, y, z = lettering.at
            over = (x, 2 * body.middle - y, z)
            found.append(_Laying(_lay_lettering, (lettering, over, number), names))
    return found


def dress_what_fits(
    job: Job, name: str, carries: dict[str, Carry], body: Body, folder: Path
) -> tuple[Paints, list[str], str | None]:
    """One region's livery as `dress` lays it, without what does not fit, and the sentence that says why."""
    said: str | None = None
    for what in (job, *_without_one(job)):
        try:
            return *dress(what, carries, body, folder), said
        except Exception as error:
            if not isinstance(error, BadInput):
                traceback.print_exc()
                error = BadInput(f'region "{name}": this livery could not be laid ({error}).')
            said = said or str(error)
    fills = job.model_copy(update={kind: [] for kind in ("lining", "band", "artwork", "lettering")})
    return dress(fills, carries, body, folder)[0], [], said


def _without_one(job: Job) -> Iterator[Job]:
    """The job without one of its marks, what was likely added last first."""
    for kind in ("lettering", "artwork", "band", "lining"):
        marks = getattr(job, kind)
        for number in range(len(marks) - 1, -1, -1):
            yield job.model_copy(update={kind: [*marks[:number], *marks[number + 1 :]]})


def _there(regions: Sequence[str], carries: Mapping[str, object]) -> list[str]:
    return [name for name in regions if name in carries]


def _reflections(job: Job, regions: Sequence[str]) -> list[str]:
    """The regions that reflect one of these and are not named themselves."""
    return [mark.name for mark in job.region if mark.mirror_of in regions and mark.name not in regions]


def _put(names: Sequence[str], laid: Sequence[Sequence[Paint]], paints: Paints) -> None:
    for name, group in zip(names, laid, strict=True):
        paints[name].extend(group)


def _put_on_both_sides(
    job: Job, regions: Sequence[str], names: Sequence[str], laid: Sequence[Sequence[Paint]], paints: Paints
) -> None:
    """What was laid on some of a mark's regions, there and on those that only reflect them."""
    _put(names, laid, paints)
    originals = {mark.name: mark.mirror_of for mark in job.region}
    for name in _there(_reflections(job, regions), paints):
        if (original := originals[name]) in names:
            paints[name].extend(paint.moved(ACROSS) for paint in laid[names.index(original)])


def _lay_lining(
    job: Job, lining: LiningMark, carries: Sequence[Carry]
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    return lay_lining_over(
        carries,
        lining.pairs,
        inset=lining.inset,
        corner=lining.corner,
        radius=lining.radius,
        edges=lining.edges or "all",
        min_line=job.print.min_line,
        min_gap=job.print.min_gap,
        corners={name: (choice.style, choice.size) for name, choice in lining.corners.items()},
        within=lining.within.as_dict(),
        clear=[(one.at, one.diameter) for one in lining.clear],
        dashes=lining.dashes,
    )


def _lay_band(
    job: Job, band: BandMark, carries: Sequence[Carry]
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    return lay_band_over(
        carries, band.at_x, band.pairs, min_line=job.print.min_line, min_gap=job.print.min_gap
    )


def _lay_lettering(
    lettering: LetteringMark, at: tuple[float, float, float], number: int, carries: Sequence[Carry]
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    laid = lay_lettering_over(
        carries,
        lettering.text_for(number),
        lettering.height,
        at,
        font=lettering.font,
        weight=lettering.weight,
        colour=lettering.colour,
        spacing=lettering.spacing,
        anchor=lettering.anchor,
        turn=math.radians(lettering.turn),
        outline=(edge.width, edge.colour) if (edge := lettering.outline) else None,
        shadow=(fall.right, fall.up, fall.colour) if (fall := lettering.shadow) else None,
        arc=lettering.arc,
    )
    return laid, ()
