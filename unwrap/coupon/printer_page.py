"""The first page of the test print: what the printer does to lengths, lines, inks and colours."""

from __future__ import annotations

import shapely

from unwrap.coupon.page import WHITE, Ink, Page
from unwrap.coupon.patches import patches_round
from unwrap.sheet.inks import Press, Tints, tints_of

# Widths of the ladder, mm: from finer than any toner holds to a bold line.
WIDTHS = (0.05, 0.08, 0.10, 0.12, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50)

# The two combs differ by this much a tooth, so that each tooth is worth that much, mm.
VERNIER_STEP = 0.05
VERNIER_PITCH = 2.0
VERNIER_TEETH = 10

PATCH_SIDE = 8.6

TITLE, SMALL, TINY = 4.2, 2.3, 1.7

NAMED_INKS = ("cyan", "magenta", "yellow", "black")
# Total coverage that is tried, 3.0 = three full inks.
TOTALS = (1.0, 1.5, 2.0, 2.2, 2.4, 2.6, 2.8, 3.0)

HOW_TO_READ = (
    "Print at full size, not fitted to the page, on the film and with the settings that the job will use.",
    "Rulers: measure from the first tick to the last with a steel rule. Lines, gaps, teeth: use a loupe.",
    "Combs: print three sheets and note the tooth of each; a printer that wanders shows it only so.",
    "Colours: lay film and all over the painted model, let it dry, and compare by daylight.",
    "Write what you read into readings.toml, then: unwrap coupon --read readings.toml",
)


