"""The sheet's own marks: scale bars along two edges and a line that says which sheet it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Curve
from unwrap.sheet.curves import straight_curve
from unwrap.sheet.lettering import text_curves, text_width
from unwrap.sheet.sheet import Sheet

RULE = 0.12
SIZE = 1.8
BAR_LENGTHS = (100.0, 50.0, 20.0, 10.0)
# Where the bars stand: this far inside the margin, and the one clear of the other.
INSIDE, APART = 1.0, 4.5
ELLIPSIS = "\u2026"


@dataclass(frozen=True, eq=False)
class Mark:
    """One mark in the sheet's frame, not mirrored.

    Parameters
    ----------
    kind : str
        "text" and "solid" are filled, "rule" is stroked `RULE` wide.
    curves : tuple of Curve
        Its outline, or its centre lines.
    text : str
        What it says, for readers that cannot see it.
    piece : str
        The copy that it belongs to, as `copy_name` gives it; empty for the sheet's own.
    """

    kind: Literal["text", "solid", "rule"]
    curves: tuple[Curve, ...]
    text: str = ""
    piece: str = ""


def foot_marks(sheet: Sheet, title: str = "") -> list[Mark]:
    """A bar along the foot and one up the left side, ticked every 10 mm, and the sheet's name.

    Parameters
    ----------
    sheet : Sheet
        The sheet. Where it is too small for 100 mm the bars are shorter, and say so.
    title : str
        What it belongs to, such as the job's name.

    Returns
    -------
    list of Mark
    """
    corner = sheet.margin + INSIDE
    far_x, far_y = sheet.width - corner, sheet.height - corner
    along, x = _bar(corner, far_x, upright=False)
    up, y = _bar(corner, far_y, upright=True)
    marks = along + up
    line = _named(title, sheet.number, far_x - x)
    if line and (line.startswith(title) or not _named(title, sheet.number, far_y - y).startswith(title)):
        at = (far_x - text_width(line, SIZE), corner)
        marks.append(Mark("text", text_curves(line, SIZE, at), line))
    elif line := _named(title, sheet.number, far_y - y):
        # No room beside the bar at the foot: on past the end of the other one.
        at = (corner + 0.73 * SIZE, y)
        marks.append(Mark("text", text_curves(line, SIZE, at, np.pi / 2), line))
    return marks


def _bar(corner: float, far: float, upright: bool) -> tuple[list[Mark], float]:
    """One bar with its label, and where along its edge the next thing may stand."""
    start = corner + APART
    for length in BAR_LENGTHS:
        label = f"{length:g} mm"
        end = start + length + 1.2 + text_width(label, SIZE)
        if end <= far:
            break
    else:
        return [], start
    if upright:
        matrix = np.array([[0.0, 1.0, corner], [1.0, 0.0, start]])
        said = text_curves(label, SIZE, (corner + 0.73 * SIZE, start + length + 1.2), np.pi / 2)
    else:
        matrix = np.array([[1.0, 0.0, start], [0.0, 1.0, corner]])
        said = text_curves(label, SIZE, (start + length + 1.2, corner))
    lines = tuple(straight_curve(line, closed=False).moved(matrix) for line in _ruled(length))
    return [Mark("rule", lines, f"scale bar {label}"), Mark("text", said, label)], end + APART


def _ruled(length: float) -> list[FloatArray]:
    """A ruled bar from the origin along +x: its ticks' middles are exactly 10 mm apart."""
    lines = [np.array([[0.0, 0.0], [length, 0.0]])]
    last = round(length / 10)
    for k in range(last + 1):
        tall = 2.4 if k in (0, last) else (1.7 if k % 5 == 0 else 1.1)
        lines.append(np.array([[10.0 * k, 0.0], [10.0 * k, tall]]))
    return lines


def _named(title: str, number: int, room: float) -> str:
    """The title and the sheet's number, the title shortened to the room; empty if there is none."""
    own = f"sheet {number}"
    for kept in range(len(title), -1, -1):
        cut = title if kept == len(title) else title[:kept].rstrip() + ELLIPSIS
        line = f"{cut}  \u00b7  {own}" if kept else own
        if text_width(line, SIZE) <= room:
            return line
    return ""
