"""Energies: derivatives against differences, values against the textbook formula."""

import numpy as np
import pytest

from unwrap.flatten.energy import Work, Worst, energy, gradient
from unwrap.flatten.metric import metric_of

SURFACE = np.array([[0.0, 0.0, 0.0], [1.0, 0.1, 0.2], [0.3, 0.9, -0.1], [1.2, 1.1, 0.5]])
FACES = np.array([[0, 1, 2], [1, 3, 2]])


def shape(seed):
    rng = np.random.default_rng(seed)
    return SURFACE[:, :2] * 1.1 + 0.08 * rng.normal(size=(4, 2))


@pytest.mark.parametrize("law", [Work(), Worst(0.01, 0.3, 8.0, 1e-3)])
@pytest.mark.parametrize("seed", range(4))
def test_gradient_is_the_derivative(law, seed):
    metric = metric_of(SURFACE, FACES)
    points = shape(seed)
    slope, _ = gradient(metric, metric.gradients(), metric.areas, law, points)
    total = np.zeros((4, 2))
    np.add.at(total, FACES.ravel(), slope.reshape(-1, 2))
    step = 1e-6
    for i in range(4):
        for k in range(2):
            up, down = points.copy(), points.copy()
            up[i, k] += step
            down[i, k] -= step
            change = energy(metric, metric.areas, law, up) - energy(metric, metric.areas, law, down)
            assert total[i, k] == pytest.approx(change / (2 * step), rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("seed", range(4))
def test_hessian_is_the_second_derivative_where_nothing_is_clamped(seed):
    metric = metric_of(SURFACE, FACES)
    rng = np.random.default_rng(seed)
    # Stretches above 1 keep every second derivative of the work positive.
    points = SURFACE[:, :2] * 1.6 + 0.02 * rng.normal(size=(4, 2))
    _, blocks = gradient(metric, metric.gradients(), metric.areas, Work(), points)
    corner = np.array([[2 * i, 2 * i + 1] for i in range(4)])
    full = np.zeros((8, 8))
    for face, block in zip(FACES, blocks, strict=True):
        dofs = corner[face].ravel()
        full[np.ix_(dofs, dofs)] += block
    step = 1e-5

    def slope_at(p):
        slope, _ = gradient(metric, metric.gradients(), metric.areas, Work(), p)
        total = np.zeros((4, 2))
        np.add.at(total, FACES.ravel(), slope.reshape(-1, 2))
        return total.ravel()

    for dof in range(8):
        move = np.zeros(8)
        move[dof] = step
        change = slope_at(points + move.reshape(4, 2)) - slope_at(points - move.reshape(4, 2))
        assert np.allclose(full[:, dof], change / (2 * step), rtol=1e-5, atol=1e-5)


def test_work_is_the_symmetric_dirichlet_energy_less_its_least():
    s = np.array([0.5, 0.9, 1.0, 1.3])
    assert np.allclose(Work().value(s), s**2 + s**-2 - 2)
