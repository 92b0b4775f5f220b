"""Knock-out, white, traps and limits: what each ink prints, counted in dots and areas."""

import numpy as np
import pytest
import shapely
import shapely.affinity
import shapely.ops
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_pieces import box_piece, fill, grid, piece_of

from unwrap.errors import BadInput
from unwrap.livery.paint import Paint
from unwrap.sheet.dots import area_dots, plate_dots
from unwrap.sheet.inks import Press, tints_of
from unwrap.sheet.limits import over_limit, press_remarks
from unwrap.sheet.plates import visible_paints, white_area
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.trap import traps_of

IDENTITY = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def lined_piece(ground="#f2e4b8", line="#1d2b53", width=0.5, **more):
    points, faces = grid(30, 20)
    paints = [
        fill(shapely.box(0, 0, 30, 20), ground),
        fill(shapely.box(5, 5, 25, 5 + width), line, "line", "lining 1"),
        fill(shapely.box(5, 10, 12, 17), "#b3261e", "band"),
    ]
    return piece_of("side", points, faces, paints, **more)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(-300, 4300), st.integers(-300, 3300)), min_size=3, max_size=9),
    st.floats(0.2, 3.0),
)
def test_dots_are_those_whose_middle_is_inside(corners, hole):
    area = shapely.Polygon(np.array(corners) / 100).buffer(0)
    middle = area.centroid.buffer(hole) if not area.is_empty else shapely.Polygon()
    area = area.difference(middle)
    rows, columns, inside = area_dots(area, IDENTITY, (30, 40))
    drawn = np.zeros((30, 40), bool)
    drawn[rows, columns] = inside
    x, y = np.meshgrid(np.arange(40) + 0.5, np.arange(30) + 0.5)
    expected = shapely.contains_xy(area, x, y)
    on_edge = shapely.dwithin(area.boundary, shapely.points(x, y), 1e-9) if not area.is_empty else False
    assert ((drawn == expected) | on_edge).all()


def test_knock_out_leaves_each_place_to_the_last_paint():
    seen = visible_paints(lined_piece(bleed=0))
    areas = [area for _, _, area in seen]
    assert shapely.union_all(areas).area == pytest.approx(600)
    assert sum(area.area for area in areas) == pytest.approx(600)
    assert areas[1].area == pytest.approx(20 * 0.5)


def test_white_is_the_whole_print_less_the_choke():
    area = white_area(lined_piece(bleed=0), 0.2)
    assert area.area == pytest.approx(29.6 * 19.6)
    assert white_area(lined_piece(bleed=0.5), 0.2).area == pytest.approx(30.6 * 20.6)


def test_white_has_no_pinholes_where_paints_border_on_each_other_but_for_roundings():
    points, faces = grid(30, 20)
    rng = np.random.default_rng(4)
    marks = [
        shapely.affinity.rotate(shapely.Point(x, y).buffer(r).exterior.buffer(0.2), turn)
        for x, y, r, turn in rng.uniform((4, 4, 0.5, 0), (26, 16, 3, 180), (40, 4))
    ]
    paints = [fill(shapely.box(0, 0, 30, 20)), *(fill(mark, "#f0d090", "line") for mark in marks)]
    # A bed of another colour, parted along a slanting line that no two roundings share.
    halves = shapely.ops.split(shapely.box(2, 2, 28, 18), shapely.LineString([(0, 1.37), (30, 18.91)])).geoms
    paints[1:1] = [fill(half, colour) for half, colour in zip(halves, ("#123456", "#654321"), strict=True)]
    area = white_area(piece_of("side", points, faces, paints, bleed=0.5), 0.15)
    assert area.geom_type == "Polygon" and not area.interiors
    assert area.area == pytest.approx(30.7 * 20.7, abs=0.01)


def test_bare_film_gets_no_white_and_what_covers_it_does():
    piece = box_piece("side", 40, 20, bleed=0)
    assert white_area(piece, 0.1, frozenset({"#1f4d3a"})).area == pytest.approx(
        shapely.box(2, 2, 38, 18)
        .difference(shapely.box(2.4, 2.4, 37.6, 17.6))
        .buffer(-0.1, join_style="mitre")
        .area
    )
    assert white_area(piece, 0.1, frozenset({"fill", "line"})).is_empty


def test_white_lettering_keeps_its_edge_on_bare_film():
    points, faces = grid(30, 20)
    stripe = fill(shapely.box(5, 5, 25, 5.6), "#ffffff", "lettering")
    piece = piece_of("side", points, faces, [stripe], bleed=0)
    assert white_area(piece, 0.2).area == pytest.approx(20 * 0.6)


@pytest.mark.parametrize(
    "ground, line", [("#f2e4b8", "#1d2b53"), ("#0b3d91", "#f5d000"), ("#00a8e0", "#d40000")]
)
def test_no_gap_shows_when_a_plate_is_shifted(ground, line):
    press = Press(registration=0.15, face_down=False)
    piece = lined_piece(ground, line, bleed=0.5)
    sheet = Sheet(1, 60, 50, (Placement(piece, 0.2, (15.0, 12.0)),))
    dpi = 1270
    step = round(0.15 * dpi / 25.4 * np.sqrt(0.5))

    def gaps(press):
        plates = plate_dots(sheet, press, dpi)
        inks = [plates[ink] > 0 for ink in ("cyan", "magenta", "yellow")]
        painted = np.logical_or.reduce(inks)
        # Only inside: at the outer edge a shift has nothing to run into.
        inner = plate_dots(sheet, Press(white_choke=0.8, face_down=False), dpi)["white"] > 0
        assert not (inner & ~painted).any()
        worst = 0
        for moved in range(3):
            for shift in ((step, step), (-step, step), (step, -step), (-step, -step)):
                shifted = [np.roll(ink, shift, (0, 1)) if k == moved else ink for k, ink in enumerate(inks)]
                worst = max(worst, int((inner & ~np.logical_or.reduce(shifted)).sum()))
        return worst

    assert gaps(press) == 0


