"""The way from a patch to its flat shape, against exact shapes."""

import numpy as np
import pytest
import surfaces
from hypothesis import given, settings
from hypothesis import strategies as st

from unwrap import Film
from unwrap.flatten import flatten, relax
from unwrap.flatten.overlap import overlaps


def ratio(piece):
    return piece.stretch[:, 0].max() / piece.stretch[:, 1].min()


def fit(one, two):
    """Largest distance between two plane point sets after the best rigid motion (no mirror)."""
    a, b = one - one.mean(axis=0), two - two.mean(axis=0)
    z, w = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    turn = np.vdot(z, w)
    return float(np.abs(z * turn / abs(turn) - w).max())


@pytest.mark.parametrize("seed", [0, 1])
def test_wrap_of_flats_comes_out_exact(seed):
    bends = [(20.0, 45.0), (30.0, 30.0), (60.0, -40.0), (61.0, 20.0)]
    v, f, flat = surfaces.bent_sheet(100.0, 40.0, bends, count=800, seed=seed)
    piece = flatten(v, f, Film.set())
    assert np.abs(piece.stretch - 1.0).max() <= 1e-9
    assert fit(piece.points, flat) <= 1e-7
    assert piece.within and not piece.notes


def test_opening_costs_nothing():
    bends = [(20.0, 45.0), (30.0, 30.0), (60.0, -40.0)]
    v, f, flat = surfaces.bent_sheet(100.0, 40.0, bends, count=1500)
    middle = flat[f].mean(axis=1)
    hole = (np.abs(middle[:, 0] - 30) < 15) & (np.abs(middle[:, 1] - 20) < 10)
    hole |= (np.abs(middle[:, 0] - 75) < 8) & (np.abs(middle[:, 1] - 20) < 6)
    used, inverse = np.unique(f[~hole], return_inverse=True)
    piece = flatten(v[used], inverse.reshape(-1, 3), Film.set())
    assert np.abs(piece.stretch - 1.0).max() <= 1e-9
    assert fit(piece.points, flat[used]) <= 1e-7


@pytest.mark.parametrize("degrees", [20, 60, 90])
def test_cap_is_close_to_what_any_map_must_have(degrees):
    v, f = surfaces.cap(50.0, degrees, 2500)
    piece = flatten(v, f, Film(0.001, 0.001))
    a = np.radians(degrees)
    assert ratio(piece) <= 1.005 * a / np.sin(a)
    assert ratio(piece) >= piece.bound


def test_warm_start_ends_at_the_same_shape():
    v, f = surfaces.cap(50.0, 25.0, 800)
    film = Film(0.1, 0.1)
    cold = relax(v, f, film)
    warm = relax(v, f, film, start=cold.points @ np.array([[0.0, 1.0], [-1.0, 0.0]]) * 1.05)
    assert fit(warm.points, cold.points) <= 1e-4
    assert warm.steps <= 5


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10**6), st.floats(-4.0, 4.0))
def test_motion_renumbering_and_scale_change_only_what_they_must(seed, log_scale):
    rng = np.random.default_rng(seed)
    v, f = surfaces.torus(count=120, v=(-60.0, 60.0), seed=seed % 7)
    film = Film(0.02, 0.01)
    plain = flatten(v, f, film)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    if np.linalg.det(turn) < 0:
        turn[:, 0] *= -1
    k = 10.0**log_scale / 60.0
    order = rng.permutation(len(v))
    new = np.empty(len(v), dtype=int)
    new[order] = np.arange(len(v))
    faces = rng.permutation(len(f))
    moved = flatten(k * (v[order] @ turn.T + rng.normal(size=3) * 60.0), new[f][faces], film)
    assert np.allclose(moved.stretch, plain.stretch[faces], atol=2e-4)
    assert fit(moved.points / k, plain.points[order]) <= 0.02


def test_mirrored_patch_gives_the_mirrored_piece():
    v, f = surfaces.torus(count=300, v=(-60.0, 60.0))
    film = Film(0.02, 0.01)
    plain = flatten(v, f, film)
    mirrored = flatten(v * [1, -1, 1], f[:, ::-1], film)
    assert fit(mirrored.points * [1, -1], plain.points) <= 0.02


def test_overlap_is_seen():
    turn = np.linspace(0.0, 2.6 * np.pi, 60)
    inner = np.column_stack([np.cos(turn), np.sin(turn)])
    points = np.vstack([inner * 10.0, inner * 12.0])
    k = np.arange(59)
    faces = np.vstack([np.column_stack([k, k + 60, k + 1]), np.column_stack([k + 1, k + 60, k + 61])])
    assert overlaps(points, faces)
    half = 40
    k = np.arange(half)
    faces = np.vstack([np.column_stack([k, k + 60, k + 1]), np.column_stack([k + 1, k + 60, k + 61])])
    keep, inverse = np.unique(faces, return_inverse=True)
    assert not overlaps(points[keep], inverse.reshape(-1, 3))
