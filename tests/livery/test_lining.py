"""Lining on surfaces whose flat pieces are known exactly; areas and distances from closed forms."""

import numpy as np
import pytest
import shapely
from livery_patches import barrel, cap, flat_side, make_carry

from unwrap.errors import BadInput
from unwrap.livery.fit import printed_area
from unwrap.livery.lining import lay_lining

SET = [(0.3, "#e0c080"), (0.4, None), (0.8, "#c03030"), (0.3, None), (0.3, "#e0c080")]


def rectangle(inset, width=60.0, height=25.0):
    return shapely.box(inset, inset, width - inset, height - inset)


def test_square_corners_on_a_flat_are_frames():
    paints, remarks = lay_lining(flat_side(), SET, inset=1.5)
    assert remarks == ()
    assert [paint.colour for paint in paints] == ["#e0c080", "#c03030", "#e0c080"]
    depth = 1.5
    lines = iter(paints)
    for width, colour in SET:
        if colour:
            frame = rectangle(depth).difference(rectangle(depth + width))
            assert next(lines).area.symmetric_difference(frame).area < 1e-6 * frame.area
        depth += width


def test_rounded_corners_are_concentric():
    paints, _ = lay_lining(flat_side(), SET, inset=1.5, corner="rounded", radius=4.0)
    depth = 1.5
    edges = [rectangle(5.5).buffer(4.0 - d, quad_segs=64) for d in (0.0, 0.3, 0.7, 1.5, 1.8, 2.1)]
    for paint, outer, inner in zip(paints, edges[::2], edges[1::2], strict=True):
        assert paint.area.symmetric_difference(outer.difference(inner)).area < 0.002 * paint.area.area
    assert depth == 1.5


def test_incurved_corner_is_an_arc_about_the_square_one():
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, corner="incurved", radius=3.0)
    outer, inner = rectangle(2.0), rectangle(2.5)
    for x in (2.0, 58.0):
        for y in (2.0, 23.0):
            outer = outer.difference(shapely.Point(x, y).buffer(3.0, quad_segs=128))
            inner = inner.difference(shapely.Point(x, y).buffer(3.5, quad_segs=128))
    assert paint.area.symmetric_difference(outer.difference(inner)).area < 0.002 * paint.area.area


def test_canted_corner_is_cut_at_its_size_and_its_line_keeps_its_width():
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, corner="canted", radius=3.0)
    outer = rectangle(2.0)
    for x in (2.0, 58.0):
        for y in (2.0, 23.0):
            toward = np.sign([30.0 - x, 12.5 - y])
            outer = outer.difference(
                shapely.Polygon([(x, y), (x + 3 * toward[0], y), (x, y + 3 * toward[1])])
            )
    expected = outer.difference(outer.buffer(-0.5, join_style="mitre"))
    assert paint.area.symmetric_difference(expected).area < 3e-4 * expected.area


def test_notched_corner_is_a_square_step():
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, corner="notched", radius=3.0)
    outer = rectangle(2.0)
    for x in (0.0, 55.0):
        for y in (0.0, 20.0):
            outer = outer.difference(shapely.box(x, y, x + 5.0, y + 5.0))
    expected = outer.difference(outer.buffer(-0.5, join_style="mitre"))
    assert paint.area.symmetric_difference(expected).area < 3e-4 * expected.area


def test_line_round_an_opening_has_square_corners():
    side = flat_side(nx=24, ny=10, skip=lambda x, y: 0.3 < x < 0.6 and 0.3 < y < 0.7)
    (hole,) = side.outline.interiors
    (paint,), _ = lay_lining(side, [(0.4, "#ffffff")], inset=1.0, edges="openings")
    expected = (
        shapely.Polygon(hole)
        .buffer(1.4, join_style="mitre")
        .difference(shapely.Polygon(hole).buffer(1.0, join_style="mitre"))
    )
    assert paint.area.symmetric_difference(expected).area < 1e-6 * expected.area


