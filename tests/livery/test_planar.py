"""Areas carried from plane to plane."""

import numpy as np
import pytest
import shapely

from unwrap.livery.planar import join_parts, transfer


def test_an_area_that_folds_is_carried_by_what_it_covers():
    """An outline that crosses itself: letters in an outline and a shadow have been such areas."""
    grid = np.array([[i, j] for i in range(5) for j in range(5)], dtype=float)
    cells = [(k, k + 5, k + 6, k + 1) for k in range(19) if k % 5 != 4]
    source = np.array([grid[list(t)] for a, b, c, d in cells for t in ((a, b, c), (a, c, d))])
    # A bow tie, its two halves wound against each other and one of them laid over twice.
    bow = shapely.Polygon([(0.5, 0.5), (3.5, 3.5), (3.5, 0.5), (0.5, 3.5), (0.5, 0.5), (0.2, 2.0)])
    assert not bow.is_valid
    carried = transfer(bow, source, 2.0 * source)
    assert carried.is_valid
    assert carried.area == pytest.approx(4.0 * shapely.make_valid(bow).area, rel=1e-4)


def test_a_strip_of_a_thousandth_between_others_is_not_lost():
    """Strips of edges of 6, 1 and 7 micrometres, that meet to rounding, as they lie in one triangle."""
    rims = [
        [
            (-0.8331562043659976, -22.85613036797013),
            (0.96684379552181, -22.856130368000585),
            (0.9186191677086321, -22.850325126876573),
            (-0.8331562043654632, -22.850325126847515),
        ],
        [
            (-0.8331562043654638, -22.85032512684992),
            (0.9186191677091675, -22.850325126876637),
            (0.9098667763060364, -22.84927152118156),
            (-0.833156204365368, -22.8492715211522),
        ],
        [
            (-0.833156204365368, -22.8492715211522),
            (0.9098667763060365, -22.84927152118156),
            (0.8480629329888808, -22.841831625238004),
            (-0.8331562043646692, -22.841831625206446),
        ],
    ]
    triangle = np.array([[[-0.39131, -22.69264], [-13.28316, -22.85613], [0.96684, -22.85613]]])
    strips = shapely.polygons(rims)
    joined = join_parts(np.zeros(0, np.int64), strips, np.zeros(3, np.int64), triangle)
    assert len(shapely.get_parts(joined)) == 1
    assert joined.area == pytest.approx(shapely.area(strips).sum(), rel=1e-6)
