"""Bands: a line set round a barrel at a station, square to the axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from unwrap.errors import BadInput
from unwrap.livery.carry import Carry
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered
from unwrap.livery.paint import Paint
from unwrap.livery.planar import join, tidy
from unwrap.livery.printable import Line, fit_to_printer
from unwrap.livery.section import section_strips
from unwrap.livery.strokes import line_paint


def lay_band(
    carry: Carry, at_x: float, lines: Sequence[Line], min_line: float = 0.0, min_gap: float = 0.0
) -> tuple[tuple[Paint, ...], tuple[str, ...]]:
    """Lay a line set round the body where the plane x = at_x cuts it.

    Parameters
    ----------
    carry : Carry
        The region and its flat piece.
    at_x : float
        Station of the middle of the set, mm.
    lines : sequence of (float, str or None)
        Width in mm over the surface and colour (None for a gap), front to rear.
    min_line, min_gap : float
        What the printer holds, mm.

    Returns
    -------
    paints : tuple of Paint
        One per line.
    remarks : tuple of str

    Raises
    ------
    BadInput
        If the station is off the region or the set has no line.
    """
    paints, remarks = lay_band_over([carry], at_x, lines, min_line, min_gap)
    return paints[0], remarks


def lay_band_over(
    carries: Sequence[Carry], at_x: float, lines: Sequence[Line], min_line: float = 0.0, min_gap: float = 0.0
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    """Lay one band over several regions that meet; see `lay_band`."""
    ground = Ground(carries)
    where = f'band at x = {at_x:g} on region "{ground.name}"'
    if not lines or all(colour is None for _, colour in lines):
        raise BadInput(f"{where}: there is no line in the set; give at least one with a width and a colour")
    if any(not width > 0 or not np.isfinite(width) for width, _ in lines):
        raise BadInput(f"{where}: every line and gap needs a width above 0 mm")
    low, high = ground.vertices[:, 0].min(), ground.vertices[:, 0].max()
    if not low < at_x < high:
        raise BadInput(f"{where}: the region runs from x = {low:.2f} to {high:.2f} mm; give a station on it")
    lines, remarks = fit_to_printer(lines, min_line, min_gap, where)
    widths = np.array([width for width, _ in lines])
    ends = 0.5 * widths.sum() - np.concatenate([[0.0], np.cumsum(widths)])
    ahead, astern = section_strips(ground, 0, at_x, 0.5 * float(widths.sum()))
    paints: list[list[Paint]] = [[] for _ in ground.carries]
    for number, (width, colour) in enumerate(lines):
        if colour is None:
            continue
        front, rear = float(ends[number]), float(ends[number + 1])
        in_front = covered(ground, ahead, max(rear, 0.0), max(front, 0.0))
        behind = covered(ground, astern, max(-front, 0.0), max(-rear, 0.0))
        for i, pair in enumerate(zip(in_front, behind, strict=True)):
            area = tidy(join(list(pair)))
            if not area.is_empty:
                label = f"band {number + 1} at x = {at_x:g}: {colour} {width:.3g} mm"
                paints[i].append(line_paint("band", label, width, colour, area, ground.carries[i]))
    return [tuple(group) for group in paints], remarks
