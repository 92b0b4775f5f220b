"""Pieces that are awkward but lawful go all the way to files."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pikepdf
import pytest
import shapely
from sheet_pieces import box_piece, fill, flat_of, grid, piece_of

from unwrap.film import Film
from unwrap.livery.paint import Paint
from unwrap.sheet.dots import plate_dots, plate_pngs
from unwrap.sheet.inks import Press
from unwrap.sheet.layout import lay_out
from unwrap.sheet.marks import sheet_marks
from unwrap.sheet.outline import risk_spares
from unwrap.sheet.pdf import sheet_pdf
from unwrap.sheet.svg import sheet_svg, trial_svg, white_svg

SVG = "{http://www.w3.org/2000/svg}"


def files_of(sheet, press=None):
    press = press or Press()
    texts = [sheet_svg(sheet, press=press), white_svg(sheet, press=press), trial_svg(sheet)]
    for text in texts:
        ET.fromstring(text)
    with pikepdf.open(io.BytesIO(sheet_pdf(sheet, press))) as pdf:
        assert len(pdf.pages) == 1
    return texts


def test_a_piece_without_paint_is_cut_and_named_but_not_printed():
    points, faces = grid(30, 20)
    (sheet,) = lay_out([piece_of("glass", points, faces)], 105, 148, effort=0.05)
    files_of(sheet)
    assert all(plate.sum() == 0 for plate in plate_dots(sheet, dpi=100).values())


def test_paint_without_ground_or_curves_does_no_harm():
    points, faces = grid(30, 20)
    paints = [
        Paint("fill", "#FFF", shapely.Polygon()),
        Paint("artwork", "#0a0", shapely.GeometryCollection([shapely.Point(3, 3), shapely.box(5, 5, 9, 9)])),
        Paint(
            "lettering", "#123456", shapely.MultiPolygon([shapely.box(1, 1, 2, 2), shapely.box(3, 1, 4, 2)])
        ),
    ]
    (sheet,) = lay_out([piece_of("side", points, faces, paints)], 105, 148, effort=0.05)
    files_of(sheet)


@pytest.mark.parametrize("name", ["cab side (left)", "Türe links", "a", "a-very-long-name-for-a-small-piece"])
def test_names_of_every_kind(name):
    (sheet,) = lay_out([box_piece(name, 14, 12, lining=None)], 60, 60, 4, 2, effort=0.05)
    text, *_ = files_of(sheet)
    ids = [group.get("id") for group in ET.fromstring(text).iter(f"{SVG}g")]
    assert ids.count("piece-" + name.replace(" ", "_")) == 4


def test_a_sheet_too_small_for_any_bar_has_none():
    (sheet,) = lay_out([box_piece("cab", 6, 6, lining=None)], 22, 24, 2, 1, effort=0.05)
    text, *_ = files_of(sheet)
    assert "100 mm" not in text


def test_a_piece_with_hundreds_of_colours():
    points, faces = grid(40, 20)
    rng = np.random.default_rng(4)
    paints = [fill(shapely.box(0, 0, 40, 20), "#808080")]
    for k in range(200):
        x, y = rng.uniform((1, 1), (38, 18))
        paints.append(
            fill(shapely.Point(x, y).buffer(0.7), f"#{rng.integers(0, 1 << 24):06x}", "artwork", str(k))
        )
    (sheet,) = lay_out([piece_of("side", points, faces, paints)], 105, 148, effort=0.05)
    files_of(sheet)


def test_plates_as_png_carry_their_resolution():
    from PIL import Image

    (sheet,) = lay_out([box_piece("side", 40, 20)], 105, 148, effort=0.05)
    files = plate_pngs(sheet, Press(), dpi=300)
    assert list(files) == ["cyan", "magenta", "yellow", "white"]
    for data in files.values():
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.1)
            assert picture.size == (round(105 / 25.4 * 300), round(148 / 25.4 * 300))


def test_a_piece_at_risk_gets_a_spare():
    points, faces = grid(30, 20)
    calm = flat_of(points, faces)
    assert risk_spares(calm) == 0

    def strained(worst):
        flat = flat_of(points, faces, film=Film(0.03, 0.01))
        object.__setattr__(flat, "stretch", np.tile([1 + worst, 1.0], (len(faces), 1)))
        return flat

    assert risk_spares(strained(0.01)) == 0
    assert risk_spares(strained(0.028)) == 1
    cut = flat_of(points, faces)
    object.__setattr__(cut, "cuts", (np.zeros((2, 3)),))
    assert risk_spares(cut) == 1


def test_every_slit_is_numbered_outside_its_mouth():
    slits = (np.array([[10.0, 0.0], [10.0, 8.0]]), np.array([[30.0, 20.0], [30.0, 12.0]]))
    piece = replace(box_piece("side", 40, 20, lining=None, spares=1), slits=slits)
    (sheet,) = lay_out([piece], 105, 148, gap=3, effort=0.05)
    numbers = {(mark.piece, mark.text): mark for mark in sheet_marks(sheet) if mark.text.startswith("slit")}
    assert set(numbers) == {(name, f"slit {k}") for name in ("side", "side-2") for k in (1, 2)}
    for place in sheet.placements:
        for k, slit in enumerate(slits, start=1):
            mouth = place.matrix[:, :2] @ slit[0] + place.matrix[:, 2]
            points = numbers[place.name, f"slit {k}"].curves[0].spans.reshape(-1, 2)
            assert np.linalg.norm(points.mean(axis=0) - mouth) < 4.0
