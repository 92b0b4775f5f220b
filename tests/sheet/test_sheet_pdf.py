"""The sheet's PDF, taken apart by other programs."""

import io
import shutil
import subprocess

import numpy as np
import pikepdf
import pytest
import shapely
from PIL import Image
from sheet_pieces import box_piece, fill, grid, piece_of, sector_piece

from unwrap.sheet.dots import plate_dots
from unwrap.sheet.inks import Press
from unwrap.sheet.pdf import sheet_pdf
from unwrap.sheet.plates import white_area
from unwrap.sheet.sheet import Placement, Sheet

needs_gs = pytest.mark.skipif(shutil.which("gs") is None, reason="Ghostscript (gs) is not installed")
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="poppler (pdftoppm) is not installed"
)
DPI = 254


def small_sheet():
    side = box_piece("side", 40, 25)
    dome = sector_piece("dome", 6, 14)
    return Sheet(1, 105, 148, (Placement(side, 0.2, (20.0, 100.0)), Placement(dome, 0.0, (60.0, 50.0))))


def plates_of(pdf, folder):
    """Every separation as (h, w) tints 0 to 1, by Ghostscript."""
    source = folder / "sheet.pdf"
    source.write_bytes(pdf)
    subprocess.run(
        ["gs", "-q", "-dSAFER", "-dNOPAUSE", "-dBATCH", "-sDEVICE=tiffsep", f"-r{DPI}",
         f"-sOutputFile={folder}/out_%d.tif", str(source)],
        check=True,
    )  # fmt: skip
    plates = {}
    for path in folder.glob("out_1(*).tif"):
        with Image.open(path) as picture:
            plates[path.name[6:-5]] = 1.0 - np.asarray(picture.convert("L"), dtype=float) / 255.0
    return plates


def mask_of(area, matrix, sheet, mirrored=True, size=None):
    """Dots whose middle lies inside an area of a piece."""
    (a, b, x), (d, e, y) = matrix
    placed = shapely.affinity.affine_transform(area, (a, b, d, e, x, y))
    rows, columns = size
    px = (np.arange(columns) + 0.5) * 25.4 / DPI
    py = sheet.height - (np.arange(rows) + 0.5) * 25.4 / DPI
    if mirrored:
        px = sheet.width - px
    shapely.prepare(placed)
    grid_x, grid_y = np.meshgrid(px, py)
    return shapely.contains_xy(placed, grid_x, grid_y)


def grown(mask):
    """A mask and every dot that touches it."""
    out = mask.copy()
    for axis in (0, 1):
        for step in (1, -1):
            out |= np.roll(out, step, axis=axis)
    return out


@needs_gs
@pytest.mark.parametrize("face_down", [True, False])
def test_the_white_plate_is_the_choked_area_to_one_dot(tmp_path, face_down):
    sheet = small_sheet()
    press = Press(face_down=face_down, white_choke=0.2)
    plates = plates_of(sheet_pdf(sheet, press), tmp_path)
    white = plates["White"] > 0.5
    wanted = np.zeros_like(white)
    for place in sheet.placements:
        wanted |= mask_of(white_area(place.piece, 0.2), place.matrix, sheet, face_down, white.shape)
    assert wanted.sum() > 100_000
    assert not (white & ~grown(wanted)).any(), "white more than one dot beyond what was meant"
    assert not (~white & ~grown(~wanted)).any(), "white knocked out where it was meant"


@needs_gs
def test_each_ink_gets_its_own_tint_and_lining_replaces_the_fill(tmp_path):
    sheet = small_sheet()
    plates = plates_of(sheet_pdf(sheet, Press()), tmp_path)
    assert plates["Black"].max() == 0.0, "there is no black ink"
    side = sheet.placements[0]
    ground = mask_of(shapely.box(5, 5, 35, 20), side.matrix, sheet, True, plates["Cyan"].shape)
    lining = mask_of(shapely.box(2.15, 4, 2.25, 20), side.matrix, sheet, True, plates["Cyan"].shape)
    for plate, value in zip(("Cyan", "Magenta", "Yellow"), (0x1F, 0x4D, 0x3A), strict=True):
        assert plates[plate][ground] == pytest.approx(1 - value / 255, abs=0.01)
    for plate, value in zip(("Cyan", "Magenta", "Yellow"), (0xE8, 0xD9, 0xA0), strict=True):
        assert np.median(plates[plate][lining]) == pytest.approx(1 - value / 255, abs=0.01)


