"""The sheet's SVG, read back with another parser and drawn by another renderer."""

import io
import shutil
import subprocess
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import shapely
from PIL import Image
from sheet_pieces import box_piece, sector_piece

from unwrap.sheet.inks import Press
from unwrap.sheet.layout import placed_shapes
from unwrap.sheet.marks import sheet_marks
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.svg import sheet_svg, trial_svg, white_svg

resvg = pytest.importorskip("resvg_py")
SVG = "{http://www.w3.org/2000/svg}"


def two_piece_sheet(width=148.0, height=210.0):
    side = box_piece("side", 80, 25)
    dome = sector_piece("dome")
    places = (
        Placement(side, 0.0, (15.0, 150.0)),
        Placement(side, np.pi / 2, (45.0, 40.0), 1),
        Placement(dome, 0.3, (95.0, 80.0)),
    )
    return Sheet(1, width, height, places)


def drawn(svg, dpi=254):
    """The picture as grey values 0 to 255; 254 dots per inch are 10 dots per mm."""
    png = bytes(resvg.svg_to_bytes(svg_string=svg, dpi=dpi, background="white"))
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)


def test_size_and_groups():
    root = ET.fromstring(sheet_svg(two_piece_sheet()))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("148mm", "210mm", "0 0 148 210")
    layers = {group.get("id"): group for group in root.findall(f"{SVG}g")}
    assert list(layers) == ["white", "colour", "cut", "notes"]
    for layer in layers.values():
        groups = [g.get("id") for g in layer if g.tag == f"{SVG}g"]
        assert groups == ["piece-side", "piece-side-2", "piece-dome"]


def test_one_millimetre_is_one_millimetre():
    # A black square from 10 to 110 mm across, 20 to 70 mm up the sheet.
    square = box_piece("square", 100, 50, colour="#000000", lining=None, bleed=0)
    sheet = Sheet(1, 148, 210, (Placement(square, 0.0, (20.0, 100.0)),))
    white = white_svg(sheet, mirrored=False, press=Press(white_choke=0.0))
    picture = drawn(white)
    assert abs(picture.shape[1] - 1480) <= 1 and abs(picture.shape[0] - 2100) <= 1
    rows, columns = np.nonzero(picture < 128)
    scale = picture.shape[1] / 148.0
    assert (columns.max() + 1 - columns.min()) / scale == pytest.approx(100, abs=0.02 + 0.5 / scale)
    assert (rows.max() + 1 - rows.min()) / scale == pytest.approx(50, abs=0.02 + 0.5 / scale)
    assert columns.min() / scale == pytest.approx(20, abs=0.1)
    assert rows.min() / scale == pytest.approx(210 - 150, abs=0.1)


def test_the_mirrored_sheet_reads_right_in_a_mirror():
    sheet = two_piece_sheet()
    plain = drawn(sheet_svg(sheet, mirrored=False))
    mirrored = drawn(sheet_svg(sheet, mirrored=True))
    assert np.abs(plain - mirrored).mean() > 5
    difference = np.abs(plain - mirrored[:, ::-1])
    # Edges that fall on half a dot may round either way.
    assert difference.mean() < 0.2
    assert (difference > 128).mean() < 1e-3


