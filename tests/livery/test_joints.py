"""Mismatch across joints, on barrels where the truth is known."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from livery_patches import barrel, flat_side, grid, make_carry

from unwrap.livery.along_joints import lines_along_joints
from unwrap.livery.band import lay_band
from unwrap.livery.fit import curves_of_area
from unwrap.livery.joints import measure_joints
from unwrap.livery.lining import lay_lining, lay_lining_over
from unwrap.livery.meetings import find_meetings
from unwrap.livery.paint import Paint


def test_a_barrel_meets_itself_along_its_whole_joint():
    (meeting,) = find_meetings([barrel()])
    assert meeting.kind == "joint" and meeting.between == ("boiler", "boiler")
    assert np.linalg.norm(np.diff(meeting.places, axis=0), axis=1).sum() == pytest.approx(50.0)


def test_band_meets_itself_at_the_joint():
    boiler = barrel()
    paints, _ = lay_band(boiler, 20.0, [(0.3, "#ffffff"), (0.5, None), (0.8, "#000000")])
    found = measure_joints([boiler], {"boiler": paints})
    assert len(found) == 2
    assert max(m.place_mm for m in found) < 1e-3
    assert max(m.direction_deg for m in found) < 0.1
    assert {round(m.at[0], 2) for m in found} == {20.65, 19.6}


def test_a_line_that_misses_itself_is_measured():
    # A stripe that is 0.3 mm too far forward, and leans by 2 degrees, at one edge of the joint.
    boiler = barrel()
    girth = boiler.flat.points[:, 1].max()
    lean = np.tan(np.radians(2.0)) * girth
    stripe = shapely.Polygon([(20, 0), (21, 0), (21 + lean, girth), (20 + lean, girth)])
    for shift in (0.0, 0.3):
        moved = shapely.affinity.translate(stripe, -lean if shift else 0.0, 0)
        moved = shapely.Polygon(
            [(20, 0), (21, 0), (21, girth / 2), (21 + shift, girth), (20 + shift, girth), (20, girth / 2)]
        )
        paint = Paint("band", "#ffffff", moved, curves_of_area(moved), label="stripe")
        (found,) = measure_joints([boiler], {"boiler": [paint]})
        assert found.place_mm == pytest.approx(shift, abs=0.01)
        kink = np.degrees(np.arctan(shift / (girth / 2)))
        assert found.direction_deg == pytest.approx(kink, abs=0.1)
    assert lean > 0


def two_halves():
    """A flat side in two regions that meet at x = 30."""
    rear = flat_side(30.0, 25.0, 6, 5, name="rear half")
    front = flat_side(30.0, 25.0, 6, 5, name="front half")
    front = make_carry(
        front.flat.surface + np.array([30.0, 0, 0]),
        front.flat.points @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + [7.0, -3.0],
        front.patch.faces,
        "front half",
    )
    return rear, front


def test_a_line_set_runs_on_over_two_regions():
    rear, front = two_halves()
    paints, _ = lay_lining_over([rear, front], [(0.4, "#ffffff")], inset=2.0)
    # One frame over both, open at the common edge.
    frame = shapely.box(2, 2, 58, 23).difference(shapely.box(2.4, 2.4, 57.6, 22.6))
    assert sum(p.area.area for group in paints for p in group) == pytest.approx(frame.area, rel=1e-5)
    (paint,) = paints[0]
    assert paint.area.symmetric_difference(frame.intersection(shapely.box(0, 0, 30, 25))).area < 1e-4
    found = measure_joints([rear, front], {"rear half": paints[0], "front half": paints[1]})
    assert len(found) == 2
    assert max(m.place_mm for m in found) < 1e-3 and max(m.direction_deg for m in found) < 0.1


def test_a_line_along_a_joint_is_flagged():
    rear, front = two_halves()
    area = shapely.box(29.5, 2.0, 30.0, 20.0)
    paint = Paint("line", "#ffffff", area, curves_of_area(area), label="lining 1", asked_width=0.5)
    (said,) = lines_along_joints([rear, front], {"rear half": [paint]})
    assert 'between "' in said and "for 18.0 mm" in said
    # The line lies behind the joint, so the joint goes forward.
    assert "towards the front, to x = 31.00" in said
    across = replace(paint, area=shapely.box(20.0, 2.0, 30.0, 2.5))
    assert lines_along_joints([rear, front], {"rear half": [across]}) == ()


@pytest.mark.parametrize("style", ["rounded", "incurved", "canted", "notched"])
def test_a_corner_on_a_joint_is_turned_in_style(style):
    # The joint runs through the corner at 45 degrees, or along one of its sides.
    at, faces = grid(24, 10)
    points = at * [60.0, 25.0]
    surface = np.column_stack([points[:, 0], np.zeros(len(points)), points[:, 1]])
    middle = points[faces].mean(axis=1)
    whole = make_carry(surface, points, faces, "side")
    lines, shape = [(0.5, "#ffffff")], {"inset": 2.5, "corner": style, "radius": 4.0}
    (expected,), _ = lay_lining(whole, lines, **shape)
    # Lines of the grid that pass through the corner at (57.5, 22.5): upright and lying.
    for first in (middle[:, 0] < 57.5, middle[:, 1] < 22.5):
        one, two = (
            make_carry(surface, points, faces[part], name) for part, name in ((first, "a"), (~first, "b"))
        )
        paints, remarks = lay_lining_over([one, two], lines, **shape)
        assert remarks == ()
        laid = shapely.union_all([paint.area.buffer(1e-6) for group in paints for paint in group])
        assert laid.symmetric_difference(expected.area).area < 0.002 * expected.area.area
