"""What a flat shape asks of the film, and its slopes, against difference quotients."""

import numpy as np
import pytest
from boards import board_of
from surfaces import cap, nose, without

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.metric import metric_of
from unwrap.relief.need import Worst, need_of, pull_on_surface
from unwrap.relief.plan import even_slits, heart
from unwrap.relief.slit import Slit


def test_law_and_its_slopes():
    law = Worst(0.01, 0.05, 8.0)
    s, step = np.linspace(0.8, 1.3, 41), 1e-6
    first, second = law.slopes(s)
    change = (law.value(s + step) - law.value(s - step)) / (2 * step)
    np.testing.assert_allclose(first, change, rtol=1e-5, atol=1e-4)
    change = (law.slopes(s + step)[0] - law.slopes(s - step)[0]) / (2 * step)
    np.testing.assert_allclose(second, change, rtol=1e-5, atol=1e-4)


def test_need_changes_with_the_surface_as_the_pull_says():
    v, f = cap(1.0, 60.0, 60)
    rng = np.random.default_rng(0)
    points = 1.2 * v[:, :2] + 0.01 * rng.normal(size=(len(v), 2))
    law = Worst(0.01, 0.05, 8.0)
    pull = pull_on_surface(v, metric_of(v, f), law, points)
    for _ in range(4):
        way, step = rng.normal(size=v.shape), 1e-6
        up, down = (need_of(metric_of(v + k * step * way, f), law, points) for k in (1, -1))
        assert (pull * way).sum() == pytest.approx((up - down) / (2 * step), rel=1e-4)


def laid_out(v, f, film, count):
    return board_of(flatten(v, f, film, thorough=False), film, count, middling=1500)[0]


def nudged(slits, i, j, by):
    change = by * np.eye(Slit.SIZE)[j]
    return tuple(s.with_numbers(s.numbers() + change) if k == i else s for k, s in enumerate(slits))


def test_need_changes_with_the_slits_as_the_slopes_say():
    v, f = cap(20.0, 60.0, 500)
    board = laid_out(v, f, Film(0.05, 0.02), 300)
    slits = even_slits(board.edges[0], heart(board), 3, 0.5, 0.1)
    trial = board.attempt(slits)
    need, cost = board.slopes(trial)
    step = 0.02 * board.spacing
    for i in range(len(slits)):
        for j in range(Slit.SIZE):
            up, down = (board.moved(trial, nudged(slits, i, j, k * step)) for k in (1, -1))
            assert up.mesh is trial.mesh
            assert need[i, j] == pytest.approx((up.need - down.need) / (2 * step), rel=0.1, abs=3e-3)
            # The edge is a polygon: a foot's way turns at its corners.
            assert cost[i, j] == pytest.approx((up.cost - down.cost) / (2 * step), rel=0.05, abs=0.06)


def test_a_moved_mesh_measures_what_a_new_one_does():
    v, f = cap(20.0, 60.0, 500)
    board = laid_out(v, f, Film(0.05, 0.02), 450)
    slits = even_slits(board.edges[0], heart(board), 3, 0.5, 0.1)
    trial = board.attempt(slits)
    for i in range(3):
        slits = nudged(slits, i, 0, 0.4 * board.spacing)
        slits = nudged(slits, i, 1, 0.3 * board.spacing)
    moved, new = board.moved(trial, slits), board.attempt(slits)
    assert moved.mesh is trial.mesh
    assert moved.need == pytest.approx(new.need, rel=0.02)


def test_a_slit_that_runs_into_an_opening_keeps_to_its_edge():
    v, f = nose(count=500)
    window = v[np.argmax(v @ np.array([0.75, 0.5, 0.35]) / np.linalg.norm(v, axis=1))]
    v, f = without(v, f, window[None], [4.0])
    board = laid_out(v, f, Film(0.09, 0.06), 400)
    outer, opening = board.edges
    ways = np.linalg.norm(outer.ring[:, None] - opening.ring[None], axis=2)
    a, b = np.unravel_index(int(np.argmin(ways)), ways.shape)
    slit = Slit(outer, float(outer.at[a]), opening.ring[b], into=opening)
    trial = board.attempt((slit,))
    assert np.isfinite(trial.need)
    pushed = nudged((slit,), 0, 1, 3.0)[0]
    assert np.linalg.norm(opening.point(opening.nearest(pushed.tip)) - pushed.tip) < 1e-9
    assert (pushed.way(1.5) == pushed.curve()).all()
    # Twice into the same opening would part the piece.
    other = Slit(outer, float(outer.at[a]) + 0.5 * outer.length, opening.ring[b], into=opening)
    assert not np.isfinite(board.attempt((slit, other)).need)
