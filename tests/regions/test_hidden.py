"""Shells pushed into each other without being joined."""

from __future__ import annotations

import numpy as np
import pytest
from conftest import body_of_solid, box, cylinder_x, union

from unwrap.body.body import Body
from unwrap.body.skin import outside_faces
from unwrap.errors import BadInput
from unwrap.regions import grow_region, make_patch
from unwrap.regions.edges import boundary_loops, face_normals


def pushed_together(*solids) -> Body:
    bodies = [body_of_solid(solid) for solid in solids]
    shift = np.cumsum([0] + [len(body.vertices) for body in bodies])
    faces = [body.faces + first for body, first in zip(bodies, shift, strict=False)]
    return Body(np.concatenate([body.vertices for body in bodies]), np.concatenate(faces))


def area(patch) -> float:
    return float(face_normals(patch.vertices, patch.faces)[1].sum())


BOILER = cylinder_x(10.0, -30.0, 30.0)
TANK = box((-20, 5), (-14, 14), (-12, 3))


@pytest.mark.parametrize("at", [(20, 0, 10), (-10, 14, 0)], ids=["boiler", "tank side"])
def test_a_region_stops_at_the_visible_meeting_line(at):
    apart = pushed_together(BOILER, TANK)
    joined = body_of_solid(union([BOILER, TANK]))
    areas = []
    for body in (apart, joined):
        region = grow_region(body, "it", at, outside=outside_faces(body), bridge=1.5)
        areas.append(area(make_patch(region, bridge=1.5)))
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)


@pytest.mark.parametrize("at", [(20, 0, 10), (-10, 14, 0)], ids=["boiler", "tank side"])
def test_the_inner_sides_of_walls_hide_nothing(at):
    # A region beside and below the hollows sees their inner sides from behind, but is not in them.
    hollows = [cylinder_x(8.5, -28.5, 28.5), box((-18.5, 3.5), (-12.5, 12.5), (-10.5, 1.5))]
    apart, joined = pushed_together(BOILER, TANK), body_of_solid(union([BOILER, TANK]))
    inside = pushed_together(*hollows)
    walled = Body(
        np.concatenate([apart.vertices, inside.vertices]),
        np.concatenate([apart.faces, inside.faces[:, ::-1] + len(apart.vertices)]),
    )
    areas = []
    for body in (walled, joined):
        region = grow_region(body, "it", at, outside=outside_faces(body), bridge=1.5)
        areas.append(area(make_patch(region, bridge=1.5)))
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)


def test_a_region_goes_over_from_one_shell_to_the_next():
    # The truth is the same body as one solid, on which the two places share the edge that is seen.
    apart, joined = pushed_together(BOILER, TANK), body_of_solid(union([BOILER, TANK]))
    whole = [(-10, 14, 0), (-10, 12, 3), (20, 0, 10)]
    regions = [
        grow_region(body, "it", whole[0], outside=outside_faces(body), also=whole[1:])
        for body in (apart, joined)
    ]
    patches = [make_patch(region) for region in regions]
    assert area(patches[0]) == pytest.approx(area(patches[1]), rel=1e-3)
    assert len(boundary_loops(patches[0].faces)) == len(boundary_loops(patches[1].faces))


def test_parts_that_touch_are_one_region_and_parts_with_a_gap_are_not():
    # Two panels end to end, cut into triangles differently; the second 0.02 or 0.3 mm away.
    for gap, touches in ((0.0, True), (0.02, True), (0.3, False)):
        panels = [box((-30, 0), (0, 2), (0, 12)), box((gap, 25), (0, 2), (0, 12)).refine(3)]
        body = pushed_together(*panels)
        more = {"outside": outside_faces(body), "also": [(10, 2, 5)]}
        if not touches:
            with pytest.raises(BadInput, match=r"does not meet what grows from at within 0\.03 mm"):
                grow_region(body, "it", (-10, 2, 5), **more)
            continue
        patch = make_patch(grow_region(body, "it", (-10, 2, 5), **more))
        assert area(patch) == pytest.approx((55 - gap) * 12, abs=1.01 * gap * 12 + 1e-9)
        assert len(boundary_loops(patch.faces)) == 1


def test_a_skewed_branch_leaves_its_curve():
    branch = cylinder_x(6.0, 0.0, 40.0, 64).rotate((0, -60, 25))
    apart, joined = pushed_together(BOILER, branch), body_of_solid(union([BOILER, branch]))
    areas = []
    for body in (apart, joined):
        region = grow_region(body, "it", (-20, 0, 10), outside=outside_faces(body), bridge=0)
        areas.append(area(make_patch(region)))
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)


def test_bands_and_rivets_pushed_on_hide_nothing():
    rivet = box((-0.4, 0.4), (-0.4, 0.4), (9, 10.3))
    bands = [cylinder_x(10.3, x - 0.5, x + 0.5) for x in (-12.0, 5.0)]
    apart = pushed_together(BOILER, *bands, rivet)
    region = grow_region(apart, "it", (20, 0, 10), outside=outside_faces(apart), bridge=1.5)
    assert area(make_patch(region, bridge=1.5)) == pytest.approx(48 * 20 * np.sin(np.pi / 48) * 60)