def test_top_edge_alone_gives_one_straight_line():
    (paint,), _ = lay_lining(flat_side(), [(0.4, "#ffffff")], inset=3.0, edges="top")
    assert paint.area.symmetric_difference(shapely.box(0.0, 21.6, 60.0, 22.0)).area < 1e-6


def test_three_sides_turn_two_corners():
    (paint,), _ = lay_lining(flat_side(), [(0.4, "#ffffff")], inset=3.0, edges=["top", "front", "bottom"])
    expected = shapely.box(0, 3, 57, 22).difference(shapely.box(0, 3.4, 56.6, 21.6))
    assert paint.area.symmetric_difference(expected).area < 1e-6


def test_barrel_is_lined_along_its_rings_and_not_along_its_joint():
    boiler = barrel()
    girth = boiler.flat.points[:, 1].max()
    (paint,), _ = lay_lining(boiler, [(0.4, "#ffffff")], inset=2.0)
    expected = shapely.union(shapely.box(2, 0, 2.4, girth), shapely.box(47.6, 0, 48, girth))
    assert paint.area.symmetric_difference(expected).area < 1e-5


def test_line_on_a_dome_is_a_parallel_of_latitude():
    # An inset d from the rim of a cap of half angle a is the parallel at a - d / R; at
    # that place the flat piece (true distances from the pole) has radius R a - d.
    dome = cap(radius=20.0, half_angle=0.6, rings=24)
    (paint,), _ = lay_lining(dome, [(0.8, "#ffffff")], inset=3.0)
    rings = [np.asarray(ring.coords) for ring in (paint.area.exterior, *paint.area.interiors)]
    radii = [np.linalg.norm(ring, axis=1) for ring in rings]
    assert np.abs(radii[0] - 9.0).max() < 0.02
    assert np.abs(radii[1] - 8.2).max() < 0.02


def test_thin_line_is_thickened_and_the_set_keeps_its_width():
    lines = [(0.08, "#ffffff"), (0.4, None), (0.8, "#000000")]
    paints, remarks = lay_lining(flat_side(), lines, inset=2.0, min_line=0.18)
    assert paints[0].asked_width == pytest.approx(0.18)
    assert paints[1].area.bounds[0] > 2.4
    inner = shapely.Polygon(paints[1].area.interiors[0])
    assert inner.bounds[0] == pytest.approx(2.0 + 1.28, abs=1e-6)
    assert len(remarks) == 1 and "thickened to 0.18 mm" in remarks[0]


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"inset": 12.0}, "leave nothing of the panel"),
        ({"inset": 1.0, "corner": "rounded", "radius": 12.0}, "does not fit a side"),
        ({"inset": 1.0, "corner": "wavy"}, 'there is no corner "wavy"'),
        ({"inset": 1.0, "corner": "rounded"}, "give a size above 0"),
        ({"inset": 1.0, "edges": "left"}, "has no left edge; it has top, bottom, front, rear"),
        ({"inset": 1.0, "edges": "openings"}, "has no openings; leave edges out"),
        ({"inset": 1.0, "edges": "upper"}, 'no edge called "upper"'),
        ({"inset": -1.0}, "the inset is -1.0"),
    ],
)
def test_what_does_not_fit_is_refused_by_name(asked, sentence):
    with pytest.raises(BadInput, match=sentence) as refusal:
        lay_lining(flat_side(), [(0.5, "#ffffff"), (0.5, None), (0.5, "#ffffff")], **asked)
    assert 'region "side"' in str(refusal.value)


