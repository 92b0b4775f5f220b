"""Areas carried from plane to plane."""

import numpy as np
import pytest
import shapely

from unwrap.livery.planar import transfer


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
