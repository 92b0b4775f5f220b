"""Energies: derivatives against differences, values against the textbook formula."""

import numpy as np
import pytest

from unwrap.flatten.energy import Work, derivatives, energy, forces_of, stretches
from unwrap.flatten.metric import metric_of

SURFACE = np.array([[0.0, 0.0, 0.0], [1.0, 0.1, 0.2], [0.3, 0.9, -0.1], [1.2, 1.1, 0.5]])
FACES = np.array([[0, 1, 2], [1, 3, 2]])


def shape(seed):
    rng = np.random.default_rng(seed)
    return SURFACE[:, :2] * 1.1 + 0.08 * rng.normal(size=(4, 2))


def gradient(law, points):
    metric = metric_of(SURFACE, FACES)
    (slope,), _, _ = derivatives(metric, forces_of(law, metric.areas), points)
    total = np.zeros((4, 2))
    for corner in range(3):
        np.add.at(total, metric.faces[:, corner], slope[:, corner].T)
    return total


def hessian(law, points):
    metric = metric_of(SURFACE, FACES)
    _, same, pair = derivatives(metric, forces_of(law, metric.areas), points)
    full = np.zeros((4, 2, 4, 2))
    for m, face in enumerate(metric.faces):
        for i in range(3):
            v, w = face[i], face[(i + 1) % 3]
            xx, xy, yy = same[:, i, m]
            full[v, :, v] += [[xx, xy], [xy, yy]]
            block = pair[:, i, m].reshape(2, 2)
            full[v, :, w] += block
            full[w, :, v] += block.T
    return full.reshape(8, 8)


@pytest.mark.parametrize("seed", range(4))
def test_gradient_is_the_derivative(seed):
    law = Work()
    metric = metric_of(SURFACE, FACES)
    points = shape(seed)
    slope = gradient(law, points)
    step = 1e-6
    for i in range(4):
        for k in range(2):
            up, down = points.copy(), points.copy()
            up[i, k] += step
            down[i, k] -= step
            change = energy(metric, metric.areas, law, up) - energy(metric, metric.areas, law, down)
            assert slope[i, k] == pytest.approx(change / (2 * step), rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("seed", range(4))
def test_hessian_is_the_second_derivative_where_nothing_is_clamped(seed):
    rng = np.random.default_rng(seed)
    # Stretches above 1 keep every second derivative of the work positive.
    points = SURFACE[:, :2] * 1.6 + 0.02 * rng.normal(size=(4, 2))
    full = hessian(Work(), points)
    step = 1e-5
    for dof in range(8):
        move = np.zeros(8)
        move[dof] = step
        move = move.reshape(4, 2)
        change = gradient(Work(), points + move) - gradient(Work(), points - move)
        assert np.allclose(full[:, dof], change.ravel() / (2 * step), rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("seed", range(4))
def test_clamped_hessian_is_never_negative(seed):
    rng = np.random.default_rng(seed)
    values = np.linalg.eigvalsh(hessian(Work(), SURFACE[:, :2] * 0.5 + 0.1 * rng.normal(size=(4, 2))))
    assert values.min() >= -1e-9 * values.max()


def test_work_is_the_symmetric_dirichlet_energy_less_its_least():
    s = np.array([0.5, 0.9, 1.0, 1.3])
    assert np.allclose(Work().value(s), s**2 + s**-2 - 2)


def test_slopes_of_other_forces_are_the_derivative_of_the_stretches():
    metric = metric_of(SURFACE, FACES)
    points = shape(0)
    f1, f2 = np.array([0.7, 0.2]), np.array([-0.4, 0.5])
    slope = derivatives(metric, forces_of(Work(), metric.areas), points, (f1, f2))[0][1]
    found = np.zeros((4, 2))
    for corner in range(3):
        np.add.at(found, metric.faces[:, corner], slope[:, corner].T)
    for vertex in range(4):
        for axis in range(2):
            step = np.zeros((4, 2))
            step[vertex, axis] = 1e-6
            ends = [stretches(metric, points + sign * step) for sign in (1, -1)]
            change = sum(f @ (up - down) for f, up, down in zip((f1, f2), *ends, strict=True))
            assert found[vertex, axis] == pytest.approx(change / 2e-6, rel=1e-6, abs=1e-9)
