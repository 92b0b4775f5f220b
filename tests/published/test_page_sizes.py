"""Pages against published sizes, and 100 mm against 100 mm, through other programs' eyes."""

import io
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1] / "sheet"))

from sheet_pieces import box_piece

from unwrap.sheet.inks import Press
from unwrap.sheet.pdf import sheet_pdf
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.svg import sheet_svg

resvg = pytest.importorskip("resvg_py")

# ISO 216 (A3 to A6) and ANSI/ASME Y14.1 (Letter): mm, then points of 1/72 inch and
# pixels of 1/96 inch, worked out to seven figures from the definition of the inch (25.4 mm).
PAGES = {
    "A3": ((297, 420), (841.8898, 1190.551), (1122.520, 1587.402)),
    "A4": ((210, 297), (595.2756, 841.8898), (793.7008, 1122.520)),
    "A5": ((148, 210), (419.5276, 595.2756), (559.3701, 793.7008)),
    "A6": ((105, 148), (297.6378, 419.5276), (396.8504, 559.3701)),
    "Letter": ((215.9, 279.4), (612.0, 792.0), (816.0, 1056.0)),
}


def sheet_of(size):
    piece = box_piece("side", 40, 20)
    return Sheet(1, *size, (Placement(piece, 0.0, (30.0, 150.0)),))


@pytest.mark.parametrize("name", PAGES)
def test_the_pdf_page_has_the_published_size_in_points(name):
    size, points, _ = PAGES[name]
    with pikepdf.open(io.BytesIO(sheet_pdf(sheet_of(size)))) as pdf:
        for box in (pdf.pages[0].mediabox, pdf.pages[0].trimbox):
            assert [float(side) for side in box] == pytest.approx([0, 0, *points], rel=1e-6)


@pytest.mark.parametrize("name", PAGES)
def test_the_svg_page_has_the_published_size_in_pixels(name):
    # CSS Values and Units: 1 in = 96 px; a renderer's page is the next whole pixel.
    size, _, pixels = PAGES[name]
    png = bytes(resvg.svg_to_bytes(svg_string=sheet_svg(sheet_of(size)), dpi=96))
    with Image.open(io.BytesIO(png)) as picture:
        assert np.abs(np.subtract(picture.size, pixels)).max() <= 1.0


DPI = 600


def by_resvg(sheet, press, folder):
    svg = sheet_svg(sheet, press.face_down, press=press)
    return np.asarray(
        Image.open(
            io.BytesIO(bytes(resvg.svg_to_bytes(svg_string=svg, dpi=DPI, background="white")))
        ).convert("L")
    )


def by_pdfium(sheet, press, folder):
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(sheet_pdf(sheet, press))
    picture = document[0].render(scale=DPI / 72, grayscale=True).to_numpy().astype(float)
    document.close()
    return picture.reshape(picture.shape[:2])


def by_ghostscript(sheet, press, folder):
    if shutil.which("gs") is None:
        pytest.skip("Ghostscript (gs) is not installed")
    source = folder / "sheet.pdf"
    source.write_bytes(sheet_pdf(sheet, press))
    subprocess.run(
        ["gs", "-q", "-dSAFER", "-dNOPAUSE", "-dBATCH", "-sDEVICE=pnggray", "-dGraphicsAlphaBits=4",
         f"-r{DPI}", f"-sOutputFile={folder}/page.png", str(source)],
        check=True,
    )  # fmt: skip
    with Image.open(folder / "page.png") as picture:
        return np.asarray(picture.convert("L"))


def ticks(strip):
    """Middles of the dark runs along a strip, in dots."""
    ink = 255.0 - strip.mean(axis=0)
    dark = ink > 0.3 * ink.max()
    starts = np.flatnonzero(dark & ~np.roll(dark, 1))
    ends = np.flatnonzero(dark & ~np.roll(dark, -1))
    return np.array(
        [
            np.average(np.arange(a - 2, b + 3), weights=ink[a - 2 : b + 3])
            for a, b in zip(starts, ends, strict=True)
        ]
    )


@pytest.mark.parametrize("look", [by_resvg, by_pdfium, by_ghostscript])
@pytest.mark.parametrize("scale", [(1.0, 1.0), (1.004, 0.997)])
def test_100_mm_is_100_mm_in_both_directions(look, scale, tmp_path):
    sheet = sheet_of((148, 210))
    press = Press(face_down=False, scale_x=scale[0], scale_y=scale[1])
    picture = look(sheet, press, tmp_path).astype(float)
    # One of them fits the page to whole dots instead of keeping its scale.
    dot = 148 / picture.shape[1] if look is by_pdfium else 25.4 / DPI
    middle = np.array([74.0, 105.0])

    def on_page(x, y):
        """Where a place of the sheet is on the page, in dots, y down."""
        px, py = middle + (np.array([x, y]) - middle) * scale
        return round(px / dot), round((210 - py) / dot)

    # The bar at the foot starts 5.5 mm from the margin; its ticks stand 1.1 mm and more above it.
    x0, y0 = on_page(10.5 - 2, 6.0 + 0.9)
    x1, y1 = on_page(110.5 + 0.8, 6.0 + 0.4)
    found = ticks(picture[y0:y1, x0:x1])
    assert len(found) == 11
    assert (found[-1] - found[0]) * dot == pytest.approx(100 * scale[0], abs=0.02)
    assert np.diff(found) * dot == pytest.approx(np.full(10, 10 * scale[0]), abs=0.02)

    x0, y0 = on_page(6.0 + 0.4, 110.5 + 0.8)
    x1, y1 = on_page(6.0 + 0.9, 10.5 - 2)
    found = ticks(picture[y0:y1, x0:x1].T)
    assert len(found) == 11
    assert (found[-1] - found[0]) * dot == pytest.approx(100 * scale[1], abs=0.02)