def test_pure_inks_show_gaps_without_traps_and_none_with_them():
    # Yellow on cyan share no ink: the case that traps are for.
    piece = lined_piece("#00ffff", "#ffff00", bleed=0.5)
    sheet = Sheet(1, 60, 50, (Placement(piece, 0.0, (15.0, 12.0)),))
    dpi, shift = 1270, 7

    def gap(registration):
        plates = plate_dots(sheet, Press(registration=registration, face_down=False), dpi)
        cyan, yellow = plates["cyan"] > 0, np.roll(plates["yellow"] > 0, shift, axis=0)
        # Round the lining alone, where both colours are pure.
        rows = slice(round((50 - 12 - 7) / 25.4 * dpi), round((50 - 12 - 4) / 25.4 * dpi))
        columns = slice(round(22 / 25.4 * dpi), round(38 / 25.4 * dpi))
        return int((~(cyan | yellow)[rows, columns]).sum())

    assert gap(0.0) > 1000
    assert gap(0.15) == 0


def test_a_trap_gives_no_line_more_or_less_width():
    press = Press(registration=0.15)
    piece = lined_piece("#f2e4b8", "#1d2b53", bleed=0)
    dark = shapely.box(5, 5, 25, 5.5)
    for trap in traps_of(piece, press):
        # Every overlap lies inside the darker colour.
        others = shapely.union_all([dark, shapely.box(5, 10, 12, 17)])
        assert trap.area.difference(others.buffer(1e-6)).is_empty


def test_no_registration_no_traps():
    assert traps_of(lined_piece(), Press(registration=0.0)) == ()


def test_black_is_built_of_three_without_a_black_ink_and_held_to_the_limit():
    assert tints_of("#000000", Press(limit=3.0)) == (1.0, 1.0, 1.0, 0.0)
    assert sum(tints_of("#000000", Press(limit=2.6))) == pytest.approx(2.6)
    assert tints_of("#000000", Press(inks="cmykw")) == (0.0, 0.0, 0.0, 1.0)
    assert tints_of("#808080", Press(inks="cmyk"))[:3] == pytest.approx((0, 0, 0))
    assert tints_of("#ff0000", Press()) == pytest.approx((0, 1, 1, 0))


@settings(max_examples=60, deadline=None)
@given(st.tuples(*[st.integers(0, 255)] * 3), st.sampled_from(["cmyw", "cmykw"]))
def test_tints_give_the_screen_colour_back(rgb, inks):
    colour = "#{:02x}{:02x}{:02x}".format(*rgb)
    tints = tints_of(colour, Press(inks=inks, limit=4.0))
    assert all(0.0 <= tint <= 1.0 for tint in tints)
    back = [255 * (1 - min(1.0, tint * (1 - tints[3]) + tints[3])) for tint in tints[:3]]
    assert back == pytest.approx(rgb, abs=1e-6)


def test_a_printer_without_colours_is_refused():
    with pytest.raises(BadInput, match="cyan, magenta and yellow"):
        Press(inks="cyw")


def test_places_over_the_limit_are_named():
    piece = lined_piece("#101010", bleed=0)
    (place,) = over_limit([piece], Press(limit=2.6))
    assert place.total == pytest.approx(3 * (1 - 16 / 255))
    assert place.area == pytest.approx(600 - 10 - 49)
    assert shapely.box(0, 0, 30, 20).contains(shapely.Point(place.at))
    (remark,) = [r for r in press_remarks([piece], Press(limit=2.6)) if "%" in r]
    assert "#101010" in remark and "281%" in remark and "260%" in remark and "side at" in remark
    assert over_limit([piece], Press(limit=3.0)) == ()


def test_fine_lines_of_several_inks_are_flagged():
    piece = lined_piece(line="#1d2b53", width=0.25)
    other = piece_of("end", piece.flat.points, piece.flat.faces, piece.paints, bleed=0)
    (remark,) = press_remarks([piece, other], Press())
    assert "#1d2b53" in remark and "0.25 mm wide on side, end" in remark and "0.30 mm" in remark
    assert press_remarks([lined_piece(line="#00ffff", width=0.25)], Press()) == ()
    assert press_remarks([lined_piece(line="#1d2b53", width=0.31)], Press()) == ()


def test_the_stroke_of_lettering_is_measured():
    points, faces = grid(30, 20)
    bar = Paint("lettering", "#1d2b53", shapely.box(5, 5, 25, 5.2), label="QT")
    piece = piece_of("side", points, faces, [bar], bleed=0)
    (remark,) = press_remarks([piece], Press())
    assert "0.20 mm wide on side" in remark


def test_plates_are_mirrored_face_down_and_carry_the_second_white_inside_the_first():
    sheet = Sheet(1, 60, 50, (Placement(lined_piece(), 0.0, (10.0, 12.0)),))
    up = plate_dots(sheet, Press(face_down=False, white_hits=2), 254)
    down = plate_dots(sheet, Press(face_down=True, white_hits=2), 254)
    assert list(up) == ["cyan", "magenta", "yellow", "white", "white 2"]
    for ink in up:
        assert (up[ink][:, ::-1] != down[ink]).mean() < 3e-3
    assert not (down["white 2"] & ~down["white"]).any()
    assert down["white 2"].sum() < down["white"].sum()
