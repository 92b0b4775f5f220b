"""Lines run on over regions whose edges meet, whatever their vertices."""

import numpy as np
import pytest
import shapely
from livery_patches import flat_side, make_carry

from unwrap.livery.carry import Carry
from unwrap.livery.joints import measure_joints
from unwrap.livery.lining import lay_lining_over
from unwrap.livery.meetings import find_meetings
from unwrap.livery.sharing import share_edges


def side_by_side(gap=0.0, rows=(5, 7)):
    """Two parts of a 60 x 25 mm side that meet at x = 30 with different vertices there."""
    rear = flat_side(30.0, 25.0, 6, rows[0], name="rear half")
    front = flat_side(30.0, 25.0, 6, rows[1], name="front half")
    surface = front.flat.surface + np.array([30.0, gap, 0])
    # Its flat piece stands turned on the sheet.
    points = front.flat.points @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + [7.0, -3.0]
    return [(c.patch, c.flat) for c in (rear, make_carry(surface, points, front.patch.faces, "front half"))]


@pytest.mark.parametrize(("gap", "rows"), [(0.0, (5, 7)), (0.02, (5, 7)), (0.02, (5, 5)), (0.0, (1, 12))])
def test_edges_that_meet_share_their_corners(gap, rows):
    plain = side_by_side(gap, rows)
    carries = [Carry(*piece) for piece in share_edges(plain)]
    for (patch, flat), carry in zip(plain, carries, strict=True):
        assert carry.flat.areas.sum() == pytest.approx(flat.areas.sum(), rel=2e-5)
        assert carry.outline.area == pytest.approx(Carry(patch, flat).outline.area, rel=1e-12)
        back = carry.patch.vertices[carry.flat.vertex]
        assert np.array_equal(back, carry.flat.surface)
    (meeting,) = find_meetings(carries)
    assert meeting.length == pytest.approx(25.0, rel=1e-4)
    paints, _ = lay_lining_over(carries, [(0.4, "#ffffff")], inset=2.0)
    frame = shapely.box(2, 2, 58, 23).difference(shapely.box(2.4, 2.4, 57.6, 22.6))
    assert sum(p.area.area for group in paints for p in group) == pytest.approx(frame.area, rel=1e-4)
    found = measure_joints(carries, {"rear half": paints[0], "front half": paints[1]})
    assert len(found) == 2
    assert max(m.place_mm for m in found) < 1e-3 and max(m.direction_deg for m in found) < 0.1


def test_regions_that_only_come_near_are_left_alone():
    plain = side_by_side(gap=0.2)
    assert all(new is old for old, new in zip(plain, share_edges(plain), strict=True))
    assert find_meetings([Carry(*piece) for piece in plain]) == ()
