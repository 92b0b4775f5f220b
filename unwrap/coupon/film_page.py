"""The second page of the test print: discs that show what the film takes up."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.coupon.page import CUT, WHITE, Page
from unwrap.coupon.printer_page import SMALL, TINY, TITLE, colour_ink, note_ink
from unwrap.coupon.take_up import BALL_DIAMETER, rim_shrink, smallest_range
from unwrap.sheet.inks import Press

# Disc diameters, mm: from what floated film takes to beyond what softened film does.
DISCS = (6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28)
STATES = ("floated", "set", "softened")
STRIP_LENGTH, STRIP_WIDTH, STRIP_MARKS = 66.0, 6.0, 50.0


def film_page(width: float, height: float, margin: float, press: Press, target: str) -> Page:
    """Draw the page: a set of discs and a strip for each state of the film."""
    page = Page("coupon-2", width, height)
    note = note_ink(press)
    left, y = margin, height - margin - TITLE
    page.text(note, left, y, "Test print 2: the film", TITLE)
    y = page.paragraph(
        note,
        left,
        y - 6.0,
        f"Lay each disc on a clean ball of {BALL_DIAMETER:g} mm (a table-tennis ball has that diameter), "
        f"one set floated "
        "on with water, one drawn down with setting solution, one softened. The largest that dries without "
        "a wrinkle at its rim is the film's take-up. Under each: its diameter; how far its rim must "
        "shrink; how far its stretches must spread at the very least.",
        width - 2 * margin,
    )
    room = width - 2 * margin
    for state in STATES:
        y -= 3.0
        page.text(note, left, y, state, SMALL * 1.3)
        y = _discs(page, left, y - 2.0, room, press, target)
    page.paragraph(
        note,
        left,
        y - 3.0,
        f"Strips: slide one, softened, off its paper and draw it out along wet glass until it first "
        f"whitens or tears. Measure from mark to mark; they are printed {STRIP_MARKS:g} mm apart.",
        room,
    )
    y -= 9.0
    for k in range(2):
        _strip(page, left + k * (STRIP_LENGTH + 12.0), y - STRIP_WIDTH, press, target)
    return page


def _discs(page: Page, x: float, y: float, room: float, press: Press, target: str) -> float:
    note, colour = note_ink(press), colour_ink(target, press)
    light = colour_ink("#ffffff", press)
    at, row_top, tallest = x, y, 0.0
    for diameter in DISCS:
        wide = max(float(diameter), 13.0)
        if at + wide > x + room:
            row_top -= tallest + 9.5
            at, tallest = x, 0.0
        centre = (at + wide / 2, row_top - diameter / 2)
        disc = shapely.Point(centre).buffer(diameter / 2, 64)
        spokes = shapely.union_all([_spoke(centre, diameter / 2, k) for k in range(12)])
        if press.has_white:
            page.fill(WHITE, disc.buffer(-press.white_choke))
        page.fill(colour, disc.difference(spokes))
        if light.tints != (0.0, 0.0, 0.0, 0.0):
            page.fill(light, spokes)
        page.fill(CUT, disc)
        low = row_top - diameter
        page.text(note, centre[0], low - 2.6, f"{diameter} mm", TINY, anchor=0.5)
        page.text(note, centre[0], low - 4.9, f"rim -{100 * rim_shrink(diameter):.2f} %", TINY, anchor=0.5)
        page.text(
            note, centre[0], low - 7.2, f"range {100 * smallest_range(diameter):.2f} %", TINY, anchor=0.5
        )
        at += wide + 2.6
        tallest = max(tallest, float(diameter))
    return row_top - tallest - 9.5


def _spoke(centre: tuple[float, float], radius: float, k: int) -> shapely.Polygon:
    """A fine open line from near the middle to the rim, where a wrinkle shows first."""
    way = np.array([np.cos(k * np.pi / 6), np.sin(k * np.pi / 6)])
    line = shapely.LineString([np.array(centre) + 0.45 * radius * way, np.array(centre) + radius * way])
    return line.buffer(0.12, cap_style="flat")


def _strip(page: Page, x: float, y: float, press: Press, target: str) -> None:
    box = shapely.box(x, y, x + STRIP_LENGTH, y + STRIP_WIDTH)
    end = (STRIP_LENGTH - STRIP_MARKS) / 2
    marks = shapely.union_all(
        [shapely.box(x + at - 0.1, y, x + at + 0.1, y + STRIP_WIDTH) for at in (end, STRIP_LENGTH - end)]
    )
    if press.has_white:
        page.fill(WHITE, box.buffer(-press.white_choke))
    page.fill(colour_ink(target, press), box.difference(marks))
    page.fill(CUT, box)
