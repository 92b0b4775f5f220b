"""Lining: parallel lines and gaps that follow a region's edge at an inset."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from unwrap.errors import BadInput
from unwrap.livery.beams import Beams
from unwrap.livery.breaks import dashes_across, keep_clear
from unwrap.livery.carry import Carry
from unwrap.livery.corner_names import style_corners
from unwrap.livery.corner_shapes import STYLES, Turn, charted, refuse_corners_cut_off, sides_of, turn_corners
from unwrap.livery.corners import corners_that_fit, find_corners
from unwrap.livery.corners_on_joints import corners_on_joints
from unwrap.livery.edges import choose_edges, outer_and_openings
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered, edge_strips
from unwrap.livery.notches import without_notches
from unwrap.livery.paint import Paint
from unwrap.livery.panel import Limits, Panel
from unwrap.livery.planar import common, join, minus, tidy
from unwrap.livery.printable import Line, fit_to_printer
from unwrap.livery.strokes import line_paint


def lay_lining(
    carry: Carry,
    lines: Sequence[Line],
    inset: float,
    corner: str = "square",
    radius: float = 0.0,
    edges: str | Sequence[str] = "all",
    min_line: float = 0.0,
    min_gap: float = 0.0,
    corners: Mapping[str, tuple[str, float]] | None = None,
    within: Limits | None = None,
    clear: Sequence[tuple[Sequence[float], float]] = (),
    dashes: Sequence[float] = (),
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
    corners : mapping of str to (style, size), optional
        Corners that differ, by the edges that meet there: {"top front": ("rounded", 2.0)}.
    within : mapping of str to (low, high), optional
        A panel within the region: limits along "x", "y", "z", mm, to inset from as from an edge.
    clear : sequence of ((x, y, z), diameter)
        Places that the lines keep clear of, such as rivets, mm.
    dashes : sequence of float
        Lengths of dashes and gaps in turn, mm; empty for whole lines.

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
    paints, remarks = lay_lining_over(
        [carry], lines, inset, corner, radius, edges, min_line, min_gap, corners, within, clear, dashes
    )
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
    corners: Mapping[str, tuple[str, float]] | None = None,
    within: Limits | None = None,
    clear: Sequence[tuple[Sequence[float], float]] = (),
    dashes: Sequence[float] = (),
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    """Lay one line set along the common edge of several regions that meet.

    Returns
    -------
    paints : list of tuple of Paint
        One tuple per carry.
    remarks : tuple of str
    """
    ground = without_notches(Ground(carries))
    where = f'lining of region "{ground.name}"'
    _check(where, lines, inset, corner, radius)
    lines, remarks = fit_to_printer(lines, min_line, min_gap, where)
    levels = inset + np.concatenate([[0.0], np.cumsum([width for width, _ in lines])])
    openings = outer_and_openings(ground)[1]
    whole = ground.bridged(openings)
    panel = Panel(whole, within or {}, float(levels[-1]), where)
    chosen = [edge for edge in choose_edges(ground, edges) if panel.holds(edge)]
    inner = set(np.concatenate(openings).tolist()) if openings else set()
    depth = float(levels[-1])
    strips = [
        (whole, edge_strips(whole, [edge for edge in chosen if edge[0] not in inner], depth)),
        (ground, edge_strips(ground, [edge for edge in chosen if edge[0] in inner], depth)),
    ]
    panels = [inside(strips, panel, float(level)) for level in levels]
    if all(part.is_empty for part in panels[-1]):
        raise BadInput(
            f"{where}: an inset of {inset:.3g} mm and lines {levels[-1] - inset:.3g} mm wide in all "
            "leave nothing of the panel; use a smaller inset or narrower lines"
        )
    turns: list[Turn] = []
    if corner != "square" or corners:
        largest = max([radius, *(size for _, size in (corners or {}).values())])
        lined = set(chosen)
        reach = 2.6 * (largest + levels[-1] - inset) + 0.6
        found = [
            *find_corners(ground, panels[0], reach, lined),
            *corners_on_joints(ground, panels[0], reach),
        ]
        if not found and corner in ("incurved", "canted", "notched"):
            remarks += (f"{where}: its edge has no sharp corners, so none is {corner}.",)
        turned, said = corners_that_fit(
            where, style_corners(where, ground, found, corner, radius, corners or {}, panel.planes)
        )
        remarks += said
        for at, style, size in turned:
            sides = sides_of(charted(ground, at.chart, panels[0]), reach, at.rounded)
            if sides is not None:
                turns.append(Turn(style, size, at.interior, at.chart, sides, at.opening, at.rounded))
        refuse_corners_cut_off(where, ground, panels[0], turns)
    panels = [
        turn_corners(ground, parts, turns, float(level - inset))
        for level, parts in zip(levels, panels, strict=True)
    ]
    gaps = keep_clear(ground, clear, where)
    if dashes:
        wide = float(levels[-1] - inset)
        centre = turn_corners(ground, inside(strips, panel, inset + 0.5 * wide), turns, 0.5 * wide)
        whole_set = [tidy(minus(*pair)) for pair in zip(panels[0], panels[-1], strict=True)]
        dashed = [
            dashes_across(area, middle, wide, dashes) for area, middle in zip(whole_set, centre, strict=True)
        ]
    paints: list[list[Paint]] = [[] for _ in ground.carries]
    for number, (width, colour) in enumerate(lines):
        if colour is None:
            continue
        areas = [
            tidy(minus(outer, inner)) for outer, inner in zip(panels[number], panels[number + 1], strict=True)
        ]
        if dashes:
            areas = [common(area, kept) for area, kept in zip(areas, dashed, strict=True)]
        for i, area in enumerate(areas):
            area = tidy(minus(area, gaps[i])) if clear else area
            if not area.is_empty:
                label = f"lining {number + 1}: {colour} {width:.3g} mm"
                paints[i].append(line_paint("line", label, width, colour, area, ground.carries[i]))
    return [tuple(group) for group in paints], remarks


def inside(strips: Sequence[tuple[Ground, Beams]], panel: Panel, level: float) -> list[shapely.Geometry]:
    """What of each piece lies in the panel and further than `level` from its edges."""
    beyond = panel.outside(level)
    if level > 0:
        for ground, beams in strips:
            for parts, area in zip(beyond, covered(ground, beams, 0.0, level), strict=True):
                parts.append(area)
    return [
        tidy(minus(carry.outline, join(parts)))
        for carry, parts in zip(panel.ground.carries, beyond, strict=True)
    ]


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
