"""The bound: near the known best on caps, and never above what a flat shape attains."""

import igl
import numpy as np
import pytest
import shapely
import surfaces
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import Triangulation

from unwrap import Film
from unwrap.flatten import distortion_bound, flatten
from unwrap.flatten.disc_bounds import _girth_of_two
from unwrap.flatten.discs import Discs, extreme
from unwrap.flatten.energy import stretches
from unwrap.flatten.metric import metric_of


@pytest.mark.parametrize("degrees", [20, 45, 60])
def test_bound_of_a_cap_is_within_a_hundredth_of_the_best(degrees):
    a = np.radians(degrees)
    best = a / np.sin(a)
    bound = distortion_bound(*surfaces.cap(50.0, degrees, 2500))
    # The facets' own metric differs from the sphere's by about (facet angle)^2 / 24.
    assert 0.99 * best <= bound <= best * (1.0 + 2e-3)


def test_flat_and_bent_patches_have_no_bound():
    v, f, _ = surfaces.bent_sheet(60.0, 30.0, [(20.0, 60.0), (40.0, -30.0)], count=300)
    assert distortion_bound(v, f) == pytest.approx(1.0, abs=1e-9)


def test_cone_tip_has_the_bound_of_its_angle():
    # 2 pi r / L of a disc round the tip: 1 / sin(half apex angle).
    rng = np.random.default_rng(0)
    p = surfaces.disc_points(600)
    f = surfaces.triangulated(np.vstack([[0.0, 0.0], p[np.linalg.norm(p, axis=1) > 0.06]]))
    p = np.vstack([[0.0, 0.0], p[np.linalg.norm(p, axis=1) > 0.06]])
    p = p @ np.linalg.qr(rng.normal(size=(2, 2)))[0]
    half = np.radians(70.0)
    rho = np.linalg.norm(p, axis=1)
    v = 20.0 * np.column_stack([p * np.sin(half), -rho * np.cos(half)])
    if np.linalg.det(np.column_stack([p[f[0, 1]] - p[f[0, 0]], p[f[0, 2]] - p[f[0, 0]]])) < 0:
        f = f[:, ::-1]
    bound = distortion_bound(v, f)
    assert 0.97 / np.sin(half) <= bound <= 1.01 / np.sin(half)


@pytest.mark.parametrize("wave", [0.3, 0.4])
def test_saddle_point_has_the_bound_of_its_angle(wave):
    # Rays from the middle to a wavy closed line on the unit sphere: flat but for the middle, round which
    # the angles add up to the line's length, more than a full turn. Every ray laid down true to length at
    # an even angle asks for just that ratio, and Saddle's two parts meet there.
    p = surfaces.disc_points(1500)
    p = np.vstack([[0.0, 0.0], p[np.linalg.norm(p, axis=1) > 0.04]])
    f = surfaces.triangulated(p)
    turn, rho = np.arctan2(p[:, 1], p[:, 0]), np.linalg.norm(p, axis=1)

    def on_sphere(a):
        lean = wave * np.cos(2.0 * a)
        return np.column_stack([np.cos(lean) * np.cos(a), np.cos(lean) * np.sin(a), np.sin(lean)])

    bound = distortion_bound(20.0 * rho[:, None] * on_sphere(turn), f)
    line = on_sphere(np.linspace(0.0, 2.0 * np.pi, 20001))
    excess = np.linalg.norm(np.diff(line, axis=0), axis=1).sum() / (2.0 * np.pi)
    assert excess > 1.03
    assert 0.97 * excess <= bound <= 1.005 * excess


def test_saddles_and_long_domes_have_strong_bounds():
    # Twice and more of what discs round one place, or their area, would prove.
    for (v, f), least in ((surfaces.saddle(count=700), 1.085), (surfaces.torus(count=700), 1.1)):
        piece = flatten(v, f, Film(0.001, 0.001))
        bound = distortion_bound(v, f)
        assert least <= bound <= piece.stretch[:, 0].max() / piece.stretch[:, 1].min()


def test_girth_of_two_discs_is_that_of_their_convex_hull():
    for r, q, apart in ((3.0, 1.0, 5.0), (1.0, 1.0, 0.5), (2.0, 7.0, 1.0), (0.1, 2.0, 4.0)):
        discs = shapely.Point(0, 0).buffer(r, 2000), shapely.Point(apart, 0).buffer(q, 2000)
        hull = shapely.convex_hull(shapely.union(*discs))
        found = _girth_of_two(np.array([r]), np.array([q]), np.array([apart]))[0]
        assert found == pytest.approx(hull.length, rel=1e-5)


def test_small_opening_takes_off_no_more_than_its_radius():
    a, hole = np.radians(60.0), 3.0
    v, f = surfaces.cap(50.0, 60.0, 2500)
    pierced = surfaces.without(v, f, [[0.0, 0.0, 50.0]], [hole])
    bound = distortion_bound(*pierced)
    # Ways start at the opening's rim instead of its middle; the opening's faces are cut whole.
    share = 1.0 - (hole + 2.5) / (50.0 * a)
    assert share * a / np.sin(a) <= bound <= a / np.sin(a) * 1.002


