"""Lines pass small notches of the edge straight, and follow everything else."""

import pytest
import shapely
from livery_patches import bent_panel, flat_side

from unwrap.livery.fit import printed_area
from unwrap.livery.ground import Ground
from unwrap.livery.lining import lay_lining
from unwrap.livery.notches import find_notches

PANEL = shapely.box(0, 0, 40, 20)


def bitten(*bites):
    """A panel, all but flat, with bites taken out of it."""
    return bent_panel(PANEL.difference(shapely.union_all(bites)), radius=4e4)


def notches(carry):
    ground = Ground([carry])
    return [run for loop in ground.loops for run in find_notches(ground, loop)]


@pytest.mark.parametrize("centre", [(40.2, 9.0), (40.0, 15.0), (12.0, -0.1), (-0.2, 5.0)])
def test_a_line_passes_a_bolt_hole_cut_through_by_the_edge(centre):
    side = bitten(shapely.Point(centre).buffer(0.35))
    assert len(notches(side)) == 1
    (paint,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=0.8)
    frame = shapely.box(0.8, 0.8, 39.2, 19.2).difference(shapely.box(1.3, 1.3, 38.7, 18.7))
    # The rounding of the panel and of its strips leaves less than 0.002 mm along 118 mm.
    assert paint.area.symmetric_difference(frame).area < 0.2
    assert sum(len(curve.spans) for curve in paint.curves) <= 8


def test_a_line_that_runs_over_a_notch_goes_on_behind_it():
    bite = shapely.box(18.0, -1.0, 19.0, 1.0)
    (paint,), _ = lay_lining(bitten(bite), [(0.5, "#ffffff")], inset=0.3)
    frame = shapely.box(0.3, 0.3, 39.7, 19.7).difference(shapely.box(0.8, 0.8, 39.2, 19.2)).difference(bite)
    assert printed_area(paint).symmetric_difference(frame).area < 0.2


@pytest.mark.parametrize(
    "bite",
    [
        shapely.Point(20, -6).buffer(11, quad_segs=16),  # a wheel's arch
        shapely.box(30, 15, 41, 21),  # a step
        shapely.box(18, -1, 21, 2),  # a notch too wide to pass
        shapely.Polygon([(-1, -1), (1.5, -1), (-1, 1.5)]),  # a canted corner
    ],
)
def test_bends_steps_and_corners_are_no_notches(bite):
    side = bitten(bite)
    assert notches(side) == []
    (paint,), _ = lay_lining(side, [(0.5, "#ffffff")], inset=0.8)
    panel = PANEL.difference(bite)
    lines = [panel.buffer(-d, join_style="mitre", mitre_limit=20) for d in (0.8, 1.3)]
    assert paint.area.symmetric_difference(lines[0].difference(lines[1])).area < 0.35


def test_a_whole_side_has_none():
    assert notches(flat_side()) == []
