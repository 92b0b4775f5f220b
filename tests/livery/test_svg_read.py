"""Drawings read as areas, compared with an independent renderer pixel by pixel."""

import base64
import io
import shutil
import subprocess

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from unwrap.errors import BadInput
from unwrap.livery.outlines import area_by_rule, cut_dashes, stroke_area
from unwrap.livery.svg_path import Run, parse_path, parse_transform
from unwrap.livery.svg_read import read_drawing

SIZE = 60.0
PIXELS_PER_MM = 10

DRAWINGS = {
    "curves and holes": '<path d="M5 5C5 -3 25 -3 25 5S20 25 10 20Q2 16 5 5Z '
    'M10 6 a4 3 30 1 0 .1 0z" fill="#000"/>',
    "nonzero": '<path d="M30 5 L42 40 L12 18 L48 18 L18 40Z"/>',
    "evenodd": '<path d="M30 5 L42 40 L12 18 L48 18 L18 40Z" style="fill-rule:evenodd"/>',
    "arcs": '<path d="M10,30 a10,6 0 0150,0 m-40-20 A5 9 45 1 0 30 20" fill="none" '
    'stroke="#000" stroke-width="2"/>',
    "joins": "".join(
        f'<path d="M5 {y} l12 8 l-10 5 l30 -3" fill="none" stroke="#000" stroke-width="3" '
        f'stroke-linejoin="{join}" stroke-linecap="{cap}" stroke-miterlimit="{limit}"/>'
        for y, join, cap, limit in [
            (2, "miter", "butt", 4),
            (17, "round", "round", 4),
            (32, "bevel", "square", 4),
            (46, "miter", "butt", 20),
        ]
    ),
    "dashes": '<circle cx="30" cy="30" r="20" fill="none" stroke="#000" stroke-width="2" '
    'stroke-dasharray="5 2 1" stroke-dashoffset="3"/><line x1="2" y1="2" x2="50" y2="9" stroke="#000"/>',
    "transforms": '<g transform="translate(30 20) rotate(30) scale(1.5 .7) skewX(20)">'
    '<rect x="-8" y="-5" width="16" height="10" rx="3" stroke="#000" stroke-width="2"/></g>',
    "use and symbol": '<defs><g id="leaf"><ellipse cx="5" cy="5" rx="4" ry="2"/></g>'
    '<symbol id="s" viewBox="0 0 10 10"><polygon points="0,10 5,0 10,10"/></symbol></defs>'
    '<use href="#leaf" x="10" y="3" transform="rotate(20)"/>'
    '<use href="#s" x="20" y="20" width="20" height="10"/>',
    "clip": '<clipPath id="c"><circle cx="30" cy="30" r="15"/></clipPath>'
    '<clipPath id="b" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
    '<g clip-path="url(#c)"><rect x="10" y="25" width="40" height="40"/></g>'
    '<rect x="5" y="2" width="20" height="10" clip-path="url(#b)"/>',
    "css": "<style>rect{fill:none} .on, g.x rect.y{fill:#000} #z{display:none} /*no*/ g > p{fill:none}"
    "</style>"
    '<rect width="10" height="10"/><rect class="on" x="12" width="10" height="10"/>'
    '<g class="x"><rect class="y" x="24" width="10" height="10"/></g>'
    '<rect id="z" class="on" y="20" width="9" height="9"/>'
    '<g visibility="hidden"><circle cx="40" cy="40" r="5"/>'
    '<circle cx="20" cy="40" r="5" visibility="visible"/></g>',
}


def wrapped(inside):
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIZE}mm" height="{SIZE}mm" '
        f'viewBox="0 0 {SIZE} {SIZE}"><g id="livery">{inside}</g></svg>'
    )


def picture(svg):
    """(h, w, 4) levels 0..255 by an independent renderer."""
    pixels = int(SIZE * PIXELS_PER_MM)
    data = resvg_py.svg_to_bytes(svg_string=svg.replace(f"{SIZE}mm", str(pixels)))
    return np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGBA"), dtype=int)


def rendered(svg):
    """(h, w) coverage 0..1."""
    return picture(svg)[..., 3] / 255.0


def covered(area):
    """The same picture of an area: which pixel middles it holds."""
    n = int(SIZE * PIXELS_PER_MM)
    x, y = np.meshgrid((np.arange(n) + 0.5) / PIXELS_PER_MM, -(np.arange(n) + 0.5) / PIXELS_PER_MM)
    shapely.prepare(area)
    return shapely.contains_xy(area, x, y)


