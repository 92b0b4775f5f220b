"""Artwork that holds a picture is drawn as that picture in the guide and on the page."""

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from unwrap.guide.pens import PdfPen
from unwrap.guide.piece_drawing import draw_piece, drawing_size, piece_drawing
from unwrap.livery.paint import Paint, Picture
from unwrap.page.shown import dots_of
from unwrap.sheet.pictures import coarser

resvg = pytest.importorskip("resvg_py")


@pytest.fixture
def pictured(pieces):
    """The barrel with a picture of 20 x 10 mm on it: red on the left, blue on the right, white on top."""
    dots = np.zeros((240, 480, 3), dtype=np.uint8)
    dots[:, :240], dots[:, 240:] = (200, 0, 0), (0, 0, 200)
    dots[:60] = 255
    barrel = pieces[0]
    x, y = np.array(barrel.outline.centroid.coords[0])
    picture = Picture(dots, np.array([[1 / 24, 0, x - 10], [0, -1 / 24, y + 5]]))
    paint = Paint("artwork", "#808080", shapely.box(x - 10, y - 5, x + 10, y + 5), picture=picture)
    return replace(barrel, paints=(paint,), front=np.zeros(2), up=np.zeros(2)), np.array([x, y])


def colours_at(image, piece, middle):
    """The drawing's colours left, right and above the middle of the picture."""
    wide, tall, scale = drawing_size(piece)
    low = np.array(piece.outline.bounds[:2])
    at = (middle - low) * scale + 9.0
    per = np.array(image.size) / [wide, tall]
    places = [(-5, -1), (5, -1), (0, 4)]
    out = []
    for dx, dy in places:
        x, y = at + np.array([dx, dy]) * scale
        out.append(image.getpixel((int(x * per[0]), int((tall - y) * per[1])))[:3])
    return out


def near(one, two):
    return np.abs(np.array(one, int) - np.array(two)).max() < 12


def test_the_guides_drawing_shows_the_picture(pictured):
    piece, middle = pictured
    png = resvg.svg_to_bytes(svg_string=piece_drawing(piece), dpi=200, background="white")
    left, right, top = colours_at(Image.open(io.BytesIO(bytes(png))), piece, middle)
    assert near(left, (200, 0, 0)) and near(right, (0, 0, 200)) and near(top, (255, 255, 255))


def test_the_guide_to_print_shows_it_the_same_way_up(pictured, tmp_path):
    pdfium = pytest.importorskip("pypdfium2")
    piece, middle = pictured
    wide, tall, _ = drawing_size(piece)
    path = tmp_path / "a.pdf"
    canvas = Canvas(str(path), pagesize=(wide, tall))
    draw_piece(piece, PdfPen(canvas, 1.0, "Helvetica"))
    canvas.save()
    image = pdfium.PdfDocument(str(path))[0].render(scale=6).to_pil().convert("RGB")
    left, right, top = colours_at(image, piece, middle)
    assert near(left, (200, 0, 0)) and near(right, (0, 0, 200)) and near(top, (255, 255, 255))


def test_the_page_is_told_the_dots_and_where_they_lie(pictured):
    paint = pictured[0].paints[0]
    told = dots_of(paint)
    dots = np.frombuffer(base64.b64decode(told["dots"]), dtype=np.uint8).reshape(-1, told["across"], 3)
    assert told["across"] == 240 and len(dots) == 120
    a, b, c, d, e, f = told["placed"]
    corner = np.array([[a, c], [b, d]]) @ [240, 120] + [e, f]
    assert corner == pytest.approx(np.array(paint.area.bounds)[[2, 1]])
    assert dots[100, 10].tolist() == [200, 0, 0] and dots[100, 200].tolist() == [0, 0, 200]
    assert dots_of(replace(paint, picture=None)) == {}


def test_a_picture_made_coarser_stays_where_it_is(pictured):
    picture = pictured[0].paints[0].picture
    small = coarser(picture, 5.0)
    assert small.dots.shape == (50, 100, 3)
    for share in ((0.0, 0.0), (1.0, 1.0), (0.3, 0.7)):
        ends = [
            p.matrix @ [share[0] * p.dots.shape[1], share[1] * p.dots.shape[0], 1.0] for p in (picture, small)
        ]
        assert ends[0] == pytest.approx(ends[1])
    assert coarser(picture, 50.0) is picture
