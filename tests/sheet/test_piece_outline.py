"""The outline of a flat mesh, its slits, its bleed and its directions."""

import numpy as np
import pytest
import shapely
from sheet_pieces import box_piece, fill, flat_of, grid, piece_of

from unwrap.livery.loops import boundary_loops
from unwrap.sheet.outline import direction_on, outline_of


def test_rectangle_with_an_opening_has_the_area_it_must():
    points, faces = grid(40, 30, step=1.0, hole=(10, 10, 20, 15))
    outline, slits = outline_of(points, faces)
    assert outline.area == pytest.approx(40 * 30 - 10 * 5, abs=1e-9)
    assert len(outline.interiors) == 1
    assert outline.exterior.is_ccw and not outline.interiors[0].is_ccw
    assert slits == ()


def test_boundary_loops_match_those_of_another_library():
    trimesh = pytest.importorskip("trimesh")
    points, faces = grid(20, 12, step=1.0, hole=(4, 4, 9, 8))
    mesh = trimesh.Trimesh(np.column_stack([points, np.zeros(len(points))]), faces, process=False)
    once = trimesh.grouping.group_rows(mesh.edges_sorted, require_count=1)
    expected = {tuple(edge) for edge in mesh.edges_sorted[once].tolist()}
    walked = set()
    for loop in boundary_loops(faces):
        walked |= {
            tuple(sorted(edge)) for edge in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True)
        }
    assert walked == expected


def test_loops_that_touch_in_one_vertex_stay_apart():
    # Two openings that share a corner: the ground round it is connected, the holes are not.
    points, faces = grid(8, 8, step=1.0)
    middles = points[faces].mean(axis=1)
    inside = lambda x0, y0: (  # noqa: E731
        (middles[:, 0] > x0) & (middles[:, 0] < x0 + 1) & (middles[:, 1] > y0) & (middles[:, 1] < y0 + 1)
    )
    loops = boundary_loops(faces[~(inside(3, 3) | inside(4, 4))])
    assert sorted(len(loop) for loop in loops) == [4, 4, 32]


def _slit(points, faces, gape):
    """Slit a grid from its lower edge up to half its height at x = 10, the lips parted by `gape`."""
    on = (np.abs(points[:, 0] - 10) < 1e-9) & (points[:, 1] < 10 - 1e-9)
    twin = np.full(len(points), -1)
    twin[on] = len(points) + np.arange(on.sum())
    right = points[faces].mean(axis=1)[:, 0] > 10
    cut = faces.copy()
    cut[right] = np.where(twin[cut[right]] >= 0, twin[cut[right]], cut[right])
    moved = points[on].copy()
    moved[:, 0] += gape * (1 - moved[:, 1] / 10)
    points = points.copy()
    return np.vstack([points, moved]), cut


def test_a_parted_slit_is_a_notch():
    points, faces = _slit(*grid(20, 20, step=1.0), gape=0.5)
    outline, slits = outline_of(points, faces)
    assert slits == ()
    assert outline.area == pytest.approx(400 - 0.5 * 10 * 0.5, abs=1e-9)
    assert not outline.contains(shapely.Point(10.2, 0.5))


def test_a_closed_slit_is_a_line_from_the_edge_inwards():
    points, faces = _slit(*grid(20, 20, step=1.0), gape=0.0)
    outline, slits = outline_of(points, faces)
    assert outline.area == pytest.approx(400, abs=1e-9)
    (slit,) = slits
    assert slit[0] == pytest.approx([10, 0], abs=0.01)
    assert slit[-1] == pytest.approx([10, 10], abs=0.01)


def test_directions_follow_the_body():
    points, faces = grid(30, 20)
    turn = np.radians(25)
    surface = np.column_stack(
        [points @ [np.cos(turn), np.sin(turn)], np.zeros(len(points)), points @ [-np.sin(turn), np.cos(turn)]]
    )
    flat = flat_of(points, faces, surface)
    assert direction_on(flat, np.array([1.0, 0, 0])) == pytest.approx([np.cos(turn), np.sin(turn)])
    assert direction_on(flat, np.array([0, 0, 1.0])) == pytest.approx([-np.sin(turn), np.cos(turn)])
    # Nothing on this wall runs across the body.
    assert direction_on(flat, np.array([0, 1.0, 0])) == pytest.approx([0, 0])


def test_right_round_a_barrel_there_is_no_up():
    points, faces = grid(30, 2 * np.pi * 8, step=1.0)
    angle = points[:, 1] / 8
    surface = np.column_stack([points[:, 0], 8 * np.sin(angle), 8 * np.cos(angle)])
    flat = flat_of(points, faces, surface)
    assert direction_on(flat, np.array([0, 0, 1.0])) == pytest.approx([0, 0])
    assert direction_on(flat, np.array([1.0, 0, 0])) == pytest.approx([1, 0])


def test_covered_holes_become_piercing_marks():
    points, faces = grid(30, 20)
    holes = np.array([[-7.3, 0.0, 11.1, 0.8], [-20.0, 0.05, 4.0, 1.2]])
    piece = piece_of("side", points, faces, holes=holes)
    assert piece.pierce == pytest.approx(np.array([[7.3, 11.1, 0.8], [20.0, 4.0, 1.2]]))


def test_fill_runs_over_by_the_bleed_and_lining_inside_does_not():
    piece = box_piece("side", 40, 20, bleed=0.5)
    ground, lining = piece.paints
    assert ground.area.bounds == pytest.approx((-0.5, -0.5, 40.5, 20.5), abs=1e-6)
    assert ground.area.area == pytest.approx(41 * 21, rel=1e-6)
    assert lining.area.bounds == pytest.approx((2, 2, 38, 18))
    assert piece.outline.area == pytest.approx(800)


def test_a_band_to_the_edge_is_carried_over_at_its_own_width():
    points, faces = grid(40, 20)
    band = fill(shapely.box(10, 0, 12, 20), "#d8b44a", "band")
    piece = piece_of("side", points, faces, [band], bleed=0.6)
    assert piece.paints[0].area.bounds == pytest.approx((10, -0.6, 12, 20.6), abs=0.05)


def test_no_bleed_leaves_paint_alone():
    points, faces = grid(40, 20)
    band = fill(shapely.box(10, 0, 12, 20), "#d8b44a", "band")
    assert piece_of("side", points, faces, [band], bleed=0.0).paints[0] is band