def test_the_trial_sheet_is_not_mirrored_and_has_no_white():
    sheet = two_piece_sheet()
    root = ET.fromstring(trial_svg(sheet))
    assert [group.get("id") for group in root.findall(f"{SVG}g")] == ["colour", "cut", "notes"]
    lower_left = drawn(trial_svg(sheet))[2100 - 1600 : 2100 - 1520, 155:900]
    assert lower_left.mean() < 120


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_cut_path_lies_where_the_outline_was_placed(mirrored):
    svgelements = pytest.importorskip("svgelements")
    sheet = two_piece_sheet()
    root = ET.fromstring(sheet_svg(sheet, mirrored=mirrored))
    cut = next(group for group in root.findall(f"{SVG}g") if group.get("id") == "cut")
    for place, group in zip(sheet.placements, cut, strict=True):
        path = svgelements.Path(group.find(f"{SVG}path").get("d"))
        read = np.array([[p.x, p.y] for p in (path.point(t) for t in np.linspace(0, 1, 400))])
        if mirrored:
            read[:, 0] = sheet.width - read[:, 0]
        read[:, 1] = sheet.height - read[:, 1]
        (a, b, x), (d, e, y) = place.matrix
        outline = shapely.affinity.affine_transform(place.piece.outline, (a, b, d, e, x, y))
        assert shapely.distance(outline.boundary, shapely.points(read)).max() < 0.02


def test_notes_keep_off_what_is_printed_on_the_pieces():
    sheet = two_piece_sheet()
    printed = shapely.union_all(placed_shapes(sheet))
    marks = sheet_marks(sheet, "Quarry tramway")
    said = [mark.text for mark in marks]
    for text in ("side", "side-2", "dome", "100 mm", "arrow to the front"):
        assert text in said
    assert said.count("100 mm") == 2
    for mark in marks:
        points = np.concatenate([curve.spans.reshape(-1, 2) for curve in mark.curves])
        assert shapely.distance(printed, shapely.points(points)).min() > 0.1, mark.text
        assert points.min() >= 5 and points[:, 0].max() <= 143


def test_the_arrow_points_to_the_front():
    sheet = two_piece_sheet()
    arrows = {mark.piece: mark for mark in sheet_marks(sheet) if mark.text == "arrow to the front"}
    for place in sheet.placements:
        name = "side-2" if place.copy else place.piece.name
        spans = arrows[name].curves[0].spans
        corners = spans[:, 0]
        tip = corners[4]
        tail = corners[:2].mean(axis=0)
        front = place.matrix[:, :2] @ place.piece.front
        assert (tip - tail) / np.linalg.norm(tip - tail) == pytest.approx(front, abs=1e-9)


def test_white_stays_inside_the_colour_by_the_choke():
    sheet = two_piece_sheet()
    black = drawn(white_svg(sheet, mirrored=False, press=Press(white_choke=0.3))) < 128
    printed = drawn(white_svg(sheet, mirrored=False, press=Press(white_choke=0.0))) < 128
    assert not (black & ~printed).any()
    area = black.sum() / 100.0
    expected = sum(shape.buffer(-0.3, join_style="mitre").area for shape in placed_shapes(sheet))
    assert area == pytest.approx(expected, rel=0.003)


def test_same_sheet_same_text():
    assert sheet_svg(two_piece_sheet()) == sheet_svg(two_piece_sheet())


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_chromium_shows_the_same_sheet(tmp_path):
    sheet = Sheet(1, 105.0, 148.0, (Placement(sector_piece("dome"), 0.3, (50.0, 80.0)),))
    svg = sheet_svg(sheet)
    page = tmp_path / "sheet.html"
    page.write_text(f"<!doctype html><body style='margin:0'>{svg}</body>", encoding="utf-8")
    shot = tmp_path / "shot.png"
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
         f"--user-data-dir={tmp_path}/profile", "--force-device-scale-factor=2", "--window-size=420,620",
         f"--screenshot={shot}", page.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    ours = drawn(svg, dpi=192) < 200
    with Image.open(shot) as picture:
        theirs = np.asarray(picture.convert("L"))[: ours.shape[0], : ours.shape[1]] < 200
    ours = ours[: theirs.shape[0], : theirs.shape[1]]

    def near(mask):
        return mask | np.roll(mask, 1, 0) | np.roll(mask, -1, 0) | np.roll(mask, 1, 1) | np.roll(mask, -1, 1)

    assert ours.sum() > 10_000
    assert (ours & ~near(theirs)).mean() < 1e-3 and (theirs & ~near(ours)).mean() < 1e-3
