"""Lining: parallel lines and gaps that follow a region's edge at an inset."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from unwrap.errors import BadInput
from unwrap.livery.beams import Beams
from unwrap.livery.carry import Carry
from unwrap.livery.corners import STYLES, corners_that_fit, find_corners, turn_corners
from unwrap.livery.edges import choose_edges
from unwrap.livery.fit import curves_of_area
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered, edge_strips
from unwrap.livery.paint import Paint
from unwrap.livery.planar import minus, tidy
from unwrap.livery.printable import Line, fit_to_printer
from unwrap.livery.strokes import as_strokes


def lay_lining(
    carry: Carry,
    lines: Sequence[Line],
    inset: float,
    corner: str = "square",
    radius: float = 0.0,
    edges: str | Sequence[str] = "all",
    min_line: float = 0.0,
    min_gap: float = 0.0,
) -> tuple[tuple[Paint, ...], tuple[str, ...]]:
    """Lay a line set along a region's edge.

    Parameters
    ----------
    carry : Carry
        The region and its flat piece.
    lines : sequence of (float, str or None)
        Width in mm and colour ("#rrggbb"; None for a gap), outermost first.
    inset : float
        From the region's edge to the outer edge of the outermost line, mm over the
        surface, measured square to the edge. Joints and relief cuts are no edges.
    corner : str
        "square", "rounded", "incurved", "canted" or "notched".
    radius : float
        Radius or size of the corner at the outer edge of the outermost line, mm; the
        lines inside stay parallel to it.
    edges : str or sequence of str
        See `unwrap.livery.edges.choose_edges`.
    min_line, min_gap : float
        What the printer holds, mm.

    Returns
    -------
    paints : tuple of Paint
        One per line, outermost first.
    remarks : tuple of str
        Sentences about lines that were thickened.

    Raises
    ------
    BadInput
        If the inset or the set eats the panel, a corner does not fit, or an edge is unknown.
    """
    paints, remarks = lay_lining_over([carry], lines, inset, corner, radius, edges, min_line, min_gap)
    return paints[0], remarks


def lay_lining_over(
    carries: Sequence[Carry],
    lines: Sequence[Line],
    inset: float,
    corner: str = "square",
    radius: float = 0.0,
    edges: str | Sequence[str] = "all",
    min_line: float = 0.0,
    min_gap: float = 0.0,
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    """Lay one line set along the common edge of several regions that meet.

    Returns
    -------
    paints : list of tuple of Paint
        One tuple per carry.
    remarks : tuple of str
    """
    ground = Ground(carries)
    where = f'lining of region "{ground.name}"'
    _check(where, lines, inset, corner, radius)
    lines, remarks = fit_to_printer(lines, min_line, min_gap, where)
    levels = inset + np.concatenate([[0.0], np.cumsum([width for width, _ in lines])])
    chosen = choose_edges(ground, edges)
    strips = edge_strips(ground, chosen, float(levels[-1]))
    panels = [inside(ground, strips, float(level)) for level in levels]
    if all(panel.is_empty for panel in panels[-1]):
        raise BadInput(
            f"{where}: an inset of {inset:.3g} mm and lines {levels[-1] - inset:.3g} mm wide in all "
            "leave nothing of the panel; use a smaller inset or narrower lines"
        )
    if corner != "square":
        reach = (2.6 if corner == "rounded" else 1.7) * (radius + levels[-1] - inset) + 0.6
        turned = [(each, corner, radius) for each in find_corners(ground, panels[0], reach)]
        turned, said = corners_that_fit(where, turned)
        remarks += said
        panels = [
            turn_corners(ground, panel, turned, float(level - inset))
            for level, panel in zip(levels, panels, strict=True)
        ]
    paints = []
    for i in range(len(ground.carries)):
        mine = [
            _paint(number, width, colour, panels[number][i], panels[number + 1][i])
            for number, (width, colour) in enumerate(lines)
            if colour is not None
        ]
        paints.append(tuple(paint for paint in mine if not paint.area.is_empty))
    return paints, remarks


def inside(ground: Ground, strips: Beams, level: float) -> list[shapely.Geometry]:
    """What of each piece lies further than `level` from the edges that the strips start at."""
    gone = (
        covered(ground, strips, 0.0, level) if level > 0 else [shapely.MultiPolygon()] * len(ground.carries)
    )
    return [tidy(minus(carry.outline, area)) for carry, area in zip(ground.carries, gone, strict=True)]


def _paint(number: int, width: float, colour: str, outer: shapely.Geometry, inner: shapely.Geometry) -> Paint:
    area = tidy(minus(outer, inner))
    label = f"lining {number + 1}: {colour} {width:.3g} mm"
    stroke = as_strokes(area, width)
    if stroke is not None:
        curves, on_sheet = stroke
        return Paint("line", colour, area, curves, stroke=on_sheet, label=label, asked_width=width)
    return Paint("line", colour, area, curves_of_area(area), label=label, asked_width=width)


def _check(where: str, lines: Sequence[Line], inset: float, corner: str, radius: float) -> None:
    if not lines or all(colour is None for _, colour in lines):
        raise BadInput(f"{where}: there is no line in the set; give at least one with a width and a colour")
    if any(not width > 0 or not np.isfinite(width) for width, _ in lines):
        raise BadInput(f"{where}: every line and gap needs a width above 0 mm")
    if not inset >= 0 or not np.isfinite(inset):
        raise BadInput(f"{where}: the inset is {inset!r}; give 0 or more mm")
    if corner not in STYLES:
        raise BadInput(f'{where}: there is no corner "{corner}"; use {", ".join(STYLES)}')
    if corner != "square" and not radius > 0:
        raise BadInput(
            f'{where}: the corner is "{corner}" but its radius is {radius!r}; give a size above 0 mm'
        )
