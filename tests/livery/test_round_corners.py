"""Corners of lining on panels whose own edge is round-cornered, against their construction."""

import numpy as np
import pytest
import shapely
from livery_patches import bent_panel, cap

from unwrap.livery.lining import lay_lining

WIDE, HIGH, ROUND, INSET = 36.0, 24.0, 2.0, 0.8
# The panel inside the inset, with its sides going on to where they meet.
SHARP_PANEL = shapely.box(INSET, INSET, WIDE - INSET, HIGH - INSET)
CORNERS = [(x, y) for x in (INSET, WIDE - INSET) for y in (INSET, HIGH - INSET)]


def door():
    """A door with corners of 2 mm radius, all but flat."""
    return bent_panel(shapely.box(ROUND, ROUND, WIDE - ROUND, HIGH - ROUND).buffer(ROUND, quad_segs=12), 4e4)


def cut_off(style, size):
    out = SHARP_PANEL
    for x, y in CORNERS:
        toward = np.sign([0.5 * WIDE - x, 0.5 * HIGH - y])
        if style == "canted":
            gone = shapely.Polygon([(x, y), (x + size * toward[0], y), (x, y + size * toward[1])])
        elif style == "incurved":
            gone = shapely.Point(x, y).buffer(size, quad_segs=64)
        else:
            gone = shapely.box(
                *sorted([x, x + size * toward[0]])[:1],
                *sorted([y, y + size * toward[1]])[:1],
                max(x, x + size * toward[0]),
                max(y, y + size * toward[1]),
            )
        out = out.difference(gone)
    return out


@pytest.mark.parametrize("style", ["canted", "incurved", "notched"])
def test_a_round_cornered_door_takes_corners_where_its_sides_would_meet(style):
    size, width = 2.5, 0.5
    (paint,), remarks = lay_lining(door(), [(width, "#ffffff")], inset=INSET, corner=style, radius=size)
    assert remarks == ()
    outer = cut_off(style, size)
    inner = outer.buffer(-width, join_style="mitre")
    if style == "incurved":
        inner = SHARP_PANEL.buffer(-width, join_style="mitre")
        for corner in CORNERS:
            inner = inner.difference(shapely.Point(corner).buffer(size + width, quad_segs=64))
    expected = outer.difference(inner)
    # The panel is laid in strips: 0.003 mm along both rims.
    assert paint.area.symmetric_difference(expected).area < 0.006 * expected.length


def test_a_larger_radius_rounds_further_and_a_smaller_one_leaves_the_doors_own():
    for radius, expected in ((4.0, 4.0), (0.5, ROUND - INSET)):
        (paint,), remarks = lay_lining(
            door(), [(0.5, "#ffffff")], inset=INSET, corner="rounded", radius=radius
        )
        assert remarks == ()
        outer = SHARP_PANEL.buffer(-expected).buffer(expected, quad_segs=32)
        assert shapely.Polygon(paint.area.exterior).symmetric_difference(outer).area < 0.35


def test_a_cant_within_the_rounding_is_named_and_left_out():
    (paint,), remarks = lay_lining(door(), [(0.5, "#ffffff")], inset=INSET, corner="canted", radius=0.8)
    assert len(remarks) == 4
    assert all("needs a size of 1.2 mm or more" in said for said in remarks)
    (plain,), _ = lay_lining(door(), [(0.5, "#ffffff")], inset=INSET)
    assert paint.area.symmetric_difference(plain.area).area < 1e-6


def test_a_round_outline_has_no_corners():
    (paint,), remarks = lay_lining(cap(), [(0.5, "#ffffff")], inset=1.0, corner="canted", radius=2.0)
    assert len(remarks) == 1 and "no sharp corners" in remarks[0]
    (plain,), _ = lay_lining(cap(), [(0.5, "#ffffff")], inset=1.0)
    assert paint.area.equals(plain.area)
