"""Bleed at edges, in notches and at the ends of strokes."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_pieces import fill

from unwrap.livery.paint import Paint
from unwrap.sheet.bleed import BleedGround, carry_over
from unwrap.sheet.curves import straight_curve


def notched(gape, depth=12.0):
    """A 40 x 20 mm plate with a V notch from below at x = 20."""
    return shapely.Polygon(
        [(0, 0), (20 - gape / 2, 0), (20, depth), (20 + gape / 2, 0), (40, 0), (40, 20), (0, 20)]
    )


@pytest.mark.parametrize("gape", [0.3, 0.6, 0.9])
def test_in_a_notch_no_paint_goes_beyond_the_middle(gape):
    outline = notched(gape)
    left = fill(outline.intersection(shapely.box(0, 0, 20, 20)), "#aa0000")
    right = fill(outline.intersection(shapely.box(20, 0, 40, 20)), "#0000aa")
    ground = BleedGround(outline, 0.5)
    one, two = (carry_over(paint, ground).area for paint in (left, right))
    inside = shapely.box(10, -0.2, 30, 11.9)
    assert one.intersection(inside).bounds[2] <= 20 + 0.08
    assert two.intersection(inside).bounds[0] >= 20 - 0.08
    # Between them they fill the notch.
    notch = shapely.Polygon([(20 - gape / 2, 0), (20, 12), (20 + gape / 2, 0)])
    assert notch.difference(shapely.union(one, two)).area < 0.03 * notch.area
    # Near the tip both lips lie within the reach of one place.
    assert shapely.intersection(one, two).intersection(inside).area < 0.1


def test_a_wide_notch_keeps_its_middle_bare():
    outline = notched(6.0)
    paint = carry_over(fill(outline, "#aa0000"), BleedGround(outline, 0.5))
    assert not paint.area.contains(shapely.Point(20, 1))
    assert paint.area.contains(shapely.Point(20 - 3.0 + 0.4, 0.2))


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 1.5), st.floats(0.05, 8.0))
def test_bleed_stays_within_its_reach_and_covers_the_rim(bleed, gape):
    outline = notched(gape)
    area = carry_over(fill(outline, "#aa0000"), BleedGround(outline, bleed)).area
    assert outline.difference(area).area < 1e-6
    # Mitred corners reach up to twice the bleed.
    assert area.difference(outline.buffer(2.0 * bleed + 0.03)).is_empty
    rim = outline.buffer(0.9 * bleed, join_style="round").difference(outline)
    assert rim.difference(area).area < 0.02 * rim.area + 1e-3


def test_openings_get_bleed_too():
    outline = shapely.box(0, 0, 40, 20).difference(shapely.box(10, 5, 20, 15))
    area = carry_over(fill(outline, "#aa0000"), BleedGround(outline, 0.5)).area
    assert area.area == pytest.approx(41 * 21 - 9 * 9)


def test_a_stroke_that_ends_on_the_edge_stays_a_stroke():
    outline = shapely.box(0, 0, 40, 20)
    line = straight_curve(np.array([[12.0, 0.0], [12.0, 20.0]]), closed=False)
    paint = Paint("band", "#e8d9a0", shapely.box(11.8, 0, 12.2, 20), (line,), stroke=0.4, asked_width=0.4)
    longer = carry_over(paint, BleedGround(outline, 0.5))
    assert longer.stroke == 0.4
    (curve,) = longer.curves
    assert curve.spans[0, 0] == pytest.approx([12, -0.5])
    assert curve.spans[-1, 3] == pytest.approx([12, 20.5])
    assert longer.area.bounds == pytest.approx((11.8, -0.5, 12.2, 20.5), abs=0.05)


def test_a_stroke_along_the_edge_becomes_an_area():
    outline = shapely.box(0, 0, 40, 20)
    ring = straight_curve(np.array([[0.2, 0.2], [39.8, 0.2], [39.8, 19.8], [0.2, 19.8]]), closed=True)
    area = outline.difference(shapely.box(0.4, 0.4, 39.6, 19.6))
    carried = carry_over(Paint("line", "#e8d9a0", area, (ring,), stroke=0.4), BleedGround(outline, 0.5))
    assert carried.stroke is None
    assert carried.area.area == pytest.approx(41 * 21 - 39.2 * 19.2)


def test_paint_clear_of_the_edge_is_left_alone():
    outline = shapely.box(0, 0, 40, 20)
    paint = fill(shapely.box(5, 5, 10, 10), "#aa0000")
    assert carry_over(paint, BleedGround(outline, 0.5)) is paint


SIDES = ((-20, -1, 0, 30), (0, -1, 20, 30))


@pytest.mark.parametrize("turned", [0.0, 17.0, 30.0, 45.0])
@pytest.mark.parametrize("bleed", [0.5, 1.0, 2.0])
def test_a_straight_slot_is_shared_out_whole(turned: float, bleed: float) -> None:
    # Lips at even steps are where rounding crosses the sides of what each is nearest to.
    slot = shapely.box(-0.4, -0.1, 0.4, 8.0)
    outline = shapely.affinity.rotate(shapely.box(-15, 0, 15, 20).difference(slot), turned, origin=(0, 0))
    ground = BleedGround(outline, bleed)
    assert shapely.is_valid(np.array(ground.cells)).all()
    halves = [shapely.affinity.rotate(shapely.box(*box), turned, origin=(0, 0)) for box in SIDES]
    own = [ground.shared.difference(ground.others(outline.intersection(half))) for half in halves]
    assert shapely.union_all(own).area == pytest.approx(ground.shared.area, rel=1e-6)
    inside = shapely.affinity.rotate(shapely.box(-0.4, 0.0, 0.4, 7.0), turned, origin=(0, 0))
    for area in own:
        assert area.intersection(inside).area == pytest.approx(0.4 * 7.0, rel=0.02)
