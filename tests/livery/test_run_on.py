"""Lines cross joints in one direction: on a dome, where a parallel crosses a meridian squarely."""

import numpy as np
import pytest
import shapely
from livery_patches import cap, make_carry, slit_cap

from unwrap.livery.fit import printed_area
from unwrap.livery.joints import measure_joints
from unwrap.livery.lining import lay_lining_over
from unwrap.livery.meetings import find_meetings
from unwrap.livery.paint import Curve, Paint
from unwrap.livery.run_on import run_on


def half_domes(squeeze=1.0):
    """A cap in two halves that meet along the meridian y = 0, the second turned and squeezed."""
    whole = cap(radius=6.0, half_angle=0.9, rings=14)
    points, faces = whole.flat.points, whole.flat.faces
    upper = points[faces].mean(axis=1)[:, 1] > 0
    turned = (points * [squeeze, 1.0]) @ np.array([[0.6, 0.8], [-0.8, 0.6]]) + [30.0, 4.0]
    return [
        make_carry(whole.flat.surface, points, faces[upper], "upper"),
        make_carry(whole.flat.surface, turned, faces[~upper], "lower"),
    ]


@pytest.mark.parametrize("squeeze", [1.0, 0.97])
@pytest.mark.parametrize("inset", [0.5, 1.3])
def test_a_parallel_crosses_a_meridian_squarely(inset, squeeze):
    carries = half_domes(squeeze)
    laid, _ = lay_lining_over(carries, [(0.3, "#ffffff"), (0.2, None), (0.5, "#aa0000")], inset=inset)
    before = {carry.name: list(group) for carry, group in zip(carries, laid, strict=True)}
    after = run_on(carries, before)
    found = measure_joints(carries, after)
    assert len(found) == 4
    assert max(one.place_mm for one in found) < 5e-3
    assert max(one.direction_deg for one in found) < 1.0
    # Arc length from the meridian's ends: the inset of each line's edges.
    for one in found:
        polar = np.degrees(np.arccos(one.at[2] / 6.0))
        depth = np.radians(np.degrees(0.9) - polar) * 6.0
        assert min(abs(depth - inset - mid) for mid in (0.15, 0.75)) < 0.03
    for name, group in after.items():
        for old, new in zip(before[name], group, strict=True):
            one, two = printed_area(old, 64, "square"), printed_area(new, 64, "square")
            assert one.buffer(0.02).covers(two) and two.buffer(0.02).covers(one)


def test_a_kink_that_a_fit_left_is_halved_between_the_pieces():
    # A strip across the joint whose ends were fitted 5 degrees apart, as a fit may leave them.
    carries = half_domes()
    (meeting,) = [m for m in find_meetings(carries) if set(m.between) == {"upper", "lower"}][:1]
    paints = {}
    for side, name in enumerate(meeting.between):
        start = meeting.flat_at(side, 2.0)
        inward = meeting.inward_at(side, 2.0)
        along = meeting.flat_at(side, 2.2) - meeting.flat_at(side, 1.8)
        lean = np.radians(5.0 if side else 0.0)
        way = np.cos(lean) * inward + np.sin(lean) * along / np.linalg.norm(along)
        steps = np.linspace(0.0, 1.5, 4)[:, None] * way
        curve = Curve((start + steps)[None], closed=False)
        area = shapely.LineString(curve.spans[0]).buffer(0.1, cap_style="flat")
        paints[name] = [Paint("band", "#ffffff", area, (curve,), stroke=0.2, label="strip")]
    (before,) = measure_joints(carries, paints)
    (after,) = measure_joints(carries, run_on(carries, paints))
    assert before.direction_deg > 3.0
    assert after.direction_deg < 1.0


def test_lines_that_graze_the_tip_of_a_cut_meet_across_its_lips():
    # The tip lies 9 of 14 rings in: 3.47 mm from the rim over the surface.
    dome = slit_cap()
    depth = 6.0 * 0.9 * 9 / 14
    insets = depth - 0.3 + np.array([-0.25, 0.0, 0.002, 0.2, 0.29, 0.31])
    for inset in insets:
        laid, _ = lay_lining_over([dome], [(0.3, "#ffffff")], float(inset))
        met = measure_joints([dome], run_on([dome], {"dome": list(laid[0])}))
        assert len(met) == (1 if inset < depth - 0.05 else 0), inset
        assert all(one.place_mm < 0.01 and one.direction_deg < 1.0 for one in met), (inset, met)