@pytest.mark.parametrize("name", DRAWINGS)
def test_areas_match_an_independent_renderer(tmp_path, name):
    path = tmp_path / "a.svg"
    path.write_text(wrapped(DRAWINGS[name]))
    drawing = read_drawing(path)
    agrees(path.read_text(), shapely.union_all([shape.area for shape in drawing.shapes]))


def agrees(drawn, area):
    """An area is where the renderer has ink."""
    ours, theirs = covered(area), rendered(drawn)
    # Where the renderer is sure, so are we: a pixel is 0.1 mm.
    assert ours[theirs > 0.9].all()
    assert not ours[theirs < 0.1].any()
    assert 50 < ours.sum() < 0.6 * ours.size


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_areas_match_a_browser(tmp_path):
    side, row = int(SIZE * PIXELS_PER_MM), 4
    # Each drawing is a picture of its own: rules of a style element and ids stay in it.
    shown = "".join(
        f'<img style="position:absolute;left:{side * (k % row)}px;top:{side * (k // row)}px" '
        f'src="data:image/svg+xml;base64,{base64.b64encode(drawn.encode()).decode()}">'
        for k, inside in enumerate(DRAWINGS.values())
        if (drawn := wrapped(inside).replace(f"{SIZE}mm", f"{side}px"))
    )
    page, shot = tmp_path / "page.html", tmp_path / "shot.png"
    page.write_text(f"<!doctype html><body style='margin:0'>{shown}</body>", encoding="utf-8")
    rows = -(-len(DRAWINGS) // row)
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
         f"--user-data-dir={tmp_path}/profile", f"--window-size={side * row},{side * rows}",
         f"--screenshot={shot}", page.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    with Image.open(shot) as whole:
        ink = 1.0 - np.asarray(whole.convert("L")) / 255.0
    for k, (name, inside) in enumerate(DRAWINGS.items()):
        theirs = ink[side * (k // row) :, side * (k % row) :][:side, :side]
        path = tmp_path / "a.svg"
        path.write_text(wrapped(inside))
        ours = covered(shapely.union_all([shape.area for shape in read_drawing(path).shapes]))
        sure = (theirs < 0.02) | (theirs > 0.98)
        assert sure.mean() > 0.9, name
        off = int((ours[sure] != (theirs[sure] > 0.5)).sum())
        # A browser measures dashes along chords of its own: a handful of the 360,000 pixels.
        assert off < 20, (name, off)


def test_see_through_paint_and_what_is_no_gradient_are_named(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(
        wrapped(
            '<pattern id="p"/><rect id="r" width="9" height="9" fill="url(#p) #ff0000"/>'
            '<rect id="o" width="9" height="9" opacity="0.5"/>'
            '<linearGradient id="g"><stop/><stop offset="1" stop-opacity="0"/></linearGradient>'
            '<rect id="f" width="9" height="9" fill="url(#g)"/>'
        )
    )
    drawing = read_drawing(path)
    assert drawing.shapes[0].colour == "#ff0000"
    assert len(drawing.remarks) == 3
    for name, said in zip(("r", "o", "f"), drawing.remarks, strict=True):
        assert f'id="{name}"' in said


SHADES = {
    "over the box": '<linearGradient id="g" x1="20%" y1="0" x2="1" y2="1"><stop stop-color="#003060"/>'
    '<stop offset="40%" stop-color="#f0e0c0"/><stop offset="1" stop-color="#a02010"/></linearGradient>'
    '<rect x="5" y="8" width="50" height="30" fill="url(#g)"/>',
    "in user units, turned, taken over": '<linearGradient id="a"><stop offset="0.2" stop-color="#ffffff"/>'
    '<stop offset="0.9" stop-color="#204080"/></linearGradient><linearGradient id="g" href="#a" '
    'gradientUnits="userSpaceOnUse" x1="10" y1="0" x2="40" y2="10" gradientTransform="rotate(20)"/>'
    '<g transform="translate(3 5) scale(1.2 .8)"><circle cx="22" cy="24" r="18" fill="url(#g)"/></g>',
    "round": '<radialGradient id="g" cx="40%" cy="60%" r="70%"><stop stop-color="#ffe080"/>'
    '<stop offset="1" stop-color="#602000"/></radialGradient>'
    '<path d="M5 5H55V40L30 55Z" fill="url(#g)"/>',
    "round about a focus": '<radialGradient id="g" fx="30%" fy="25%" r="45%"><stop stop-color="#ffffff"/>'
    '<stop offset="1" stop-color="#102060"/></radialGradient>'
    '<rect x="4" y="4" width="50" height="40" fill="url(#g)"/>',
    "to and fro": '<linearGradient id="g" x2="21%" spreadMethod="reflect"><stop stop-color="#206020"/>'
    '<stop offset="1" stop-color="#f0f0c0"/></linearGradient><rect x="4" y="4" width="50" height="40" '
    'fill="url(#g)"/>',
    "again and again": '<radialGradient id="g" r="13%" fx="46%" spreadMethod="repeat"><stop '
    'stop-color="#600020"/><stop offset="1" stop-color="#f0c0c0"/></radialGradient>'
    '<rect x="4" y="4" width="50" height="40" fill="url(#g)"/>',
}


@pytest.mark.parametrize("name", SHADES)
def test_gradients_have_the_colours_of_an_independent_renderer(tmp_path, name):
    drawn = wrapped(SHADES[name])
    path = tmp_path / "a.svg"
    path.write_text(drawn)
    drawing = read_drawing(path)
    (shape,) = drawing.shapes
    assert drawing.remarks == ()
    colours_agree(drawn, shape)


def colours_agree(drawn, shape, most=0.004):
    """A shade is what the renderer has in the middle of its dots, save for its steps of a table."""
    theirs = picture(drawn)
    row, column = np.nonzero((theirs[..., 3] == 255) & covered(shape.area))
    assert len(row) > 20_000
    places = np.column_stack([column + 0.5, -row - 0.5]) / PIXELS_PER_MM
    off = np.abs(shape.shade.at(places).astype(int) - theirs[row, column, :3]).max(axis=1)
    # At a sharp end of a repeat a dot may fall on either side.
    assert (off > 2).mean() < most, (off.max(), (off > 2).mean())
    assert off.mean() < 1.0


def smooth_picture(cover=False):
    """A picture without sharp edges, 48 x 32 dots, as PNG; its right half bare where asked."""
    x, y = np.meshgrid(np.linspace(0, 1, 48), np.linspace(0, 1, 32))
    dots = np.stack([255 * x, 255 * y, 127 + 127 * np.sin(6 * x * y), np.full_like(x, 255)], axis=-1)
    if cover:
        dots[:, 24:, 3] = 0
    out = io.BytesIO()
    Image.fromarray(np.round(dots).astype(np.uint8)).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode()


@pytest.mark.parametrize(
    "how",
    [
        'width="40" height="50"',
        'width="40" height="50" preserveAspectRatio="none"',
        'width="40" height="50" preserveAspectRatio="xMaxYMid slice" transform="rotate(8)"',
        'width="45" preserveAspectRatio="xMinYMax meet"',
    ],
)
def test_embedded_pictures_lie_where_an_independent_renderer_has_them(tmp_path, how):
    drawn = wrapped(f'<image x="9" y="4" {how} href="data:image/png;base64,{smooth_picture()}"/>')
    path = tmp_path / "a.svg"
    path.write_text(drawn)
    (shape,) = read_drawing(path).shapes
    agrees(drawn, shape.area)
    # Renderers soften between dots in ways of their own: a dot is up to 1.6 mm here, 13 levels wide.
    theirs = picture(drawn)
    row, column = np.nonzero((theirs[..., 3] == 255) & covered(shape.area.buffer(-1.0)))
    places = np.column_stack([column + 0.5, -row - 0.5]) / PIXELS_PER_MM
    off = np.abs(shape.shade.at(places).astype(int) - theirs[row, column, :3])
    assert off.max() <= 8 and off.mean() < 1.5, (off.max(), off.mean())


def test_what_is_bare_in_a_picture_is_no_ground(tmp_path):
    path = tmp_path / "a.svg"
    data = smooth_picture(cover=True)
    path.write_text(wrapped(f'<image width="48" height="32" href="data:image/png;base64,{data}"/>'))
    (shape,) = read_drawing(path).shapes
    assert shape.area.symmetric_difference(shapely.box(0, -32, 24, 0)).area < 1e-6


@pytest.mark.parametrize("data", ["data:image/png;base64,AAAA", "data:image/png,x", "#nothing"])
def test_a_picture_that_cannot_be_read_is_refused_by_name(tmp_path, data):
    path = tmp_path / "a.svg"
    path.write_text(wrapped(f'<image id="crest" width="9" height="9" href="{data}"/>'))
    with pytest.raises(BadInput, match=r'<image id="crest"> has (no|a) picture'):
        read_drawing(path)


def test_text_is_set_in_its_font(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(
        wrapped('<text x="30" y="20" font-size="10" text-anchor="middle" fill="#123456">HH</text>')
    )
    (shape,) = read_drawing(path).shapes
    left, low, right, high = shape.area.bounds
    # DejaVu Sans capitals are 1493 of 2048 units high (the font's own table).
    assert high - low == pytest.approx(10 * 1493 / 2048, abs=0.02)
    assert low == pytest.approx(-20.0, abs=0.01)
    assert 0.5 * (left + right) == pytest.approx(30.0, abs=0.6)


@pytest.mark.parametrize(
    "text",
    [
        '<text x="4" y="20" font-size="9">HA <tspan font-weight="bold">N</tspan>o</text>',
        '<text x="30" y="20" font-size="8" text-anchor="middle">N<tspan dy="9">H</tspan></text>',
        '<text x="6" y="20" font-size="8">N<tspan dy="9" dx="2">H</tspan></text>',
        '<text x="4" y="20" font-size="9" letter-spacing="2">H  <tspan>I</tspan>\n H</text>',
        '<text x="4" y="20" font-size="9">H<tspan x="4" y="35">HE</tspan>'
        '<tspan x="56" text-anchor="end">H</tspan></text>',
        '<text x="4 20 33" y="20 22 24" font-size="9">HEN</text>',
    ],
)
def test_text_flows_as_in_an_independent_renderer(tmp_path, text):
    path = tmp_path / "a.svg"
    path.write_text(wrapped(f'<g font-family="DejaVu Sans">{text}</g>'))
    area = shapely.union_all([shape.area for shape in read_drawing(path).shapes])
    theirs = rendered(path.read_text())
    if not (theirs > 0.9).any():
        pytest.skip("the renderer has no DejaVu Sans")
    ours = covered(area)
    # Hinting aside: no letter is off by as much as a stem's half, and the ink is the same.
    assert (ours & (theirs > 0.5)).sum() > 0.93 * max(ours.sum(), (theirs > 0.5).sum())


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('<text><textPath href="#p">Wren</textPath></text>', "runs along a path; turn it to outlines"),
        ('<text font-style="italic">Wren</text>', "letters are italic; turn the text to outlines"),
        ('<text font-family="No Such Face">Wren</text>', "a.svg.*<text>.*is not installed"),
    ],
)
def test_text_that_cannot_be_set_is_refused(tmp_path, text, sentence):
    path = tmp_path / "a.svg"
    path.write_text(wrapped(text))
    with pytest.raises(BadInput, match=sentence):
        read_drawing(path)


def test_fill_rules_on_a_doubled_ring():
    ring = np.array([[0, 0], [4, 0], [4, 4], [0, 4]], dtype=float)
    inner = ring * 0.5 + 1.0
    assert area_by_rule([ring, inner], "nonzero").area == pytest.approx(16.0)
    assert area_by_rule([ring, inner], "evenodd").area == pytest.approx(12.0)
    assert area_by_rule([ring, inner[::-1]], "nonzero").area == pytest.approx(12.0)


def test_dashes_begin_in_the_middle_of_the_pattern():
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    pieces = cut_dashes(line, [3.0, 1.0], 2.0)
    assert [(p[0, 0], p[-1, 0]) for p in pieces] == [(0.0, 1.0), (2.0, 5.0), (6.0, 9.0)]


def test_stroke_areas_by_hand():
    run = [Run(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]]), False, 3)]
    assert stroke_area(run, 2.0).area == pytest.approx(40.0)
    assert stroke_area(run, 2.0, join="bevel").area == pytest.approx(39.5)
    assert stroke_area(run, 2.0, cap="square").area == pytest.approx(44.0)


def test_path_nodes_and_transforms():
    (run,) = parse_path("M0 0h5v5H0z", 0.01)
    assert run.closed and run.nodes == 4
    assert np.allclose(parse_transform("translate(3) rotate(90 1 1)") @ [2, 1, 1], [4, 2, 1])
