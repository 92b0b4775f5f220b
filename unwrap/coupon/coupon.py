"""The test print: two pages that measure what a job assumes of printer and film."""

from __future__ import annotations

import re
from pathlib import Path

from unwrap.coupon.film_page import film_page
from unwrap.coupon.page import page_svg, pages_pdf
from unwrap.coupon.printer_page import printer_page, ruler_lengths
from unwrap.coupon.readings import READINGS_FILE, readings_template
from unwrap.errors import BadInput
from unwrap.sheet.inks import Press

A4 = (210.0, 297.0)
LEAST = (200.0, 275.0)


def make_coupon(
    out_dir: str | Path,
    *,
    size: tuple[float, float] = A4,
    margin: float = 8.0,
    press: Press | None = None,
    target: str = "#1f4d3a",
) -> tuple[Path, ...]:
    """Write the test print and an empty form for its readings.

    Parameters
    ----------
    out_dir : str or Path
        An existing folder.
    size : (width, height)
        The sheet, mm; at least 200 x 275.
    margin : float
        Border that the printer leaves free, mm.
    press : Press, optional
        The printer's inks, and whether film is printed face down. Its scale corrections
        are not applied: they are what is measured.
    target : str
        The colour to match, "#rrggbb".

    Returns
    -------
    tuple of Path
        Everything written: two pages as SVG, their white plates where the printer has
        white, one PDF, and the form.

    Raises
    ------
    BadInput
        If the sheet is too small or the colour cannot be read.
    """
    press = press or Press()
    width, height = size
    if width < LEAST[0] or height < LEAST[1]:
        raise BadInput(
            f"a sheet of {width:g} x {height:g} mm is too small for the test print; "
            f"give one of at least {LEAST[0]:g} x {LEAST[1]:g} mm, such as A4."
        )
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", target):
        raise BadInput(f'colour "{target}" cannot be read; write it as "#rrggbb", such as "#1f4d3a".')
    out = Path(out_dir)
    pages = (
        printer_page(width, height, margin, press, target),
        film_page(width, height, margin, press, target),
    )
    written = []
    for page in pages:
        for white in (False, True) if press.has_white else (False,):
            path = out / f"{page.name}{'-white' if white else ''}.svg"
            path.write_text(page_svg(page, mirrored=press.face_down, white=white), encoding="utf-8")
            written.append(path)
    pdf = out / "coupon.pdf"
    pdf.write_bytes(pages_pdf(pages, press, title="Test print for printer and film"))
    form = out / READINGS_FILE
    form.write_text(readings_template(ruler_lengths(width, height, margin), target), encoding="utf-8")
    return (*written, pdf, form)
