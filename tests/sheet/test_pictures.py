"""Pictures and shadings on the sheet: where they land and in which inks, by other renderers."""

import io
import shutil
import subprocess

import numpy as np
import pytest
import shapely
from PIL import Image
from sheet_pieces import fill, grid, piece_of

from unwrap.livery.paint import Paint, Picture
from unwrap.sheet.dots import plate_dots
from unwrap.sheet.inks import Press, tints_of
from unwrap.sheet.limits import press_remarks
from unwrap.sheet.pdf import sheet_pdf
from unwrap.sheet.pictures import tints_of_dots
from unwrap.sheet.plates import white_area
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.svg import sheet_frame, sheet_svg

resvg = pytest.importorskip("resvg_py")
DPI = 254
PER_MM = 10


def shaded_sheet():
    """A turned piece of 40 x 30 mm with a disc whose red and blue follow its x and y."""
    points, faces = grid(40.0, 30.0)
    x, y = np.meshgrid(np.arange(960) / 24, 30 - np.arange(720) / 24)
    dots = np.stack([5 * x, np.full_like(x, 60), 6 * y], axis=-1).astype(np.uint8)
    picture = Picture(dots, np.array([[1 / 24, 0, 0], [0, -1 / 24, 30.0]]))
    disc = shapely.Point(20, 15).buffer(11.0, quad_segs=64)
    shade = Paint("artwork", "#645a5a", disc, fill(disc).curves, label="disc", picture=picture)
    piece = piece_of("side", points, faces, [fill(shapely.box(0, 0, 40, 30), "#e0d8b0"), shade])
    return Sheet(1, 100.0, 80.0, (Placement(piece, 0.4, (30.0, 20.0)),)), shade


def on_page(sheet, places, mirrored):
    """Dots of the page, 10 to the mm, that places on the piece fall on."""
    frame, matrix = sheet_frame(sheet, mirrored), sheet.placements[0].matrix
    placed = places @ matrix[:, :2].T + matrix[:, 2]
    return np.floor((placed @ frame[:, :2].T + frame[:, 2]) * PER_MM).astype(int)


def disc_places():
    turn, out = np.meshgrid(np.linspace(0, 6.2, 40), np.linspace(0, 10.5, 12))
    return np.column_stack([20 + (out * np.cos(turn)).ravel(), 15 + (out * np.sin(turn)).ravel()])


@pytest.mark.parametrize("mirrored", [True, False])
def test_a_picture_lies_on_the_sheet_where_it_lies_on_the_piece(mirrored):
    sheet, shade = shaded_sheet()
    data = resvg.svg_to_bytes(svg_string=sheet_svg(sheet, mirrored), dpi=DPI, background="white")
    page = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGB"), dtype=int)
    places = disc_places()
    column, row = on_page(sheet, places, mirrored).T
    # A dot is 0.1 mm: 0.6 levels, and the renderer's own rounding.
    assert np.abs(page[row, column] - shade.picture.at(places)).max() <= 3
    # Cut off at the smooth edge: the fill shows beside it.
    turn = np.linspace(0, 6, 60)
    beside = np.column_stack([20 + 11.3 * np.cos(turn), 15 + 11.3 * np.sin(turn)])
    column, row = on_page(sheet, beside, mirrored).T
    assert np.abs(page[row, column] - [0xE0, 0xD8, 0xB0]).max() <= 3


@pytest.mark.parametrize("inks", ["cmyw", "cmykw", "kw"])
def test_every_dot_has_the_tints_of_its_colour(inks):
    press = Press(inks=inks, limit=2.2)
    dots = np.random.default_rng(3).integers(0, 256, (40, 3)).astype(np.uint8)
    dots[:3] = [[0, 0, 0], [255, 255, 255], [255, 0, 0]]
    wanted = [tints_of("#" + bytes(dot).hex(), press) for dot in dots]
    assert np.abs(tints_of_dots(dots, press) - 255 * np.array(wanted)).max() <= 0.51


@pytest.mark.skipif(shutil.which("gs") is None, reason="Ghostscript is not installed")
def test_ghostscript_makes_the_plates_that_we_make(tmp_path):
    sheet, shade = shaded_sheet()
    press = Press(registration=0.0)
    (tmp_path / "sheet.pdf").write_bytes(sheet_pdf(sheet, press))
    subprocess.run(
        ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=tiffsep", f"-r{DPI}",
         f"-sOutputFile={tmp_path}/plate.tif", str(tmp_path / "sheet.pdf")],
        check=True, timeout=120,
    )  # fmt: skip
    ours = plate_dots(sheet, press, DPI)
    places = disc_places()
    column, row = on_page(sheet, places, mirrored=True).T
    wanted = tints_of_dots(shade.picture.at(places), press)
    for k, ink in enumerate(("cyan", "magenta", "yellow")):
        with Image.open(tmp_path / f"plate({ink.capitalize()}).tif") as plate:
            theirs = 255 - np.asarray(plate.convert("L"), dtype=int)
        assert np.abs(theirs[row, column] - wanted[:, k]).max() <= 3
        assert np.abs(ours[ink][row, column].astype(int) - wanted[:, k]).max() <= 3
    with Image.open(tmp_path / "plate(White).tif") as plate:
        assert (np.asarray(plate.convert("L"))[row, column] < 8).all()
    assert (ours["white"][row, column] == 255).all()


def test_white_lies_under_a_picture_and_nothing_is_said_of_its_mean():
    sheet, shade = shaded_sheet()
    piece = sheet.placements[0].piece
    assert white_area(piece).covers(shade.area.buffer(-0.2))
    assert not any("#645a5a" in said for said in press_remarks([piece], Press(limit=0.5)))