@needs_gs
def test_the_cutting_line_is_an_ink_of_its_own(tmp_path):
    sheet = small_sheet()
    plates = plates_of(sheet_pdf(sheet, Press(cut_name="Kiss")), tmp_path)
    assert {"White", "Kiss", "Cyan", "Magenta", "Yellow", "Black"} <= set(plates)
    rows, columns = np.nonzero(plates["Kiss"] > 0.5)
    x = sheet.width - (columns + 0.5) * 25.4 / DPI
    y = sheet.height - (rows + 0.5) * 25.4 / DPI
    outlines = []
    for place in sheet.placements:
        (a, b, u), (d, e, v) = place.matrix
        outlines.append(shapely.affinity.affine_transform(place.piece.outline, (a, b, d, e, u, v)).boundary)
    away = shapely.distance(shapely.union_all(outlines), shapely.points(x, y))
    assert away.max() < 0.05 + 1.5 * 25.4 / DPI


@needs_gs
def test_scale_corrections_stretch_the_page_about_its_middle(tmp_path):
    square = box_piece("square", 60, 80, colour="#000000", lining=None, bleed=0)
    sheet = Sheet(1, 105, 148, (Placement(square, 0.0, (22.5, 34.0)),))
    press = Press(face_down=False, white_choke=0.0, scale_x=1.01, scale_y=0.98)
    white = plates_of(sheet_pdf(sheet, press), tmp_path)["White"] > 0.5
    rows, columns = np.nonzero(white)
    dot = 25.4 / DPI
    assert (columns.max() + 1 - columns.min()) * dot == pytest.approx(60.6, abs=1.5 * dot)
    assert (rows.max() + 1 - rows.min()) * dot == pytest.approx(78.4, abs=1.5 * dot)
    assert (columns.max() + 1 + columns.min()) * dot / 2 == pytest.approx(52.5, abs=dot)


@needs_gs
@needs_poppler
def test_poppler_shows_the_page_that_ghostscript_prints(tmp_path):
    sheet = small_sheet()
    source = tmp_path / "sheet.pdf"
    source.write_bytes(sheet_pdf(sheet, Press()))
    subprocess.run(
        ["pdftoppm", "-r", "100", "-png", "-aa", "no", str(source), str(tmp_path / "p")], check=True
    )
    subprocess.run(
        ["gs", "-q", "-dSAFER", "-dNOPAUSE", "-dBATCH", "-sDEVICE=png16m", "-r100",
         f"-sOutputFile={tmp_path}/g.png", str(source)],
        check=True,
    )  # fmt: skip
    with Image.open(next(tmp_path.glob("p-*.png"))) as one, Image.open(tmp_path / "g.png") as two:
        assert np.abs(np.subtract(one.size, two.size)).max() <= 1
        both = tuple(np.minimum(one.size, two.size))
        a, b = (np.asarray(picture.convert("L").crop((0, 0, *both))) < 200 for picture in (one, two))
    # What is dark in one is dark in the other, to one dot: the colours' conversion differs.
    assert a.sum() > 5000
    assert (a & ~grown(b)).mean() < 1e-3 and (b & ~grown(a)).mean() < 1e-3


def test_boxes_layers_and_processing_steps():
    sheet = small_sheet()
    with pikepdf.open(io.BytesIO(sheet_pdf(sheet, Press(white_name="Underlay", white_hits=2)))) as pdf:
        (page,) = pdf.pages
        for box in (page.mediabox, page.trimbox):
            assert [float(side) for side in box] == pytest.approx(
                [0, 0, 105 * 72 / 25.4, 148 * 72 / 25.4], abs=1e-4
            )
        layers = {str(layer.Name): layer for layer in pdf.Root.OCProperties.OCGs}
        assert list(layers) == ["Underlay", "Underlay 2", "Colour", "Cut", "Notes"]
        assert layers["Underlay"].GTS_Metadata.GTS_ProcStepsGroup == "/White"
        assert layers["Cut"].GTS_Metadata.GTS_ProcStepsGroup == "/Structural"
        assert layers["Cut"].GTS_Metadata.GTS_ProcStepsType == "/Cutting"
        for state in page.Resources.ExtGState.values():
            assert state.OP and state.op
        inks = {str(ink[1]) for ink in page.Resources.ColorSpace.values()}
        assert inks == {"/Underlay", "/Underlay 2", "/Cut"}
        assert all(ink[0] == "/Separation" for ink in page.Resources.ColorSpace.values())


