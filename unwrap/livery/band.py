"""Bands: a line set round a barrel at a station, square to the axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from unwrap.errors import BadInput
from unwrap.flatten.flat_piece import FloatArray, IntArray
from unwrap.livery.beams import Beams, follow, meet
from unwrap.livery.carry import Carry
from unwrap.livery.fit import curves_of_area
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered
from unwrap.livery.paint import Paint
from unwrap.livery.planar import join, tidy
from unwrap.livery.printable import Line, fit_to_printer

# A station is moved by this much (mm) where the plane would pass through a vertex.
NUDGE = 2e-7


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
    ahead, astern = section_strips(ground, at_x, 0.5 * float(widths.sum()))
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
                paints[i].append(
                    Paint("band", colour, area, curves_of_area(area), label=label, asked_width=width)
                )
    return [tuple(group) for group in paints], remarks


def section_strips(ground: Ground, at_x: float, depth: float) -> tuple[Beams, Beams]:
    """Strips square to the section x = at_x over the surface, `depth` deep: forwards and backwards."""
    x = ground.vertices[:, 0]
    while np.any(np.abs(x - at_x) < NUDGE):
        at_x += 2.5 * NUDGE
    ahead = x > at_x
    count = ahead[ground.faces].sum(axis=1)
    face = np.flatnonzero((count > 0) & (count < 3))
    # The lone corner, the one that has its side of the plane to itself.
    is_ahead = ahead[ground.faces[face]]
    lone = np.argmax(is_ahead == (count[face] == 1)[:, None], axis=1)
    row = np.arange(len(face))
    flat = ground.local[face]
    value = x[ground.faces[face]] - at_x
    apex, after, before = flat[row, lone], flat[row, (lone + 1) % 3], flat[row, (lone + 2) % 3]
    v, va, vb = value[row, lone], value[row, (lone + 1) % 3], value[row, (lone + 2) % 3]
    leave = apex + (v / (v - va))[:, None] * (after - apex)
    enter = apex + (v / (v - vb))[:, None] * (before - apex)
    # Going from `leave` (on the edge after the lone corner) to `enter`, the lone corner is on the left.
    lone_ahead = count[face] == 1
    start = np.where(lone_ahead[:, None], leave, enter)
    end = np.where(lone_ahead[:, None], enter, leave)
    start_edge = np.where(lone_ahead, lone, (lone + 2) % 3)
    end_edge = np.where(lone_ahead, (lone + 2) % 3, lone)
    lean_start, lean_end = _leans(ground, face, start, end, start_edge, end_edge)
    forwards = _from_segments(ground, face, start, end, np.maximum(lean_start, 0), np.maximum(lean_end, 0))
    backwards = _from_segments(ground, face, end, start, np.maximum(-lean_end, 0), np.maximum(-lean_start, 0))
    return follow(ground, forwards, depth), follow(ground, backwards, depth)


def _leans(
    ground: Ground,
    face: IntArray,
    start: FloatArray,
    end: FloatArray,
    start_edge: IntArray,
    end_edge: IntArray,
) -> tuple[FloatArray, FloatArray]:
    """Half the turn of the section from face to face; above 0 where its front side is the wider."""
    flat = ground.local[face]
    row = np.arange(len(face))
    along = (end - start) / np.maximum(np.linalg.norm(end - start, axis=1, keepdims=True), 1e-300)
    x = ground.vertices[ground.faces[face], 0]
    angle: dict[tuple[int, int], float] = {}
    keys = []
    for edge, way in ((start_edge, along), (end_edge, -along)):
        a, b = (edge + 0) % 3, (edge + 1) % 3
        forward = x[row, b] > x[row, a]
        line = np.where(forward[:, None], flat[row, b] - flat[row, a], flat[row, a] - flat[row, b])
        between = np.arctan2(
            np.abs(line[:, 0] * way[:, 1] - line[:, 1] * way[:, 0]), (line * way).sum(axis=1)
        )
        pairs = np.sort(np.stack([ground.faces[face][row, a], ground.faces[face][row, b]], axis=1), axis=1)
        key = [(int(p), int(q)) for p, q in pairs]
        keys.append((key, between))
        for name, size in zip(key, between.tolist(), strict=True):
            angle[name] = angle.get(name, 0.0) + size
    shared: dict[tuple[int, int], int] = {}
    for key, _ in keys:
        for name in key:
            shared[name] = shared.get(name, 0) + 1
    lean = [
        np.array([0.5 * (angle[name] - np.pi) if shared[name] == 2 else 0.0 for name in key])
        for key, _ in keys
    ]
    return lean[0], lean[1]


def _from_segments(
    ground: Ground,
    face: IntArray,
    start: FloatArray,
    end: FloatArray,
    lean_start: FloatArray,
    lean_end: FloatArray,
) -> Beams:
    """Strips to the left of segments inside faces."""
    way = end - start
    length = np.linalg.norm(way, axis=1)
    keep = np.flatnonzero(length > 1e-9)
    face, start, way, length = face[keep], start[keep], way[keep], length[keep]
    lean_start, lean_end = lean_start[keep], lean_end[keep]
    along = way / length[:, None]
    axes = np.stack([along, np.stack([-along[:, 1], along[:, 0]], axis=1)], axis=1)
    corners = np.einsum("nij,ncj->nci", axes, ground.local[face] - start[:, None])
    zero = np.zeros(len(face))
    left = np.column_stack([np.cos(lean_start), np.sin(lean_start), zero])
    right = np.column_stack([-np.cos(lean_end), np.sin(lean_end), length * np.cos(lean_end)])
    return Beams(np.arange(len(face)), face, corners, np.full(len(face), -1), left, right, meet(left, right))
