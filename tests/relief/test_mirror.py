"""A patch's symmetry is seen on any mesh of it, and only where what cuts cost is symmetric too."""

import numpy as np
import pytest
from surfaces import cap

from unwrap.relief.ground import Ground
from unwrap.relief.mirror import find_mirrors


@pytest.fixture(scope="module")
def dome():
    """An irregular mesh of a dome, seen from above: no vertex has an exact counterpart."""
    v, f = cap(20.0, 50.0, 900)
    return Ground(v, v[:, :2], f, np.arange(len(f)), np.arange(len(v)))


def test_a_dome_is_alike_left_and_right(dome):
    (mirror,) = find_mirrors(dome, np.ones(len(dome.surface)))
    assert mirror.matrix == pytest.approx(np.diag([1.0, -1.0]), abs=0.02)


def test_steps_of_the_price_that_are_alike_left_and_right_do_no_harm(dome):
    x, y, _ = dome.surface.T
    lined = np.where(np.abs(np.abs(y) - 6.0) < 1.0, 0.6, 1.0) * np.where(np.abs(x) < 1.0, 0.6, 1.0)
    assert find_mirrors(dome, lined)


def test_what_is_dear_on_one_side_alone_is_not_alike(dome):
    _, y, _ = dome.surface.T
    assert not find_mirrors(dome, np.where(y > 6.0, 6.0, 1.0))
