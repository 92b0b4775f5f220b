"""What must not change the livery: the mesh's numbering, where the body stands, its size."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from livery_patches import barrel, flat_side, grid, make_carry

from unwrap.livery.band import lay_band
from unwrap.livery.fit import curve_points, fit_curve
from unwrap.livery.lining import lay_lining


def hump(seed=None, turn=0.0, size=1.0):
    """A side that bulges, numbered at random, turned about its own upright and scaled."""
    at, faces = grid(8, 6)
    points = at * [28.0, 20.0] * size
    x, z = (points / size - [14.0, 10.0]).T
    y = -((14.0**2 - x**2) * (10.0**2 - z**2)) / 9000.0
    c, s = np.cos(turn), np.sin(turn)
    surface = size * np.column_stack([c * x - s * y, s * x + c * y, z])
    if seed is not None:
        rng = np.random.default_rng(seed)
        order = rng.permutation(len(points))
        number = np.argsort(order)
        surface, points = surface[order], points[order]
        faces = number[faces][rng.permutation(len(faces))]
        faces = np.stack([np.roll(f, k) for f, k in zip(faces, rng.integers(0, 3, len(faces)), strict=True)])
    return make_carry(surface, points, faces)


def frame(carry, size=1.0):
    (paint,), _ = lay_lining(
        carry, [(0.6 * size, "#ffffff")], inset=1.5 * size, corner="rounded", radius=3.0 * size
    )
    return paint.area


@settings(max_examples=2, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), turn=st.floats(-3.1, 3.1))
def test_numbering_and_stance_change_nothing(seed, turn):
    plain, other = frame(hump()), frame(hump(seed, turn))
    assert plain.symmetric_difference(other).area < 2e-3 * plain.area


def test_a_body_twice_as_large_has_lines_twice_as_large():
    plain, large = frame(hump()), frame(hump(size=2.0), 2.0)
    assert large.area == pytest.approx(4.0 * plain.area, rel=1e-3)


def test_a_reflected_side_has_the_reflected_line():
    side = hump()
    flip = np.array([1.0, -1.0, 1.0])
    mirrored = make_carry(side.flat.surface * flip, side.flat.points * [-1.0, 1.0], side.flat.faces[:, ::-1])
    one, two = frame(side), frame(mirrored)
    assert two.area == pytest.approx(one.area, rel=1e-6)
    assert two.bounds[0] == pytest.approx(-one.bounds[2], abs=1e-4)


def test_the_mesh_under_a_line_does_not_show():
    fine, (coarse,) = (
        lay_lining(flat_side(nx=31, ny=17), [(0.4, "#ffffff")], inset=2.0)[0][0],
        lay_lining(flat_side(nx=2, ny=1), [(0.4, "#ffffff")], inset=2.0)[0],
    )
    assert fine.area.symmetric_difference(coarse.area).area < 1e-5
    one = lay_band(barrel(round_=48, along=2), 20.0, [(0.5, "#ffffff")])[0][0]
    two = lay_band(barrel(round_=48, along=29), 20.0, [(0.5, "#ffffff")])[0][0]
    assert one.area.symmetric_difference(two.area).area < 1e-3


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    a=st.floats(2.0, 30.0),
    b=st.floats(2.0, 30.0),
    wave=st.floats(0.0, 0.2),
    count=st.integers(2, 5),
)
def test_fitted_curves_keep_to_their_lines_with_few_nodes(a, b, wave, count):
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 1.0 + wave * np.cos(count * t)
    points = np.column_stack([a * radius * np.cos(t), b * radius * np.sin(t)])
    curve = fit_curve(points, closed=True)
    sampled = curve_points(curve, 200)
    way = np.roll(points, -1, axis=0) - points
    for places in (sampled[::7],):
        share = np.einsum("pnj,nj->pn", places[:, None] - points[None], way) / (way**2).sum(axis=1)
        foot = points[None] + np.clip(share, 0, 1)[..., None] * way[None]
        off = np.linalg.norm(places[:, None] - foot, axis=2).min(axis=1)
        assert off.max() < 0.02
    assert len(curve.spans) <= 8 + 6 * count
