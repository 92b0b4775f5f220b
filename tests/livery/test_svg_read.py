"""Drawings read as areas, compared with an independent renderer pixel by pixel."""

import io
import shutil
import subprocess

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

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
    area = shapely.union_all([shape.area for shape in drawing.shapes])
    ours, theirs = covered(area), rendered(path.read_text())
    # Where the renderer is sure, so are we: a pixel is 0.1 mm.
    assert ours[theirs > 0.9].all()
    assert not ours[theirs < 0.1].any()
    assert 50 < ours.sum() < ours.size / 2


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_areas_match_a_browser(tmp_path):
    side, row = int(SIZE * PIXELS_PER_MM), 4
    shown = "".join(
        f'<div style="position:absolute;left:{side * (k % row)}px;top:{side * (k // row)}px">'
        + wrapped(inside.replace("#c)", f"#c{k})").replace('id="c"', f'id="c{k}"')).replace(
            f"{SIZE}mm", f"{side}px"
        )
        + "</div>"
        # Rules of a style element would reach the other drawings of the page.
        for k, inside in enumerate(DRAWINGS.values())
        if "<style" not in inside
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
        if "<style" in inside:
            continue
        theirs = ink[side * (k // row) :, side * (k % row) :][:side, :side]
        path = tmp_path / "a.svg"
        path.write_text(wrapped(inside))
        ours = covered(shapely.union_all([shape.area for shape in read_drawing(path).shapes]))
        sure = (theirs < 0.02) | (theirs > 0.98)
        assert sure.mean() > 0.9, name
        off = int((ours[sure] != (theirs[sure] > 0.5)).sum())
        # A browser measures dashes along chords of its own: a handful of the 360,000 pixels.
        assert off < 20, (name, off)


def test_pictures_and_see_through_paint_are_named(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(
        wrapped(
            '<linearGradient id="g"><stop stop-color="#000000"/><stop offset="1" stop-color="#ff0000"/>'
            '</linearGradient><rect id="r" width="9" height="9" fill="url(#g)"/>'
            '<image id="i" href="data:image/png;base64,AAAA"/>'
            '<rect id="o" width="9" height="9" opacity="0.5"/>'
        )
    )
    drawing = read_drawing(path)
    assert [drawing.shapes[0].colour, drawing.shapes[42].colour] == ["#030000", "#fc0000"]
    assert len(drawing.remarks) == 2
    for name, said in zip(("i", "o"), drawing.remarks, strict=True):
        assert f'id="{name}"' in said


GRADIENTS = {
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
}


@pytest.mark.parametrize("name", GRADIENTS)
def test_gradients_come_out_in_steps_too_small_to_see(tmp_path, name):
    # A step is at most 6 levels wide, so its flat colour is at most 3 off; the renderer rounds
    # once more each time, and its gradient is a table of its own.
    drawn = wrapped(GRADIENTS[name])
    path = tmp_path / "a.svg"
    path.write_text(drawn)
    drawing = read_drawing(path)
    assert drawing.remarks == ()
    steps = "".join(
        f'<path fill="{shape.colour}" fill-rule="evenodd" d="'
        + "".join(
            "M" + "L".join(f"{x:.4f} {-y:.4f}" for x, y in ring.coords) + "Z"
            for polygon in shapely.get_parts(shape.area)
            for ring in (polygon.exterior, *polygon.interiors)
        )
        + '"/>'
        for shape in drawing.shapes
    )
    one, two = picture(drawn), picture(wrapped(steps))
    inside = (one[..., 3] == 255) & (two[..., 3] == 255)
    assert inside.sum() > 20_000
    off = np.abs(one - two)[inside][:, :3]
    assert off.max() <= 6 and off.mean() < 2.5, (off.max(), off.mean())


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
