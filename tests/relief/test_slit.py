"""A slit's curve: its slopes against differences, cut shorter, and drawn through a given line."""

from __future__ import annotations

import numpy as np
import pytest

from unwrap.relief.slit import Edge, Slit

TURN = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
RIM = Edge.of(10.0 * np.column_stack([np.cos(TURN), np.sin(TURN)]))
SLIT = Slit(RIM, 3.0, np.array([1.0, 2.0]), bend=1.2, sway=0.7)


@pytest.mark.parametrize("number", range(Slit.SIZE))
def test_slopes_are_what_differences_give(number):
    share = np.linspace(0.0, 1.0, 9)
    step = 1e-5 * (np.arange(Slit.SIZE) == number)
    there, back = (SLIT.with_numbers(SLIT.numbers() + way * step).at(share) for way in (1.0, -1.0))
    assert SLIT.slopes(share)[number] == pytest.approx((there - back) / 2e-5, abs=1e-8)


def test_a_slit_cut_less_deep_stays_on_its_line():
    for factor in (0.95, 0.8):
        shorter = SLIT.way(factor)
        assert shorter == pytest.approx(SLIT.at(factor * np.linspace(0.0, 1.0, len(shorter))))


def test_a_slit_cut_deeper_goes_straight_on():
    deeper = SLIT.way(1.05)
    ahead = SLIT.tip - SLIT.at(np.array([1.0 - 1e-6]))[0]
    beyond = deeper[-1] - SLIT.tip
    assert np.linalg.norm(beyond) == pytest.approx(0.05e6 * np.linalg.norm(ahead), rel=1e-4)
    assert beyond / np.linalg.norm(beyond) == pytest.approx(ahead / np.linalg.norm(ahead), abs=1e-6)


def test_a_slit_along_a_cubic_is_that_cubic():
    found = Slit.along(RIM, SLIT.start, SLIT.at(np.linspace(0.0, 1.0, 4000)))
    assert found.numbers() == pytest.approx(SLIT.numbers(), abs=1e-3)
