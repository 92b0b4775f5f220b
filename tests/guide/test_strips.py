"""Strips and corner pieces that a line saves, against what a hand counts on the drawing."""

import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parents[1] / "livery"))

from livery_patches import barrel, bent_panel, flat_side, make_carry, slit_cap

from unwrap.guide.strips import count_strips, joined, line_length, stretches
from unwrap.livery.band import lay_band
from unwrap.livery.lining import lay_lining, lay_lining_over
from unwrap.livery.paint import Curve, Paint
from unwrap.sheet.outline import finish_piece


def finished(carry, paints):
    return finish_piece(carry.name, carry.name, carry.patch, carry.flat, paints, bleed=0.3)


def strips_on(carries, laid):
    """Strips of each line over all pieces, as finished for the sheet."""
    parts = {}
    for carry, paints in zip(carries, laid, strict=True):
        piece = finished(carry, paints)
        for paint in piece.paints:
            parts.setdefault(paint.label, []).extend(stretches(paint, piece))
    return [joined(group) for group in parts.values()]


@pytest.mark.parametrize(("radius", "strips"), [(0.0, 4), (5.0, 8), (15.0, 2)])
def test_rounded_corners_count_as_corner_pieces(radius, strips):
    # A 60 x 30 panel: four strips; with rounded corners four strips and four corner
    # pieces; with 15 mm corners the ends are half circles: two strips and two bends.
    panel = (
        shapely.box(radius, radius, 60 - radius, 30 - radius).buffer(radius, quad_segs=48)
        if radius < 15
        else (shapely.LineString([(15, 15), (45, 15)]).buffer(15, quad_segs=48))
    )
    if radius == 0.0:
        panel = shapely.box(0, 0, 60, 30)
    corners = np.asarray(panel.exterior.coords)
    a, b = corners[:-1], corners[1:]
    curve = Curve(np.stack([a, (2 * a + b) / 3, (a + 2 * b) / 3, b], axis=1), True)
    join = "mitre" if radius == 0 else "round"
    area = panel.exterior.buffer(0.2, join_style=join)
    stroked = Paint("line", "#ffffff", area, (curve,), 0.4)
    drawn = Paint("line", "#ffffff", area)
    expected = strips if radius < 15 else 4
    assert count_strips(stroked) == expected
    assert count_strips(drawn) == expected
    assert line_length(stroked)[0] == pytest.approx(panel.exterior.length)
    assert line_length(drawn) == pytest.approx((panel.exterior.length, 0.4), rel=2e-3)


def test_open_strip_with_one_bend():
    path = shapely.LineString([(0, 0), (40, 0), (40, 25)])
    drawn = Paint("line", "#ffffff", path.buffer(0.25, cap_style="flat", join_style="mitre"))
    assert count_strips(drawn) == 2
    assert line_length(drawn) == pytest.approx((65.0, 0.5), rel=1e-2)


@pytest.mark.parametrize(
    ("style", "expected"),
    # Sides, and per corner: nothing, a bent piece, a bent piece, a slanting strip, two short walls.
    [("square", 4), ("rounded", 8), ("incurved", 8), ("canted", 8), ("notched", 12)],
)
def test_each_corner_style_counts_as_it_is_laid(style, expected):
    side = flat_side()
    lines = [(0.3, "#e0c080"), (0.5, None), (0.9, "#c03030")]
    laid, _ = lay_lining(side, lines, inset=1.5, corner=style, radius=0.0 if style == "square" else 3.0)
    assert strips_on([side], [laid]) == [expected, expected]
    # Drawn as areas the count is the same.
    as_areas = [Paint("line", p.colour, p.area, label=p.label) for p in laid]
    assert [count_strips(paint) for paint in as_areas] == [expected, expected]


def test_a_wheel_arch_is_one_bend_however_coarse_its_facets():
    for facets in (6, 12, 30):
        panel = shapely.box(0, 0, 80, 25).difference(shapely.Point(40, -3).buffer(11, quad_segs=facets))
        side = bent_panel(panel, radius=4e4)
        laid, _ = lay_lining(side, [(0.4, "#ffffff")], inset=1.0)
        # Two runs below, three other sides, and the arch.
        assert strips_on([side], [laid]) == [6]


def test_a_band_round_an_opened_barrel_is_one_strip():
    boiler = barrel()
    laid, _ = lay_band(boiler, 20.0, [(0.3, "#ffffff"), (0.3, None), (0.8, "#000000")])
    assert strips_on([boiler], [laid]) == [1, 1]


def test_relief_cuts_make_no_more_strips_of_a_line():
    dome = slit_cap()
    laid, _ = lay_lining(dome, [(0.4, "#ffffff")], inset=1.0)
    assert strips_on([dome], [laid]) == [1]


def test_a_line_over_two_regions_is_counted_once_in_all():
    rear = flat_side(30.0, 25.0, 6, 5, name="rear half")
    front = flat_side(30.0, 25.0, 6, 5, name="front half")
    front = make_carry(
        front.flat.surface + np.array([30.0, 0, 0]), front.flat.points, front.patch.faces, "front half"
    )
    laid, _ = lay_lining_over([rear, front], [(0.4, "#ffffff")], inset=2.0, corner="rounded", radius=3.0)
    assert strips_on([rear], laid[:1]) == [5]
    assert strips_on([rear, front], laid) == [8]
