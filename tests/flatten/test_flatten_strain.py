"""Strain per face: known affine maps, needles, and the directions to brush along."""

import numpy as np
import pytest
import surfaces
from hypothesis import given
from hypothesis import strategies as st

from unwrap import Film
from unwrap.flatten import flatten
from unwrap.flatten.strain import crosses, excess, strain


@given(st.floats(0.8, 1.25), st.floats(0.8, 1.25), st.floats(0, np.pi), st.floats(0, 2 * np.pi))
def test_affine_map_gives_its_own_stretches_and_directions(a, b, lean, turn):
    p, f = surfaces.sheet(10.0, 8.0, 30)
    axes = np.array([[np.cos(lean), -np.sin(lean)], [np.sin(lean), np.cos(lean)]])
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    surface = np.column_stack([p, np.zeros(len(p))])
    flat = p @ (spin @ axes @ np.diag([a, b]) @ axes.T).T
    found = strain(surface, flat, f)
    assert np.allclose(found.stretch, [1 / min(a, b), 1 / max(a, b)], rtol=1e-9)
    assert not found.flipped.any()
    if abs(a - b) > 1e-3:
        along = spin @ (axes[:, 1] if b < a else axes[:, 0])
        assert np.allclose(np.abs(found.directions @ along), 1.0, atol=1e-6)


def test_rim_of_a_dome_is_compressed_along_the_rim():
    v, f = surfaces.cap(50.0, 30.0, 600)
    piece = flatten(v, f, Film(0.2, 0.2))
    middles, ways, stretch = crosses(piece.surface, piece.points, piece.faces)
    offset = middles - middles.mean(axis=0)
    rho = np.linalg.norm(offset, axis=1)
    rim = rho > 0.9 * rho.max()
    # The smaller film stretch at the rim runs round it, and is a compression.
    across = np.abs(np.einsum("ij,ij->i", ways[rim, 1], offset[rim]) / rho[rim])
    assert np.median(across) < 0.1
    assert (stretch[rim, 1] < 1.0).all()


def test_needles_follow_their_neighbours_and_are_named():
    v, f = surfaces.cap(50.0, 40.0, 600)
    clean = flatten(v, f, Film(0.001, 0.001))
    rng = np.random.default_rng(3)
    # Split faces by a vertex a hair above the middle of a side: a needle and two sound halves.
    extra, faces = [], []
    chosen = set(rng.choice(len(f), 60, replace=False).tolist())
    for k, (a, b, c) in enumerate(f):
        if k in chosen:
            middle = 0.5 * (v[a] + v[b])
            extra.append(middle + 1e-5 * (v[c] - middle))
            at = len(v) + len(extra) - 1
            faces += [[a, b, at], [b, c, at], [c, a, at]]
        else:
            faces.append([a, b, c])
    pierced = flatten(np.vstack([v, extra]), np.array(faces), Film(0.001, 0.001))
    assert any("60 very thin triangles" in note for note in pierced.notes)
    worst, plain = (p.stretch[:, 0].max() / p.stretch[:, 1].min() for p in (pierced, clean))
    assert worst == pytest.approx(plain, rel=0.01)


def test_excess_counts_in_take_ups():
    film = Film(stretch=0.04, compression=0.01)
    stretch = np.array([[1.0, 1.0], [1.02, 1.0], [1.0, 0.98], [1.08, 0.995]])
    assert np.allclose(excess(stretch, film), [0.0, 0.5, 2.0, 2.0])
    assert np.isinf(excess(np.array([[1.01, 1.0]]), Film(0.0, 0.01))).all()


def test_hundreds_of_needles_down_to_rounding_do_no_harm():
    v, f = surfaces.cap(50.0, 30.0, 300)
    clean = flatten(v, f, Film(0.2, 0.2))
    rng = np.random.default_rng(1)
    extra, faces = [], []
    for a, b, c in f:
        if rng.random() < 0.6:
            middle = 0.5 * (v[a] + v[b])
            extra.append(middle + 10 ** rng.uniform(-9, -3) * (v[c] - middle))
            at = len(v) + len(extra) - 1
            faces += [[a, b, at], [b, c, at], [c, a, at]]
        else:
            faces.append([a, b, c])
    piece = flatten(np.vstack([v, extra]), np.array(faces), Film(0.2, 0.2))
    assert not strain(piece.surface, piece.points, piece.faces).flipped.any()
    assert piece.stretch.max() == pytest.approx(clean.stretch.max(), abs=0.004)
    assert piece.stretch.min() == pytest.approx(clean.stretch.min(), abs=0.004)


@pytest.mark.parametrize("height", [1e-4, 1e-6, 1e-8])
def test_needles_in_most_faces_leave_the_least_worst_strain(height):
    v, f = surfaces.cap(50.0, 60.0, 800)
    clean = flatten(v, f, Film(0.001, 0.001))
    rng = np.random.default_rng(2)
    extra, faces = [], []
    for a, b, c in f:
        if rng.random() < 0.6:
            middle = 0.5 * (v[a] + v[b])
            extra.append(middle + height * (v[c] - middle))
            at = len(v) + len(extra) - 1
            faces += [[a, b, at], [b, c, at], [c, a, at]]
        else:
            faces.append([a, b, c])
    piece = flatten(np.vstack([v, extra]), np.array(faces), Film(0.001, 0.001))
    assert not strain(piece.surface, piece.points, piece.faces).flipped.any()
    worst, plain = (p.stretch[:, 0].max() / p.stretch[:, 1].min() for p in (piece, clean))
    assert worst == pytest.approx(plain, rel=0.002)
