"""Fitting slits: the least visible way from an edge to a part on the model."""

import numpy as np
import pytest
from surfaces import cylinder, mapped, sheet

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.relief.fitting import fitting_slit

FILM = Film(0.01, 0.01)


@pytest.fixture(scope="module")
def plate():
    v, f = mapped(*sheet(40.0, 20.0, 600, seed=3), lambda x, y: (x, y, 0 * x))
    return v, f, flatten(v, f, FILM)


def test_the_shortest_slit_is_the_straight_one(plate):
    _, _, flat = plate
    fitting = fitting_slit(flat, [12.0, 14.0, 0.0], 1.0)
    # 6 mm from the nearest edge, less the hole's radius; the foot may stand between two vertices.
    assert 5.5 - 1e-6 <= fitting.length < 5.5 * 1.03
    assert fitting.hole[2] == 1.0
    np.testing.assert_allclose(fitting.at, [12.0, 14.0, 0.0], atol=1e-9)
    assert abs(np.linalg.norm(fitting.slit[-1] - fitting.hole[:2]) - 0.5) < 1e-3
    assert abs(fitting.on_surface[0, 1] - 20.0) < 1e-6


def test_a_slit_goes_where_it_shows_least(plate):
    v, _, flat = plate
    cost = np.where(v[:, 1] > 15.0, 20.0, 1.0)
    fitting = fitting_slit(flat, [12.0, 14.0, 0.0], 1.0, cost=cost)
    assert fitting.on_surface[0, 1] < 15.0
    assert fitting.length < 14.0 * 1.05
    barred = fitting_slit(flat, [12.0, 14.0, 0.0], 1.0, keep_clear=v[:, 1] > 15.0)
    assert barred.on_surface[:, 1].max() < 15.0 + 1.5


def test_a_slit_round_a_barrel_is_a_true_length():
    v, f = cylinder(20.0, 150.0, 60.0, 1200)
    flat = flatten(v, f, FILM)
    angle = np.radians(30.0)
    fitting = fitting_slit(flat, [30.0, -20.0 * np.cos(angle), 20.0 * np.sin(angle)], 2.0)
    assert 20.0 * angle - 1.0 - 0.05 <= fitting.length < (20.0 * angle - 1.0) * 1.03


def test_a_hole_at_an_edge_needs_no_slit(plate):
    fitting = fitting_slit(plate[2], [12.0, 19.8, 0.0], 1.0)
    assert len(fitting.slit) == 0
    assert fitting.length == 0.0


def test_a_fitting_away_from_the_piece_is_refused(plate):
    with pytest.raises(ValueError, match=r"stands 5\.0 mm away"):
        fitting_slit(plate[2], [12.0, 14.0, 5.0], 1.0)
    with pytest.raises(ValueError, match="above 0"):
        fitting_slit(plate[2], [12.0, 14.0, 0.0], 0.0)
