import re
import shutil
import subprocess
import tomllib

import numpy as np
import pikepdf
import pytest
from PIL import Image

from unwrap.coupon import make_coupon
from unwrap.coupon.film_page import DISCS, film_page
from unwrap.coupon.lab import colour_of, lab_of
from unwrap.coupon.patches import STEP_AB, STEP_L, patches_round
from unwrap.coupon.printer_page import VERNIER_STEP, note_ink, printer_page
from unwrap.errors import BadInput
from unwrap.sheet.inks import Press


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("coupon")
    make_coupon(out, press=Press(face_down=False))
    return out


def boxes(svg, layer, colour=None):
    """Bounding boxes (x0, y0, x1, y1) of the straight-sided paths of a layer."""
    group = re.search(rf'<g id="{layer}">(.*?)</g>', svg, re.S).group(1)
    found = []
    for path in re.findall(r"<path [^>]*>", group):
        if colour and colour not in path:
            continue
        data = re.search(r'd="([^"]*)"', path).group(1)
        if "C" in data:
            continue
        points = np.array([[float(v) for v in p.split(",")] for p in re.findall(r"[-\d.]+,[-\d.]+", data)])
        found.append([*points.min(axis=0), *points.max(axis=0)])
    return np.array(found)


def test_everything_is_written(folder):
    names = {path.name for path in folder.iterdir()}
    assert names == {
        "coupon-1.svg",
        "coupon-1-white.svg",
        "coupon-2.svg",
        "coupon-2-white.svg",
        "coupon.pdf",
        "readings.toml",
    }


def test_rulers_are_as_long_as_the_form_says(folder):
    form = tomllib.loads((folder / "readings.toml").read_text())
    svg = (folder / "coupon-1.svg").read_text()
    assert 'width="210mm" height="297mm" viewBox="0 0 210 297"' in svg
    ticks = boxes(svg, "colour", "#0a5f86")
    wide, tall = ticks[:, 2] - ticks[:, 0], ticks[:, 3] - ticks[:, 1]
    upright = ticks[(np.abs(wide - 0.12) < 1e-6) & (tall > 2)]
    level = ticks[(np.abs(tall - 0.12) < 1e-6) & (wide > 2)]
    assert upright[:, 0].max() - upright[:, 0].min() == pytest.approx(form["rulers"]["printed_across"])
    assert level[:, 1].max() - level[:, 1].min() == pytest.approx(form["rulers"]["printed_along"])


def test_mirrored_page_is_the_plain_one_in_a_mirror(folder, tmp_path):
    make_coupon(tmp_path, press=Press(face_down=True))
    plain = boxes((folder / "coupon-1.svg").read_text(), "colour")
    mirrored = boxes((tmp_path / "coupon-1.svg").read_text(), "colour")
    turned = np.column_stack([210 - mirrored[:, 2], mirrored[:, 1], 210 - mirrored[:, 0], mirrored[:, 3]])
    assert np.abs(turned - plain).max() < 2e-4


def test_combs_differ_by_a_step_a_tooth(folder):
    white = boxes((folder / "coupon-1-white.svg").read_text(), "white")
    colour = boxes((folder / "coupon-1.svg").read_text(), "colour", "#ff00ff")

    def teeth(found):
        upright = found[(np.abs(found[:, 2] - found[:, 0] - 0.4) < 1e-6) & (found[:, 3] - found[:, 1] > 3)]
        return np.sort(0.5 * (upright[:, 0] + upright[:, 2]))

    white, colour = teeth(white), teeth(colour)
    assert len(white) == len(colour) == 21
    assert colour - white == pytest.approx(VERNIER_STEP * np.arange(-10, 11), abs=2e-4)


def test_discs_have_their_diameters(folder):
    svg = (folder / "coupon-2.svg").read_text()
    discs = boxes(svg, "cut")
    round_ones = discs[np.abs((discs[:, 2] - discs[:, 0]) - (discs[:, 3] - discs[:, 1])) < 1e-3]
    diameters = np.sort(np.round(round_ones[:, 2] - round_ones[:, 0], 2))
    assert diameters.tolist() == sorted(3 * [float(d) for d in DISCS])
    centres = 0.5 * (round_ones[:, :2] + round_ones[:, 2:])
    radii = 0.5 * (round_ones[:, 2] - round_ones[:, 0])
    apart = np.linalg.norm(centres[:, None] - centres[None], axis=2) - radii[:, None] - radii[None]
    np.fill_diagonal(apart, 9.0)
    assert apart.min() > 1.0
    assert round_ones.min() > 7.9 and round_ones[:, [0, 2]].max() < 202.1 and round_ones.max() < 289.1


