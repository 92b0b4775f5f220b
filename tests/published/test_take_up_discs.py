"""Film discs on a ball against published closed forms."""

import math

import numpy as np
import pytest

from unwrap.coupon.lab import lab_of
from unwrap.coupon.take_up import BALL_DIAMETER, film_of, rim_shrink, smallest_range

# Spherical disc of angular radius alpha: alpha / sin alpha - 1 in per cent; J. Milnor, "A Problem
# in Cartography", Amer. Math. Monthly 76(10), 1969; values computed independently with PROJ
# (azimuthal equidistant, k' = c / sin c, J. P. Snyder, USGS Professional Paper 1395, 1987, (25-2)).
MILNOR = {5: 0.127037, 10: 0.509506, 15: 1.15152, 20: 2.06003, 30: 4.71976, 40: 8.61001, 45: 11.0721}

# Elastic disc of radius a pressed onto a sphere of radius R: hoop strain at the rim a^2 / 8 R^2 in
# per cent, whatever the film's Poisson ratio (shallow-slope plate theory).
RIM = {0.1: 0.125, 0.2: 0.5, 0.3: 1.125, 0.4: 2.0, 0.5: 3.125, 0.6: 4.5, 0.8: 8.0}

# The same theory: the middle grows by (1 - nu) a^2 / 16 R^2, per cent, for nu = 0.3.
MIDDLE = {0.2: 0.175, 0.3: 0.39375, 0.4: 0.7, 0.5: 1.09375}


@pytest.mark.parametrize(("alpha", "excess"), MILNOR.items())
def test_range_is_milnors(alpha, excess):
    disc = BALL_DIAMETER * math.radians(alpha)
    assert 100 * smallest_range(disc) == pytest.approx(excess, rel=1e-5)


@pytest.mark.parametrize(("ratio", "shrink"), RIM.items())
def test_rim_shrinks_as_an_elastic_disc(ratio, shrink):
    assert 100 * rim_shrink(ratio * BALL_DIAMETER) == pytest.approx(shrink, rel=1e-12)
    assert 100 * rim_shrink(ratio * 25.0, ball=25.0) == pytest.approx(shrink, rel=1e-12)


@pytest.mark.parametrize(("ratio", "grow"), MIDDLE.items())
def test_middle_stretches_about_as_an_elastic_disc(ratio, grow):
    """Two theories of the same disc agree on its middle to a tenth."""
    assert 100 * film_of(ratio * BALL_DIAMETER).stretch == pytest.approx(grow, rel=0.1)


def test_film_ratio_is_the_range():
    film = film_of(16.0)
    assert film.ratio == pytest.approx(1 + smallest_range(16.0), rel=1e-12)


# CIE L*a*b* of the sRGB primaries, D65, two-degree observer: from memory.
LAB = {
    "#ffffff": (100.0, 0.0, 0.0),
    "#ff0000": (53.24, 80.09, 67.20),
    "#00ff00": (87.73, -86.18, 83.18),
    "#0000ff": (32.30, 79.19, -107.86),
    "#808080": (53.59, 0.0, 0.0),
}


@pytest.mark.parametrize(("colour", "lab"), LAB.items())
def test_lab_of_screen_colours(colour, lab):
    assert np.abs(lab_of(colour) - lab).max() < 0.06
