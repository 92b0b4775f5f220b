"""Pieces on sheets: nothing lost, nothing overlapping, the same every time."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_pieces import box_piece, ell_piece, mixed_pieces, sector_piece

from unwrap.errors import BadInput
from unwrap.sheet.layout import check_sheet, coverage, lay_out, placed_shapes
from unwrap.sheet.naming import box_at
from unwrap.sheet.sheet import Placement, Sheet

QUICK = 0.1


def _copies(sheets):
    return sorted((place.piece.name, place.copy) for sheet in sheets for place in sheet.placements)


@pytest.fixture(scope="module")
def laid():
    return lay_out(mixed_pieces(), 210, 297, 5, 3, effort=QUICK)


def test_every_piece_is_placed_once(laid):
    assert _copies(laid) == sorted((piece.name, 0) for piece in mixed_pieces())


def test_pieces_keep_their_distance_and_the_margin(laid):
    for sheet in laid:
        shapes = placed_shapes(sheet)
        for k, shape in enumerate(shapes):
            x0, y0, x1, y1 = shape.bounds
            assert min(x0, y0, sheet.width - x1, sheet.height - y1) >= 5 - 1e-9
            for other in shapes[:k]:
                assert shape.distance(other) >= 3 - 1e-6


def test_placing_keeps_size_and_hand(laid):
    for place in laid[0].placements:
        assert np.linalg.det(place.matrix[:, :2]) == pytest.approx(1.0, abs=1e-12)


def test_same_input_same_sheet(laid):
    again = lay_out(mixed_pieces(), 210, 297, 5, 3, effort=QUICK)
    for one, two in zip(laid, again, strict=True):
        assert [(p.piece.name, p.copy, p.turn, p.shift) for p in one.placements] == [
            (p.piece.name, p.copy, p.turn, p.shift) for p in two.placements
        ]


def test_a_full_sheet_is_followed_by_another_and_spares_are_placed():
    pieces = [box_piece("side", 60, 40, spares=3), box_piece("roof", 50, 50)]
    sheets = lay_out(pieces, 105, 148, 5, 3, effort=QUICK)
    assert len(sheets) >= 2
    assert [sheet.number for sheet in sheets] == list(range(1, len(sheets) + 1))
    assert _copies(sheets) == [("roof", 0), ("side", 0), ("side", 1), ("side", 2), ("side", 3)]


def test_grain_keeps_every_piece_upright_or_upside_down():
    pieces = [ell_piece("front"), sector_piece("dome"), box_piece("side", 70, 20)]
    upright = {piece.name: np.arctan2(piece.up[1], piece.up[0]) for piece in pieces}
    (sheet,) = lay_out(pieces, 148, 210, 5, 3, grain=True, effort=QUICK)
    for place in sheet.placements:
        turned = np.degrees(place.turn + upright[place.piece.name]) - 90
        assert np.isclose(turned % 180, 0, atol=1e-6) or np.isclose(turned % 180, 180, atol=1e-6)


def test_sheets_in_hand_are_used_first_and_skipped_where_nothing_fits():
    pieces = [box_piece("side", 60, 40), box_piece("cab", 20, 20)]
    sheets = lay_out(pieces, 148, 210, 5, 3, in_hand=[(20, 20), (60, 50)], effort=QUICK)
    assert [(sheet.width, sheet.height) for sheet in sheets] == [(60, 50), (148, 210)]
    assert [place.piece.name for place in sheets[0].placements] == ["cab"]


def test_a_piece_larger_than_the_sheet_is_named():
    with pytest.raises(BadInput, match=r"'long-side' is 401\.0 x 31\.0 mm.*189\.0 x 280\.0"):
        lay_out([box_piece("cab", 20, 20), box_piece("long-side", 400, 30)], 205, 297)


def test_a_sheet_that_is_all_margin_is_named():
    with pytest.raises(BadInput, match="no room left inside its margins"):
        lay_out([box_piece("cab", 20, 20)], 15, 297, 8)


def test_grain_is_named_where_it_alone_keeps_a_piece_off():
    with pytest.raises(BadInput, match="grain"):
        lay_out([box_piece("side", 150, 30)], 105, 297, grain=True)


def test_a_long_strip_is_laid_aslant_where_only_that_fits():
    sheets = lay_out([box_piece("waist", 140, 8)], 105, 148, 5, 3, effort=QUICK)
    (place,) = sheets[0].placements
    assert not np.isclose(np.degrees(place.turn) % 90, 0, atol=0.5)
    assert shapely.box(5, 5, 100, 143).contains(placed_shapes(sheets[0])[0])


def test_a_piece_that_fits_only_without_its_name_is_taken():
    (sheet,) = lay_out([box_piece("waist", 93, 130, bleed=0)], 110, 148, 5, 3, grain=True, effort=QUICK)
    assert len(sheet.placements) == 1


def test_names_stand_close_to_their_pieces_and_upright(laid):
    for sheet in laid:
        for place, shape in zip(sheet.placements, placed_shapes(sheet), strict=True):
            assert place.name_at is not None
            box = box_at(place.name_at, place.name, True)
            assert 0.25 < box.distance(shape) < 1.0
            assert -np.pi / 2 < place.name_at.turn <= np.pi / 2 + 1e-9
            others = [other for other in placed_shapes(sheet) if other is not shape]
            assert all(box.distance(other) > 0.3 for other in others if not other.equals(shape))


def test_the_check_finds_an_overlap():
    piece = box_piece("cab", 20, 20)
    places = (Placement(piece, 0.0, (20.0, 20.0)), Placement(piece, 0.0, (42.0, 20.0), 1))
    check_sheet(Sheet(1, 148, 210, places), gap=1.0)
    with pytest.raises(RuntimeError, match=r"nearer than 1\.5"):
        check_sheet(Sheet(1, 148, 210, places), gap=1.5)
    with pytest.raises(RuntimeError, match="margin"):
        check_sheet(Sheet(1, 60, 210, places), gap=1.0)


def test_coverage_is_area_over_the_strip_that_is_used_up():
    piece = box_piece("cab", 20, 20, bleed=0)
    sheet = Sheet(1, 50, 100, (Placement(piece, 0.0, (5.0, 65.0)),), margin=5.0)
    assert shapely.area(placed_shapes(sheet)[0]) == pytest.approx(400)
    assert coverage(sheet) == pytest.approx(400 / (40 * 30))


def test_nothing_to_place_needs_no_sheet():
    assert lay_out([], 210, 297) == ()


def test_a_hurried_nesting_that_overshoots_the_sheet_leaves_the_rest_to_the_next():
    sizes = [(58, 37, 0), (13, 33, 0), (20, 31, 0), (45, 35, 2)]
    pieces = [box_piece(f"p{k}", w, h, lining=None, bleed=0.3, spares=s) for k, (w, h, s) in enumerate(sizes)]
    sheets = lay_out(pieces, 105, 148, 5, 2.0, effort=0.05)
    assert len(_copies(sheets)) == 6


@settings(max_examples=4, deadline=None)
@given(
    st.lists(st.tuples(st.floats(4, 60), st.floats(4, 40), st.integers(0, 2)), min_size=1, max_size=6),
    st.floats(0.5, 4.0),
    st.booleans(),
)
def test_whatever_the_pieces_all_are_placed_and_none_overlaps(sizes, gap, grain):
    pieces = [
        box_piece(f"p{k}", w, h, lining=None, bleed=0.3, spares=spares)
        for k, (w, h, spares) in enumerate(sizes)
    ]
    sheets = lay_out(pieces, 105, 148, 5, gap, grain=grain, effort=0.05)
    assert len(_copies(sheets)) == sum(1 + spares for _, _, spares in sizes)
    for sheet in sheets:
        shapes = placed_shapes(sheet)
        for k, shape in enumerate(shapes):
            assert shapely.box(5, 5, 100, 143).contains(shape)
            assert all(shape.distance(other) >= gap - 1e-6 for other in shapes[:k])