def test_line_round_the_tip_of_a_slit_is_cut_off_square():
    # A slit 20 mm long and next to nothing wide, from the bottom edge up at x = 30.
    side = flat_side(nx=12, ny=5)
    faces = side.flat.faces
    slit = np.flatnonzero((np.abs(side.flat.points[:, 0] - 30) < 1e-9) & (side.flat.points[:, 1] < 14.9))
    twin = {int(v): len(side.flat.points) + i for i, v in enumerate(slit)}
    right_of = side.flat.points[faces].mean(axis=1)[:, 0] > 30
    faces = np.array(
        [[twin.get(int(v), v) if r else v for v in f] for f, r in zip(faces, right_of, strict=True)]
    )
    points = np.vstack([side.flat.points, side.flat.points[slit] + [1e-4, 0]])
    surface = np.column_stack([points[:, 0], np.zeros(len(points)), points[:, 1]])
    (paint,), _ = lay_lining(make_carry(surface, points, faces), [(0.5, "#ffffff")], inset=2.0)
    outer, inner = (rectangle(d).difference(shapely.box(30 - d, 0, 30 + d, 15 + d)) for d in (2.0, 2.5))
    expected = outer.difference(inner)
    assert paint.area.symmetric_difference(expected).area < 1e-3 * expected.area


def test_closed_lines_of_one_width_are_strokes_and_print_the_same():
    for style, radius, nodes in (
        ("square", 0.0, 4),
        ("rounded", 4.0, 8),
        ("canted", 4.0, 8),
        ("notched", 4.0, 12),
    ):
        paints, _ = lay_lining(flat_side(), SET, inset=1.5, corner=style, radius=radius)
        for paint, width in zip(paints, (0.3, 0.8, 0.3), strict=True):
            assert paint.stroke == pytest.approx(width, abs=2e-3)
            (curve,) = paint.curves
            assert len(curve.spans) <= nodes
            printed = printed_area(paint)
            assert printed.buffer(0.02).covers(paint.area)
            assert paint.area.buffer(0.02).covers(printed)


def test_a_line_that_the_film_narrows_is_no_stroke():
    # On a skewed cap the sheet is stretched unevenly, so an even line on the body is none on the sheet.
    dome = cap(radius=20.0, half_angle=0.6, rings=12)
    points = dome.flat.points * [1.1, 1.0]
    skewed = make_carry(dome.flat.surface, points, dome.flat.faces)
    (paint,), _ = lay_lining(skewed, [(0.8, "#ffffff")], inset=3.0)
    assert paint.stroke is None
    (even,), _ = lay_lining(dome, [(0.8, "#ffffff")], inset=3.0)
    assert even.stroke == pytest.approx(0.8, abs=0.01)


def test_each_corner_may_have_a_style_of_its_own():
    corners = {"top front": ("rounded", 5.0), "bottom rear": ("canted", 2.0)}
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, corners=corners)
    outer = rectangle(2.0).difference(shapely.Polygon([(2, 2), (4, 2), (2, 4)]))
    outer = outer.difference(shapely.box(53, 18, 58, 23)).union(shapely.Point(53, 18).buffer(5, quad_segs=64))
    assert outer.symmetric_difference(shapely.Polygon(paint.area.exterior)).area < 0.02
    with pytest.raises(BadInput, match='no corner "top left"; its corners are "bottom front" at'):
        lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, corners={"top left": ("rounded", 1.0)})


@pytest.mark.parametrize("cells", [(12, 5), (1, 1)], ids=["fine", "two faces"])
def test_panels_within_a_region_are_lined_as_if_they_were_regions(cells):
    for within, box in (
        ({"x": (0, 25)}, (0, 0, 25, 25)),
        ({"x": (25, 60)}, (25, 0, 60, 25)),
        ({"x": (10, 31), "z": (4, 21)}, (10, 4, 31, 21)),
    ):
        (paint,), _ = lay_lining(
            flat_side(nx=cells[0], ny=cells[1]), [(0.5, "#ffffff")], inset=2.0, within=within
        )
        outer = shapely.box(*box).buffer(-2, join_style="mitre")
        expected = outer.difference(outer.buffer(-0.5, join_style="mitre"))
        assert paint.area.symmetric_difference(expected).area < 1e-3
    with pytest.raises(BadInput, match="holds nothing of the region"):
        lay_lining(flat_side(nx=cells[0], ny=cells[1]), [(0.5, "#ffffff")], inset=2.0, within={"x": (70, 80)})


