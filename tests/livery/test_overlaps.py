"""What lies over what, and in which order pieces go on."""

import numpy as np
import shapely
from livery_patches import barrel, flat_side, make_carry

from unwrap.livery.along_joints import lines_along_joints
from unwrap.livery.fit import curves_of_area
from unwrap.livery.overlaps import Turn, plan_overlaps, turn_of
from unwrap.livery.paint import Paint


def roof(name="roof"):
    """A flat top, 60 x 10 mm, that meets the right side along its upper edge."""
    plane = flat_side(60.0, 10.0, 12, 2, name=name)
    points = plane.flat.points
    surface = np.column_stack([points[:, 0], points[:, 1], np.full(len(points), 25.0)])
    return make_carry(surface, points, plane.patch.faces, name)


def test_the_top_lies_over_the_side_that_it_meets():
    side, top = flat_side(), roof()
    for given in ([side, top], [top, side]):
        plan = plan_overlaps(given)
        assert plan.order == ("side", "roof")
        (lap,) = plan.overlaps
        assert (lap.under, lap.over, lap.kind) == ("side", "roof", "joint")
        assert abs(lap.length_mm - 60.0) < 1e-9
        # The side's upper edge is left full, its ground on the left of each edge.
        edges = side.flat.points[plan.edges_under("side")]
        assert np.allclose(edges[..., 1], 25.0) and (edges[:, 0, 0] > edges[:, 1, 0]).all()
        assert len(plan.edges_under("roof")) == 0


def test_what_lies_on_another_s_ground_comes_after_it():
    side = flat_side()
    small = flat_side(20.0, 8.0, 4, 2, name="plate")
    plan = plan_overlaps([small, side])
    assert plan.order == ("side", "plate")
    (lap,) = plan.overlaps
    assert (lap.under, lap.over, lap.kind) == ("side", "plate", "ground")
    assert abs(lap.area_mm2 - 160.0) < 5.0


def test_panels_side_by_side_share_no_ground():
    # Of the places asked on a panel of 12.3 mm, some lie within a hair of the edge that both have.
    for wide in np.arange(12.0, 40.0, 0.7):
        left = flat_side(wide, 64.0, 6, 8, name="left")
        beside = flat_side(60.0, 64.0, 12, 8, name="right")
        points = beside.flat.points + np.array([wide, 0.0])
        surface = np.column_stack([points[:, 0], np.zeros(len(points)), points[:, 1]])
        surface[:, 1] = left.flat.surface[0, 1]
        right = make_carry(surface, points, beside.patch.faces, "right")
        assert [lap.kind for lap in plan_overlaps([left, right]).overlaps] == ["joint"]


def test_what_is_settled_already_stands():
    assert plan_overlaps([flat_side(), roof()], [("roof", "side")]).order == ("roof", "side")


def test_a_barrel_lies_over_its_own_edge_at_the_joint():
    boiler = barrel()
    (lap,) = plan_overlaps([boiler]).overlaps
    assert (lap.under, lap.over) == ("boiler", "boiler") and abs(lap.length_mm - 50.0) < 1e-9
    (y,) = np.unique(np.round(boiler.flat.points[lap.edges][..., 1], 9))
    assert y in (0.0, round(float(boiler.flat.points[:, 1].max()), 9))
    assert turn_of(boiler) == Turn.ALL_ROUND


def test_a_line_along_a_barrel_s_joint_is_told_a_better_side():
    boiler = barrel()
    girth = boiler.flat.points[:, 1].max()
    lines = {
        "bottom": shapely.box(5, 0, 45, 0.4),
        "right": shapely.box(5, girth / 4 - 0.2, 45, girth / 4 + 0.2),
    }
    paints = [
        Paint("line", "#ffffff", area, curves_of_area(area), label=name, asked_width=0.4)
        for name, area in lines.items()
    ]
    # Seen from outside the right side comes first going up; it has a line too, so the next side is named.
    (said,) = lines_along_joints([boiler], {"boiler": paints})
    assert said.startswith("bottom lies along the joint of") and 'joint = "left"' in said