def test_four_colours_on_white_film_have_no_white():
    with pikepdf.open(io.BytesIO(sheet_pdf(small_sheet(), Press(inks="cmyk")))) as pdf:
        assert [str(layer.Name) for layer in pdf.Root.OCProperties.OCGs] == ["Colour", "Cut", "Notes"]


def test_same_sheet_same_bytes():
    assert sheet_pdf(small_sheet(), Press()) == sheet_pdf(small_sheet(), Press())


@needs_gs
def test_a_stroke_prints_as_wide_as_it_says(tmp_path):
    from unwrap.livery.paint import Paint
    from unwrap.sheet.curves import straight_curve

    points, faces = grid(40, 20)
    line = straight_curve(np.array([[5.0, 10.0], [35.0, 10.0]]), closed=False)
    paint = Paint("line", "#ff0000", shapely.box(5, 9, 35, 11), (line,), stroke=2.0)
    piece = piece_of("side", points, faces, [fill(shapely.box(0, 0, 40, 20), "#ffff00"), paint], bleed=0)
    sheet = Sheet(1, 105, 148, (Placement(piece, 0.0, (20.0, 60.0)),))
    magenta = plates_of(sheet_pdf(sheet, Press()), tmp_path)["Magenta"]
    rows, columns = np.nonzero(magenta > 0.5)
    dot = 25.4 / DPI
    assert (rows.max() + 1 - rows.min()) * dot == pytest.approx(2.0, abs=1.5 * dot)
    assert (columns.max() + 1 - columns.min()) * dot == pytest.approx(30.0, abs=1.5 * dot)


def test_pdfium_shows_the_page_that_the_svg_shows():
    pdfium = pytest.importorskip("pypdfium2")
    resvg = pytest.importorskip("resvg_py")
    from unwrap.sheet.svg import sheet_svg

    sheet = small_sheet()
    document = pdfium.PdfDocument(sheet_pdf(sheet, Press()))
    one = document[0].render(scale=100 / 72, grayscale=True).to_numpy().copy()
    document.close()
    png = bytes(resvg.svg_to_bytes(svg_string=sheet_svg(sheet), dpi=100, background="white"))
    two = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    rows, columns = np.minimum(one.shape[:2], two.shape)
    a, b = one.reshape(one.shape[:2])[:rows, :columns] < 200, two[:rows, :columns] < 200
    assert a.sum() > 5000
    assert (a & ~grown(grown(b))).mean() < 1e-3 and (b & ~grown(grown(a))).mean() < 1e-3


@needs_gs
def test_our_own_plates_are_those_that_ghostscript_makes(tmp_path):
    sheet = small_sheet()
    press = Press(white_hits=2, registration=0.15)
    theirs = plates_of(sheet_pdf(sheet, press), tmp_path)
    ours = plate_dots(sheet, press, DPI)
    for name, plate in ours.items():
        other = theirs[name.capitalize()]
        rows, columns = np.minimum(plate.shape, other.shape)
        here, there = plate[:rows, :columns] / 255.0, other[:rows, :columns]
        # Notes are on the first ink only in the PDF; look at the pieces alone.
        ground = np.zeros((rows, columns), bool)
        for place in sheet.placements:
            body = shapely.union_all([paint.area for paint in place.piece.paints])
            ground |= mask_of(body, place.matrix, sheet, True, (rows, columns))
        edges = np.zeros_like(ground)
        for axis in (0, 1):
            edges |= np.abs(np.diff(here, axis=axis, append=0)) > 0.02
        apart = ground & ~grown(grown(edges)) & (np.abs(here - there) > 0.012)
        assert not apart.any(), name
        # A PDF engine paints every dot that an area touches, we those whose middle it holds.
        assert abs(here[ground].mean() - there[ground].mean()) < 0.01, name