def test_a_panel_right_round_a_barrel():
    boiler = barrel()
    girth = boiler.flat.points[:, 1].max()
    (paint,), _ = lay_lining(boiler, [(0.4, "#ffffff")], inset=1.0, within={"x": (10, 30)})
    expected = shapely.union(shapely.box(11, 0, 11.4, girth), shapely.box(28.6, 0, 29, girth))
    assert paint.area.symmetric_difference(expected).area < 1e-3


def test_lines_keep_clear_of_rivets():
    rivets = [((x, 0.0, 22.75), 1.2) for x in (10.0, 20.0, 30.0)]
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, clear=rivets)
    (whole,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0)
    discs = shapely.union_all([shapely.Point(x, 22.75).buffer(0.6, quad_segs=16) for (x, _, _), _ in rivets])
    assert paint.area.symmetric_difference(whole.area.difference(discs)).area < 1e-3


def test_dashes_are_square_to_the_line_and_end_where_they_began():
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=3.0, edges="top", dashes=(4.0, 2.0))
    dashes = shapely.get_parts(paint.area)
    assert len(dashes) == 10
    assert all(dash.area == pytest.approx(2.0, abs=1e-3) for dash in dashes)
    (ring,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=2.0, dashes=(4.0, 2.0))
    length = 2 * (55.5 + 20.5)
    parts = shapely.get_parts(ring.area)
    assert abs(len(parts) - round(length / 6)) <= 1
    assert ring.area.area == pytest.approx(0.5 * length * 4 / 6, rel=0.02)


@pytest.mark.parametrize(("corner", "radius"), [("square", 0.0), ("rounded", 4.0)])
def test_the_dashes_of_a_set_lie_side_by_side(corner, radius):
    paints, _ = lay_lining(flat_side(), SET, inset=2.0, corner=corner, radius=radius, dashes=(4.0, 2.0))
    # Where one line of the set has a gap all have one: straight across, clear of the corners.
    for low, high, across in ((9.0, 51.0, 0), (9.0, 16.0, 1)):
        for at in np.arange(low, high, 0.05):
            ends = [(at, 0.0), (at, 12.0)] if across == 0 else [(0.0, at), (20.0, at)]
            ruler = shapely.LineString(ends)
            there = [round(ruler.intersection(p.area).length, 2) for p in paints]
            widths = [p.asked_width for p in paints]
            assert there == [0.0, 0.0, 0.0] or there == pytest.approx(widths, abs=0.02), (at, there)


def test_a_line_below_the_windows_is_measured_from_the_top_as_with_a_ruler():
    side = flat_side(nx=24, ny=10, skip=lambda x, y: 0.3 < x < 0.6 and 0.3 < y < 0.7)
    (paint,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=20.0, edges="top")
    assert paint.area.symmetric_difference(shapely.box(0, 4.5, 60, 5)).area < 1e-3
    # At window height the line runs up to the window and goes on behind it.
    (paint,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=12.0, edges="top")
    expected = shapely.box(0, 12.5, 60, 13).intersection(side.outline)
    assert paint.area.symmetric_difference(expected).area < 1e-3


@pytest.mark.parametrize("style", ["rounded", "incurved", "canted", "notched"])
def test_a_corner_takes_nothing_from_the_panel_beyond_a_step(style):
    # An L: the panel is 60 mm long below and 10 mm long above; its upper corners stand near the step.
    side = flat_side(nx=24, ny=10, skip=lambda x, y: x > 10 / 60 and y > 0.5)
    (paint,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=1.0, corner=style, radius=3.0)
    (square,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=1.0)
    # Away from the corners (a notch of 3 mm and a line of 0.5 mm reach 5 mm) the lines are the same.
    corners = shapely.MultiPoint([(1, 1), (59, 1), (59, 11.5), (9, 11.5), (9, 24), (1, 24)]).buffer(5.2)
    assert paint.area.difference(corners).symmetric_difference(square.area.difference(corners)).area < 1e-3