def test_pdf_pages_and_separations(folder):
    with pikepdf.open(folder / "coupon.pdf") as pdf:
        assert len(pdf.pages) == 2
        for page in pdf.pages:
            box = [float(v) * 25.4 / 72 for v in page.mediabox]
            assert box == pytest.approx([0, 0, 210, 297], abs=1e-3)
        text = b"".join(obj.read_bytes() for obj in pdf.objects if isinstance(obj, pikepdf.Stream))
        spaces = [str(s[1]) for p in pdf.pages for s in p.Resources.ColorSpace.values()]
        assert {"/White", "/Cut"} <= set(spaces)
        assert b" Tj" not in text  # words are outlines: nothing to substitute


@pytest.mark.skipif(shutil.which("gs") is None, reason="Ghostscript is not installed")
def test_white_plate_is_what_the_svg_plate_is(folder, tmp_path):
    """White under colour is not knocked out: Ghostscript's plate has all of the SVG's."""
    out = tmp_path / "out.tif"
    options = ["-q", "-dSAFER", "-dNOPAUSE", "-dBATCH", "-sDEVICE=tiffsep", "-r200", "-dLastPage=1"]
    subprocess.run(
        ["gs", *options, f"-sOutputFile={out}", str(folder / "coupon.pdf")], check=True, capture_output=True
    )
    with Image.open(next(tmp_path.glob("out*White*"))) as opened:
        ink = 1.0 - np.asarray(opened) / 255.0
    per_mm = 200 / 25.4
    middle_x = (np.arange(ink.shape[1]) + 0.5) / per_mm
    middle_y = (np.arange(ink.shape[0]) + 0.5) / per_mm
    least, most = np.zeros_like(ink), np.zeros_like(ink)
    svg = (folder / "coupon-1-white.svg").read_text()
    tints = [float(t) for t in re.findall(r'fill-opacity="([^"]*)"', svg)]
    found = boxes(svg, "white")
    assert len(found) == len(tints) > 150
    for (x0, y0, x1, y1), tint in zip(found, tints, strict=True):
        for plate, grow in ((least, -1 / per_mm), (most, 1 / per_mm)):
            rows = (middle_y > y0 - grow) & (middle_y < y1 + grow)
            columns = (middle_x > x0 - grow) & (middle_x < x1 + grow)
            plate[np.ix_(rows, columns)] = tint
    assert (ink >= least - 0.01).all()
    assert (ink <= most + 0.01).all()
    assert least.sum() > 0.3 * ink.sum()


@pytest.mark.parametrize("size", [(210.0, 297.0), (215.9, 279.4), (297.0, 420.0)])
@pytest.mark.parametrize("inks", ["cmyw", "cmykw", "cmyk", "kw"])
def test_nothing_runs_into_the_margin(tmp_path, size, inks):
    press = Press(inks=inks, face_down=False)
    for page in (printer_page(*size, 8.0, press, "#1f4d3a"), film_page(*size, 8.0, press, "#1f4d3a")):
        points = np.concatenate([ring for _, rings in page.shapes for ring in rings])
        assert points.min() >= 7.5
        assert (points.max(axis=0) <= np.array(size) - 7.9).all()
        kinds = {ink.kind for ink, _ in page.shapes}
        assert ("white" in kinds) == press.has_white
        if page.name == "coupon-1":
            words = [rings for ink, rings in page.shapes if ink == note_ink(press)]
            lowest = min(ring[:, 1].min() for rings in words for ring in rings if ring[:, 0].min() > 40)
            assert lowest < 14.0  # the ruler
    for tint in {t for ink, _ in page.shapes for t in ink.tints}:
        assert 0.0 <= tint <= 1.0


def test_patches_step_evenly_round_the_target():
    target = "#4a6d8c"
    middle = lab_of(target)
    found = patches_round(target)
    assert [p.number for p in found] == list(range(1, 76))
    assert found[37].colour == target
    for patch in found:
        asked = middle + np.array([patch.block - 1, patch.column - 2, patch.row - 2]) * (
            STEP_L,
            STEP_AB,
            STEP_AB,
        )
        # Eight bits a channel leave about half a unit.
        if patch.reachable:
            assert np.abs(lab_of(patch.colour) - asked).max() < 1.2


@pytest.mark.parametrize("colour", ["#000000", "#ffffff", "#1f4d3a", "#c8442c", "#0000ff"])
def test_lab_round_trip(colour):
    assert colour_of(lab_of(colour)) == (colour, True)


def test_refusals(tmp_path):
    with pytest.raises(BadInput, match="too small"):
        make_coupon(tmp_path, size=(148.0, 210.0))
    with pytest.raises(BadInput, match="#rrggbb"):
        make_coupon(tmp_path, target="green")
    assert list(tmp_path.iterdir()) == []
