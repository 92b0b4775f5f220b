"""The first flat shape: exact where it can be, closed round every vertex, flip-free however deep."""

import numpy as np
import pytest
import surfaces

from unwrap import Film, flatten
from unwrap.flatten import relax
from unwrap.flatten.defects import spread_defects
from unwrap.flatten.develop import developments
from unwrap.flatten.energy import stretches
from unwrap.flatten.means import Means, edge_weights
from unwrap.flatten.metric import metric_of
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.system import System


def prepared(v, f):
    v = v / np.sqrt(metric_of(v, f).areas.sum())
    metric = metric_of(v, f)
    return metric, System(metric.faces, v)


def tube(radius, length, around=48, along=16):
    """A barrel wall closed on itself: an outer edge at either end."""
    turn = 2 * np.pi * np.arange(around) / around
    z = np.linspace(0.0, length, along + 1)
    v = np.array([[radius * np.cos(a), radius * np.sin(a), h] for h in z for a in turn])
    i, j = (k.ravel() for k in np.meshgrid(np.arange(along), np.arange(around), indexing="ij"))
    a, b = i * around + j, i * around + (j + 1) % around
    return v, np.vstack([np.column_stack([a, b, b + around]), np.column_stack([a, b + around, a + around])])


def test_scale_of_a_cap_is_that_of_the_stereographic_map():
    # Conformal with the rim true to length: sigma = sec^2(a/2)^-1 sec^2(c/2) (Snyder, USGS PP 1395, 21-1a).
    a = np.radians(60.0)
    v, f = surfaces.cap(1.0, 60.0, 2000)
    metric, system = prepared(v, f)
    u = spread_defects(metric, edge_weights(metric, system), Means(system))
    c = np.arccos(np.clip(v[:, 2], -1.0, 1.0))
    expected = -2.0 * np.log(np.cos(a / 2) / np.cos(c / 2))
    assert np.abs(u - expected).max() <= 0.02 * expected.max()


def test_openings_of_a_developable_have_no_defect():
    v, f, flat = surfaces.bent_sheet(100.0, 40.0, [(20.0, 45.0), (30.0, 30.0), (60.0, -40.0)], count=1200)
    middle = flat[f].mean(axis=1)
    hole = (np.abs(middle - [30.0, 20.0]) < [15.0, 10.0]).all(axis=1)
    hole |= (np.abs(middle - [75.0, 20.0]) < [8.0, 6.0]).all(axis=1)
    v, f = surfaces.compact(v, f[~hole])
    metric, system = prepared(v, f)
    u = spread_defects(metric, edge_weights(metric, system), Means(system))
    assert np.abs(u).max() <= 1e-9
    s1, s2 = stretches(metric, next(developments(metric, system)))
    assert max(s1.max() - 1.0, 1.0 - s2.min()) <= 1e-9


@pytest.mark.parametrize("degrees", [120, 165])
def test_deep_cap_is_laid_flat_and_close_to_the_best(degrees):
    v, f = surfaces.cap(50.0, degrees, 800)
    piece = flatten(v, f, Film.set())
    a = np.radians(degrees)
    assert not piece.overlap and not piece.within
    assert any("no flat shape without cuts could fit" in note for note in piece.notes)
    ratio = piece.stretch[:, 0].max() / piece.stretch[:, 1].min()
    # Steeper than a hemisphere the facets take their toll at the narrow rim.
    assert piece.bound <= ratio <= 1.12 * a / np.sin(a)


def test_bottle_far_deeper_than_its_edge_is_long():
    v, f = surfaces.barrel_end(length=400.0, count=800)
    piece = flatten(v, f, Film.set())
    assert not overlaps(piece.points, piece.faces)
    assert piece.bound > 5.0


def test_tube_closed_on_itself_becomes_a_ring_and_says_what_that_costs():
    # Both edges are 2 pi r long on the tube. On the sheet the one lies inside the other: the outer
    # is longer by 2 pi times the least distance between them, the wall's length h at smin.
    radius, length = 20.0, 15.0
    v, f = tube(radius, length)
    piece = flatten(v, f, Film.set())
    assert not piece.overlap and not piece.within
    low, high = 1.0 / piece.stretch[:, 0].max(), 1.0 / piece.stretch[:, 1].min()
    facets = 48 * np.sin(np.pi / 48) / np.pi
    assert (high - low) * radius * facets >= low * length * 0.999


def test_patch_with_a_handle_is_refused_with_what_to_do():
    n, m = 24, 12
    u, w = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    a, b = 2 * np.pi * u / n, 2 * np.pi * w / m
    v = np.stack([(3 + np.cos(b)) * np.cos(a), (3 + np.cos(b)) * np.sin(a), np.sin(b)], -1).reshape(-1, 3)
    i, r = (u * m + w).ravel(), ((u + 1) % n * m + w).ravel()
    up, both = (u * m + (w + 1) % m).ravel(), ((u + 1) % n * m + (w + 1) % m).ravel()
    f = np.vstack([np.column_stack([i, r, both]), np.column_stack([i, both, up])])
    with pytest.raises(ValueError, match=r"1 handle.*open it along a joint"):
        flatten(v, f[1:], Film.set())


@pytest.mark.parametrize("size", [1e-4, 1e4])
def test_tiny_and_huge_are_alike(size):
    v, f = surfaces.torus(count=200, v=(-60.0, 60.0))
    v = v / np.abs(v).max()
    film = Film(0.02, 0.01)
    assert np.allclose(relax(v * size, f, film).stretch, relax(v, f, film).stretch, atol=1e-6)


def test_needles_leave_the_first_shape_alone():
    v, f = surfaces.cap(50.0, 60.0, 500)
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
    film = Film(0.5, 0.5)
    clean = relax(v, f, film, thorough=False)
    pierced = relax(np.vstack([v, extra]), np.array(faces), film, thorough=False)
    assert np.abs(pierced.stretch.max() - clean.stretch.max()) <= 0.01
    assert np.abs(pierced.stretch.min() - clean.stretch.min()) <= 0.01