def test_wide_opening_leaves_a_bend_free():
    v, f = surfaces.bent_sheet(60.0, 40.0, [(20.0, 60.0), (40.0, 60.0)], count=600)[:2]
    v, f = surfaces.without(v, f, [v.mean(axis=0)], [12.0])
    assert distortion_bound(v, f) == pytest.approx(1.0, abs=1e-9)


MAKERS = {
    "cap": lambda seed: surfaces.cap(30.0, 70.0, 250, seed),
    "torus": lambda seed: surfaces.torus(count=250, seed=seed),
    "saddle": lambda seed: surfaces.saddle(count=250, seed=seed),
    "nose": lambda seed: surfaces.nose(count=300, seed=seed),
    "spheroid": lambda seed: surfaces.spheroid(count=250, seed=seed),
}


@settings(max_examples=6, deadline=None)
@given(st.sampled_from(sorted(MAKERS)), st.integers(0, 1000))
def test_no_flat_shape_beats_the_bound(name, seed):
    v, f = MAKERS[name](seed)
    bound = distortion_bound(v, f)
    ring = igl.boundary_loop(f)
    angle = 2 * np.pi * np.arange(len(ring)) / len(ring)
    harmonic = igl.harmonic(v, f, ring, np.column_stack([np.cos(angle), np.sin(angle)]), 1)
    data = igl.slim_precompute(
        v,
        f,
        harmonic,
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, np.int64),
        np.zeros((0, 2)),
        0.0,
    )
    for flat in (harmonic, np.asarray(igl.slim_solve(data, 10)), flatten(v, f, Film(0.001, 0.001)).points):
        s1, s2 = stretches(metric_of(v, f), flat)
        if s2.min() > 0:
            assert s1.max() / s2.min() >= bound


@pytest.mark.parametrize("seed", range(3))
def test_lines_laid_back_are_as_long_as_on_the_surface(seed):
    v, f = surfaces.cap(50.0, 40.0, 250, seed)
    flat = v[:, :2] * 1.1
    rng = np.random.default_rng(seed)
    ends = rng.uniform(-20.0, 20.0, (2, 6, 2))
    lengths = Discs(v, f, flat).laid_back.length(*ends)
    # The same lines laid back in many small steps through the faces' own maps.
    find = Triangulation(*flat.T, f).get_trifinder()
    for start, end, length in zip(*ends, lengths, strict=True):
        place = start + np.linspace(0.0, 1.0, 40001)[:, None] * (end - start)
        face = find(*(0.5 * (place[1:] + place[:-1])).T)
        a, b, c = (flat[f[face, k]] for k in range(3))
        basis = np.stack([b - a, c - a], axis=2)
        part = np.linalg.solve(basis, (place[1:] - place[:-1])[:, :, None])[:, :, 0]
        back = part[:, :1] * (v[f[face, 1]] - v[f[face, 0]]) + part[:, 1:] * (v[f[face, 2]] - v[f[face, 0]])
        assert length == pytest.approx(np.linalg.norm(back, axis=1).sum(), rel=1e-4)


def test_lines_round_a_disc_are_never_shorter_than_told():
    v, f = surfaces.saddle(count=800)
    discs = Discs(v, f, v[:, :2])
    centre = np.array([1.0, -2.0])
    rings = discs.rings(centre, 20.0)
    turn = np.linspace(0.0, 2.0 * np.pi, 401)
    for wave in (0.0, 0.1, 0.3):
        line = centre + (12.0 * (1.0 + wave * (1.0 + np.cos(3.0 * turn))))[:, None] * np.column_stack(
            [np.cos(turn), np.sin(turn)]
        )
        round_ = discs.laid_back.length(line[:-1], line[1:]).sum()
        assert 0.5 * round_ < discs.girth(rings).beyond(11.99) <= round_


def test_extreme_against_sampling():
    rng = np.random.default_rng(1)
    for _ in range(5):
        tri = rng.normal(size=(3, 2)) * 1.5 + np.array([4.0, 1.0])
        form = np.array([2.0, 0.7, 1.0])
        w = rng.dirichlet(np.ones(3), 20_000) @ tri
        e = w / np.linalg.norm(w, axis=1)[:, None]
        speed = np.sqrt(form[0] * e[:, 0] ** 2 + 2 * form[1] * e[:, 0] * e[:, 1] + form[2] * e[:, 1] ** 2)
        found = float(extreme(form[:, None], tri[None], np.array([False]))[0])
        assert speed.max() <= found + 1e-12 and found <= speed.max() * 1.02


def test_places_on_long_faces_are_found_where_they_lie():
    # Near one end of a plate of long strips stand many small faces, whose middles are nearer.
    x = np.linspace(0.0, 2.0, 12)
    near = np.array([[a, b] for a in x for b in (0.0, 0.1, 0.2)])
    far = np.array([[a, 40.0] for a in x[[0, 4, 8, 11]]])
    p = np.concatenate([near, far])
    f = surfaces.triangulated(p)
    v = np.column_stack([p, np.zeros(len(p))])
    discs = Discs(v, f, p)
    for place in ([1.0, 0.5], [0.7, 3.0], [1.9, 20.0], [0.1, 39.0]):
        np.testing.assert_allclose(discs.on_surface(np.array(place))[:2], place, atol=1e-9)
