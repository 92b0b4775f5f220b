"""Lay a job's livery on its flat pieces."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from unwrap.body.body import Body
from unwrap.body.views import draw_view
from unwrap.job import ArtworkMark, BandMark, Job, LetteringMark, LiningMark
from unwrap.livery.artwork import lay_artwork
from unwrap.livery.band import lay_band_over
from unwrap.livery.carry import Carry
from unwrap.livery.fill import lay_fill
from unwrap.livery.lettering import lay_lettering_over
from unwrap.livery.lining import lay_lining_over
from unwrap.livery.paint import Paint

Paints = dict[str, list[Paint]]


def dress(
    job: Job,
    carries: Mapping[str, Carry],
    body: Body | None = None,
    folder: Path | None = None,
    number: int = 0,
) -> tuple[Paints, list[str]]:
    """Lay fills, lining, bands, artwork and lettering, in this order, on the regions that are there.

    Parameters
    ----------
    job : Job
        What is wanted.
    body : Body, optional
        What artwork is thrown on; without it artwork is left out.
    folder : Path, optional
        Where the drawings are named from.
    number : int
        Which of the running numbers the lettering carries.
    carries : mapping of str to Carry
        The flat pieces by region; a mark on a region that is not among them is passed over.

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
    paints: Paints = {name: [] for name in carries}
    remarks: list[str] = []
    for fill in job.fill:
        for names in _sides(job, fill.region, carries):
            for name in names:
                paints[name].append(lay_fill(carries[name], fill.colour))
    for lining in job.lining:
        for side, names in enumerate(_sides(job, lining.region, carries)):
            for group in [names] if lining.together else [[name] for name in names]:
                if group:
                    _lay_lining(job, lining, group, carries, paints, remarks, reflected=side == 1)
    for band in job.band:
        for names in _sides(job, band.region, carries):
            _lay_band(job, band, names, carries, paints, remarks)
    if body is not None:
        for artwork in job.artwork:
            _lay_artwork(artwork, body, folder or Path(), carries, paints, remarks)
    for lettering in job.lettering:
        for side, names in enumerate(_sides(job, lettering.region, carries)):
            _lay_lettering(lettering, number, names, carries, paints, reflected=side == 1)
    return paints, list(dict.fromkeys(remarks))


def _sides(job: Job, regions: Sequence[str], carries: Mapping[str, Carry]) -> list[list[str]]:
    """The regions that a mark names, and those that only reflect one of them."""
    reflected = [mark.name for mark in job.region if mark.mirror_of in regions and mark.name not in regions]
    return [[name for name in names if name in carries] for names in (regions, reflected)]


def _lay_lining(
    job: Job,
    lining: LiningMark,
    names: Sequence[str],
    carries: Mapping[str, Carry],
    paints: Paints,
    remarks: list[str],
    *,
    reflected: bool,
) -> None:
    laid, said = lay_lining_over(
        [carries[name] for name in names],
        lining.pairs,
        inset=lining.inset,
        corner=lining.corner,
        radius=lining.radius,
        edges=lining.edges or "all",
        min_line=job.print.min_line,
        min_gap=job.print.min_gap,
        corners={name: (choice.style, choice.size) for name, choice in lining.corners.items()},
        within=reflect_limits(lining.within.as_dict()) if reflected else lining.within.as_dict(),
        clear=[(_place(one.at, reflected), one.diameter) for one in lining.clear],
        dashes=lining.dashes,
    )
    _put(names, laid, paints)
    remarks += said


def _lay_band(
    job: Job,
    band: BandMark,
    names: Sequence[str],
    carries: Mapping[str, Carry],
    paints: Paints,
    remarks: list[str],
) -> None:
    if not names:
        return
    laid, said = lay_band_over(
        [carries[name] for name in names],
        band.at_x,
        band.pairs,
        min_line=job.print.min_line,
        min_gap=job.print.min_gap,
    )
    _put(names, laid, paints)
    remarks += said


def _lay_lettering(
    lettering: LetteringMark,
    number: int,
    names: Sequence[str],
    carries: Mapping[str, Carry],
    paints: Paints,
    *,
    reflected: bool,
) -> None:
    if not names:
        return
    laid = lay_lettering_over(
        [carries[name] for name in names],
        lettering.text_for(number),
        lettering.height,
        # Only the place is reflected on the other side; the words read the right way round on both.
        _place(lettering.at, reflected),
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
    _put(names, laid, paints)


def _lay_artwork(
    artwork: ArtworkMark,
    body: Body,
    folder: Path,
    carries: Mapping[str, Carry],
    paints: Paints,
    remarks: list[str],
) -> None:
    laid, said = lay_artwork(
        body, list(carries.values()), draw_view(body, artwork.view), folder / artwork.file, artwork.measure
    )
    _put(list(carries), laid, paints)
    remarks += said


def _place(at: tuple[float, float, float], reflected: bool) -> tuple[float, float, float]:
    return (at[0], -at[1], at[2]) if reflected else at


def reflect_limits(limits: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """Limits along the axes as they stand on the body's other side."""
    return {axis: (-high, -low) if axis == "y" else (low, high) for axis, (low, high) in limits.items()}


def _put(names: Sequence[str], laid: Sequence[Sequence[Paint]], paints: Paints) -> None:
    for name, group in zip(names, laid, strict=True):
        paints[name].extend(group)
