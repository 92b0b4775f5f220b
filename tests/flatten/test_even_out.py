"""The worst strain: what it costs, where it ends, and against every way that libigl has."""

import igl
import numpy as np
import pytest
import surfaces
from scipy.optimize import minimize_scalar

from unwrap import Film, flatten
from unwrap.flatten import relax
from unwrap.flatten.energy import stretches
from unwrap.flatten.even_out import _ceiling
from unwrap.flatten.metric import metric_of

NARROW = Film(0.001, 0.001)
MAKERS = {
    "spheroid": surfaces.spheroid,
    "torus": surfaces.torus,
    "barrel end": surfaces.barrel_end,
    "nose": surfaces.nose,
    "saddle": surfaces.saddle,
}


def worst(stretch):
    return stretch[:, 0].max() / stretch[:, 1].min()


def igl_ratios(v, f):
    """Largest over smallest stretch of SLIM, ARAP and LSCM; inf where a face is flipped."""
    v = v / np.sqrt(metric_of(v, f).areas.sum())
    ring = igl.boundary_loop(f)
    angle = 2 * np.pi * np.arange(len(ring)) / len(ring)
    start = igl.harmonic(v, f, ring, np.column_stack([np.cos(angle), np.sin(angle)]) / np.sqrt(np.pi), 1)
    none = np.zeros(0, np.int64), np.zeros((0, 2))
    kind = igl.MappingEnergyType.SYMMETRIC_DIRICHLET
    shapes = [np.asarray(igl.slim_solve(igl.slim_precompute(v, f, start, kind, *none, 0.0), 100))]
    data = igl.ARAPData()
    data.max_iter = 100
    hold = np.array([int(f[0, 0])], dtype=np.int64)
    igl.arap_precomputation(v, f, 2, hold, data)
    shapes.append(np.asarray(igl.arap_solve(start[hold], data, start)))
    ends = np.array([ring[0], ring[len(ring) // 2]], dtype=np.int64)
    shapes.append(np.asarray(igl.lscm(v, f, ends, np.array([[0.0, 0.0], [1.0, 0.0]]))[0]))
    found = []
    for flat in shapes:
        s1, s2 = stretches(metric_of(v, f), flat)
        found.append(s1.max() / s2.min() if s2.min() > 0 else np.inf)
    return found


@pytest.mark.parametrize("name", MAKERS)
def test_lower_than_every_way_of_libigl_and_never_below_the_bound(name):
    v, f = MAKERS[name](count=500)
    piece = flatten(v, f, NARROW)
    assert piece.bound <= worst(piece.stretch) < 0.999 * min(igl_ratios(v, f))


@pytest.mark.parametrize("degrees", [20, 30, 45, 75])
def test_cap_is_within_half_a_hundredth_of_the_best(degrees):
    v, f = surfaces.cap(50.0, degrees, 1000, seed=degrees)
    a = np.radians(degrees)
    assert worst(relax(v, f, NARROW).stretch) <= 1.005 * a / np.sin(a)


def test_window_that_is_not_even_is_used_whole():
    # Whatever can be shifted between growing and shrinking by scale alone must be: what the film takes up
    # of the one and of the other is used up alike.
    v, f = surfaces.cap(50.0, 60.0, 1000)
    film = Film(stretch=0.06, compression=0.02)
    piece = relax(v, f, film)
    middle = 0.5 * (np.log(1.06) + np.log(0.98))
    grow, shrink = np.log(piece.stretch[:, 0].max()) - middle, middle - np.log(piece.stretch[:, 1].min())
    assert grow == pytest.approx(shrink, rel=0.03)


def test_it_ends_as_soon_as_all_is_inside_the_window():
    v, f = surfaces.cap(50.0, 45.0, 1000)
    ratio = 1.117  # between the best there is, 1.1107, and least work, 1.124
    film = Film(stretch=float(np.sqrt(ratio)) - 1.0, compression=1.0 - float(np.sqrt(1.0 / ratio)))
    piece = relax(v, f, film)
    assert (
        piece.worst <= 1.0 and piece.stretch.max() <= film.window[1] and piece.stretch.min() >= film.window[0]
    )


def test_ceiling_is_where_its_cost_is_least():
    t = np.random.default_rng(1).uniform(-1.0, 1.0, (2, 40))
    weights, mu = np.full(40, 1.0 / 40), 0.3

    def cost(top):
        return top - mu * float((weights * np.log(top**2 - t**2)).sum())

    found = _ceiling(t, weights, mu, 1.0)
    best = minimize_scalar(cost, bounds=(1.0, 5.0), method="bounded", options={"xatol": 1e-10})
    # The parabola close to the ceiling must not have come in.
    assert found.top - np.abs(t).max() > 0.2 * mu
    # Near the least the cost is off by the square of what the ceiling is.
    assert found.top == pytest.approx(best.x, rel=1e-4)
    assert found.value == pytest.approx(cost(best.x), rel=1e-9)
