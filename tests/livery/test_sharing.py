"""Lines run on over regions whose edges meet, whatever their vertices."""

import numpy as np
import pytest
import shapely
from livery_patches import flat_side, make_carry

from unwrap.livery.carry import Carry
from unwrap.livery.ground import Ground
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


def over_and_under(shift, hair=None):
    """A lower and an upper part of a side that meet at z = 10, the upper one's end `shift` mm higher.

    The lower part has a corner on its end 0.02 mm below the common edge; with `hair`, and one
    on the common edge that far from its end.
    """
    ends = [[0, 0], [30, 0], [30, 9.98], [30, 10], [0, 10]]
    lower = np.array(ends if hair is None else [*ends[:4], [30 - hair, 10], *ends[4:]], dtype=float)
    faces = np.array([[0, 1, k] for k in (2,)] + [[0, k, k + 1] for k in range(2, len(lower) - 1)])
    upper = np.array([[0, 10], [30, 10 - shift], [30, 20], [0, 20]], dtype=float)
    out = []
    for name, points, tris in (("lower", lower, faces), ("upper", upper, np.array([[0, 1, 2], [0, 2, 3]]))):
        surface = np.column_stack([points[:, 0], np.zeros(len(points)), points[:, 1]])
        carry = make_carry(surface, points, tris, name)
        out.append((carry.patch, carry.flat))
    return out


@pytest.mark.parametrize("shift", [0.0, 0.004, 0.012])
def test_a_corner_on_an_edge_that_only_ends_here_is_not_taken_over(shift):
    # Bridging moves a corner by a few thousandths: it then lies nearer to the one below than to its own.
    carries = [Carry(*piece) for piece in share_edges(over_and_under(shift))]
    ground = Ground(carries)
    assert len(ground.loops) == 1
    assert len(ground.loops[0]) == 7
    paints, _ = lay_lining_over(carries, [(0.4, "#ffffff")], inset=2.0)
    frame = shapely.box(2, 2, 28, 18).difference(shapely.box(2.4, 2.4, 27.6, 17.6))
    assert sum(p.area.area for group in paints for p in group) == pytest.approx(frame.area, rel=2e-3)


@pytest.mark.parametrize("hair", [2e-6, 8e-6])
def test_two_corners_of_a_piece_a_hair_apart_stay_two(hair):
    # A limit at 30 beside a corner that the file has rounded to 30 - 2e-6: both are within what counts
    # as one place, seen from the other piece.
    carries = [Carry(*piece) for piece in over_and_under(0.0, hair)]
    ground = Ground(carries)
    sides = np.stack([ground.faces, np.roll(ground.faces, -1, axis=1)], axis=2).reshape(-1, 2)
    assert (sides[:, 0] != sides[:, 1]).all()
    assert len(np.unique(sides, axis=0)) == len(sides)
    paints, _ = lay_lining_over(carries, [(0.4, "#ffffff")], inset=2.0)
    assert all(len(group) == 1 for group in paints)