def ruler_lengths(width: float, height: float, margin: float) -> tuple[float, float]:
    """Lengths of the rulers across and along a page: whole centimetres, mm."""
    return 10.0 * ((width - 2 * margin - 20) // 10), 10.0 * ((height - 2 * margin - 24) // 10)


def printer_page(width: float, height: float, margin: float, press: Press, target: str) -> Page:
    """Draw the page.

    Parameters
    ----------
    width, height, margin : float
        The sheet and the border that the printer leaves free, mm.
    press : Press
        Its inks.
    target : str
        The colour to match, "#rrggbb".
    """
    page = Page("coupon-1", width, height)
    note, strong = note_ink(press), colour_ink("#000000", press)
    one = colour_ink("#ff00ff", press)
    left, top = margin + 16.0, height - margin
    page.text(note, left, top - TITLE, "Test print 1: the printer", TITLE)
    _rulers(page, note, margin)
    y = top - 12.0
    y = _ladder(page, left, y, note, one, strong)
    if press.has_white:
        y = _verniers(page, left, y - 3.0, note, one)
    y = _patches(page, left, y - 3.0, note, press, target)
    y = _coverage(page, left, y - 4.0, note, press)
    y -= 3.0
    for line in HOW_TO_READ:
        y = page.paragraph(note, left, y, line, width - margin - left, TINY * 1.2)
    return page


def colour_ink(colour: str, press: Press) -> Ink:
    """A colour as the press builds it."""
    return Ink("colour", colour, tints_of(colour, press))


def note_ink(press: Press) -> Ink:
    """One dark ink for words and rules, so that a misprint cannot blur them."""
    if not press.has_black:
        return Ink("colour", "#0a5f86", (0.95, 0.0, 0.0, 0.0))
    return Ink("colour", "#333333", (0.0, 0.0, 0.0, 0.85))


def _rulers(page: Page, ink: Ink, margin: float) -> None:
    across, along = ruler_lengths(page.width, page.height, margin)
    for length, upright in ((across, False), (along, True)):
        origin = (margin + 16.0, margin + 4.0) if not upright else (margin + 4.0, margin + 16.0)
        for mm in range(int(length) + 1):
            tall = 5.0 if mm % 10 == 0 else 3.6 if mm % 5 == 0 else 2.2
            x, y = origin
            if upright:
                page.bar(ink, x, y + mm - 0.06, tall, 0.12)
            else:
                page.bar(ink, x + mm - 0.06, y, 0.12, tall)
            if mm % 20 == 0 and upright:
                page.text(ink, x - 0.7, y + mm, str(mm), TINY, upright=True, anchor=0.5)
            elif mm % 20 == 0:
                page.text(ink, x + mm, y - 2.2, str(mm), TINY, anchor=0.5)


def _ladder(page: Page, x: float, y: float, note: Ink, one: Ink, strong: Ink) -> float:
    page.text(note, x, y, "Lines and gaps: the thinnest that stands unbroken in both directions", SMALL)
    label, pitch = 30.0, (page.width - 2 * x + 16.0 - 30.0) / len(WIDTHS)
    pitch = min(pitch, 13.6)
    for k, width in enumerate(WIDTHS):
        page.text(note, x + label + (k + 0.5) * pitch - 1.0, y - 4.2, f"{width:.2f}", TINY, anchor=0.5)
    rows = (
        ("line, one ink", one),
        ("line, built black", strong),
        ("gap between bars", strong),
        ("line left open", strong),
    )
    y -= 5.8
    for kind, (name, ink) in enumerate(rows):
        page.text(note, x, y - 5.5, name, SMALL)
        for k, width in enumerate(WIDTHS):
            left = x + label + k * pitch
            middle_x, middle_y = left + 4.75, y - 4.75
            plus = shapely.union_all(
                [
                    shapely.box(left, middle_y - width / 2, left + 9.5, middle_y + width / 2),
                    shapely.box(middle_x - width / 2, y - 9.5, middle_x + width / 2, y),
                ]
            )
            if kind < 2:
                page.fill(ink, plus)
            elif kind == 2:
                for a in (-1, 1):
                    page.fill(ink, shapely.box(*_bar_beside(middle_x, y - 4.6, 4.6, a, width)))
                    page.fill(ink, shapely.box(*_bar_over(left, y - 7.2, 9.5, a, width)))
            else:
                page.fill(ink, shapely.box(left, y - 9.5, left + 9.5, y).difference(plus))
        y -= 11.2
    return y


def _bar_beside(x: float, y: float, tall: float, side: int, gap: float) -> tuple[float, float, float, float]:
    near, far = x + side * gap / 2, x + side * (gap / 2 + 0.8)
    return min(near, far), y, max(near, far), y + tall


def _bar_over(x: float, y: float, long: float, side: int, gap: float) -> tuple[float, float, float, float]:
    near, far = y + side * gap / 2, y + side * (gap / 2 + 0.8)
    return x, min(near, far), x + long, max(near, far)


def _verniers(page: Page, x: float, y: float, note: Ink, colour: Ink) -> float:
    page.text(note, x, y, "White against colour: the tooth that lines up best, held against the light", SMALL)
    reach = VERNIER_TEETH * VERNIER_PITCH
    page.text(note, x, y - 9.5, "across", SMALL)
    _combs(page, x + 14.0 + reach, y - 12.5, note, colour, upright=False)
    upright_x = x + 14.0 + 2 * reach + 34.0
    page.text(note, upright_x - 18.0, y - 9.5, "along", SMALL)
    _combs(page, upright_x, y - 5.0 - reach, note, colour, upright=True)
    page.paragraph(
        note,
        x,
        y - 23.0,
        "Each tooth is worth 0.05 mm. Count from 0: to the right and upwards is plus, as you read these "
        "words. The white teeth stand below and to the right of the coloured ones.",
        2 * reach + 10.0,
        TINY,
    )
    return y - 8.0 - 2 * reach


def _combs(page: Page, x: float, y: float, note: Ink, colour: Ink, *, upright: bool) -> None:
    """A coloured and a white comb whose middle teeth stand at x, y."""
    for tooth in range(-VERNIER_TEETH, VERNIER_TEETH + 1):
        long = 5.0 if tooth % 5 == 0 else 3.6
        own, other = tooth * VERNIER_PITCH, tooth * (VERNIER_PITCH - VERNIER_STEP)
        if upright:
            page.bar(colour, x - long, y + own - 0.2, long, 0.4)
            page.bar(WHITE, x, y + other - 0.2, long, 0.4)
        else:
            page.bar(colour, x + own - 0.2, y, 0.4, long)
            page.bar(WHITE, x + other - 0.2, y - long, 0.4, long)
        if tooth % 5 == 0:
            text = f"{tooth:+d}" if tooth else "0"
            if upright:
                page.text(note, x - 6.0, y + own - 0.6, text, TINY, anchor=1.0)
            else:
                page.text(note, x + own, y + 5.8, text, TINY, anchor=0.5)


def _patches(page: Page, x: float, y: float, note: Ink, press: Press, target: str) -> float:
    page.text(note, x, y, f"Colours round {target}: the number that matches the painted model", SMALL)
    side, gap, between = PATCH_SIDE, 1.0, 6.0
    y -= 4.0
    for patch in patches_round(target):
        left = x + patch.block * (5 * (side + gap) + between) + patch.column * (side + gap)
        low = y - 5 * (side + gap) + patch.row * (side + gap)
        box = shapely.box(left, low, left + side, low + side)
        if press.has_white:
            page.fill(WHITE, box.buffer(-press.white_choke))
        page.fill(colour_ink(patch.colour, press), box)
        words = colour_ink("#ffffff" if _is_dark(patch.colour) else "#000000", press)
        page.text(words, left + 0.5, low + 0.6, str(patch.number), TINY)
    for block, name in enumerate(("darker", "as asked", "lighter")):
        page.text(note, x + block * (5 * (side + gap) + between), y + 0.9, name, TINY)
    return y - 5 * (side + gap)


def _coverage(page: Page, x: float, y: float, note: Ink, press: Press) -> float:
    page.text(note, x, y, "Ink by tenths: left half over white, right half on bare film", SMALL)
    side, tall, label, row = 13.2, 5.6, 18.0, 6.5
    y -= 1.6
    for k, name in enumerate(NAMED_INKS):
        if (press.has_black if name == "black" else press.has_colour) is False:
            continue
        y -= row
        page.text(note, x, y + 1.8, name, SMALL)
        for tenth in range(1, 11):
            tints = _single(k, tenth / 10)
            left = x + label + (tenth - 1) * side
            if press.has_white:
                page.bar(WHITE, left, y, side / 2, tall)
            page.bar(Ink("colour", _screen(tints), tints), left, y, side - 0.7, tall)
    if press.has_white:
        y -= row
        page.text(note, x, y + 1.8, "white", SMALL)
        for tenth in range(1, 11):
            white = Ink("white", "#e4e4ea", tint=tenth / 10)
            page.bar(white, x + label + (tenth - 1) * side, y, side - 0.7, tall)
    if press.has_colour:
        y -= row
        page.text(note, x, y + 1.8, "three inks", SMALL)
        for k, total in enumerate(TOTALS):
            tints = (total / 3, total / 3, total / 3, 0.0)
            left = x + label + k * side
            if press.has_white:
                page.bar(WHITE, left, y, side / 2, tall)
            page.bar(Ink("colour", _screen(tints), tints), left, y, side - 0.7, tall)
            page.text(note, left, y - 2.3, f"{100 * total:.0f} %", TINY)
        y -= 3.4
    return y - 3.0


def _single(ink: int, tint: float) -> Tints:
    """A tint of one ink alone."""
    cyan, magenta, yellow, black = (tint if i == ink else 0.0 for i in range(4))
    return cyan, magenta, yellow, black


def _screen(tints: Tints) -> str:
    """A screen colour for tints: their complement."""
    cyan, magenta, yellow, black = tints
    return "#" + "".join(f"{round(255 * (1 - ink) * (1 - black)):02x}" for ink in (cyan, magenta, yellow))


def _is_dark(colour: str) -> bool:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return 0.3 * red + 0.6 * green + 0.1 * blue < 120
