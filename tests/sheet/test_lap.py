"""One lip of a relief cut is left full, and nothing else changes."""

import numpy as np
import pytest
import shapely
from surfaces import cap

from unwrap.film import Film
from unwrap.flatten.edges import boundary_edges
from unwrap.relief.draw import cut_curves
from unwrap.relief.fit import fit
from unwrap.relief.ground import Ground
from unwrap.sheet.lap import lapped, lips_of
from unwrap.sheet.outline import outline_of


@pytest.fixture(scope="module")
def slit_cap():
    v, f = cap(20.0, 60.0, 400)
    side = v[:, :2] / np.maximum(np.linalg.norm(v[:, :2], axis=1, keepdims=True), 1e-12)
    chart = 20.0 * np.arccos(np.clip(v[:, 2] / 20.0, -1, 1))[:, None] * side
    rim = 20.0 * np.radians(60.0)
    rays = [np.array([np.cos(a), np.sin(a)]) for a in (0.3, 2.4, 4.5)]
    curves = [np.linspace(rim, 0.3 * rim, 30)[:, None] * ray for ray in rays]
    cut, cuts = cut_curves(Ground.of(v, chart, f), curves)
    return fit(cut, Film.softened(), cuts).piece


def test_the_lips_are_as_long_as_the_film_between_them_and_end_in_the_tip(slit_cap):
    low, high = slit_cap.stretch[:, 1].min(), slit_cap.stretch[:, 0].max()
    for cut in slit_cap.cuts:
        right, left = lips_of(slit_cap, cut)
        np.testing.assert_array_equal(right[-1], left[-1])
        length = np.linalg.norm(np.diff(cut, axis=0), axis=1).sum()
        for lip in (right, left):
            assert length / high <= np.linalg.norm(np.diff(lip, axis=0), axis=1).sum() <= length / low
        # The slit opens to the right of the one and to the left of the other.
        along, across = right[3] - right[0], left[0] - right[0]
        assert along[0] * across[1] - along[1] * across[0] < 0


def test_one_lip_is_left_full_and_the_slit_stays_open(slit_cap):
    plain, _ = outline_of(slit_cap.points, slit_cap.faces)
    full = lapped(plain, slit_cap, 0.2)
    assert full.is_valid
    assert full.contains(plain.buffer(-1e-4))
    gained = full.difference(plain).area
    assert 0.75 * 0.2 * slit_cap.cut_length < gained < 0.2 * slit_cap.cut_length
    for cut in slit_cap.cuts:
        right, left = lips_of(slit_cap, cut)
        wide = np.linalg.norm(right - left, axis=1) > 0.5
        away = shapely.distance(full.exterior, shapely.points(right))
        wide[0] = False  # the mouth itself lies on the edge
        # The strip is 0.2 wide across the slit, hence a little less square to the lip.
        assert (away[wide] > 0.17).all()
        assert (away[wide] <= 0.2 + 1e-6).all()
        assert shapely.distance(full.exterior, shapely.points(left)).max() < 1e-5
        assert shapely.distance(full.exterior, shapely.Point(left[-1])) < 1e-5


def test_no_lap_leaves_the_outline_alone(slit_cap):
    plain, _ = outline_of(slit_cap.points, slit_cap.faces)
    assert lapped(plain, slit_cap, 0.0) is plain


def test_a_short_edge_left_out_makes_no_notch(slit_cap):
    plain, _ = outline_of(slit_cap.points, slit_cap.faces)
    free = boundary_edges(slit_cap.faces)
    rim = free[(np.abs(slit_cap.surface[free][..., 2] - 10.0) < 1e-6).all(axis=1)]
    # Whole runs of the rim, and the same with a single edge of one of them left out.
    whole = lapped(plain, slit_cap, 0.0, rim, 0.6)
    length = np.linalg.norm(slit_cap.points[rim[:, 1]] - slit_cap.points[rim[:, 0]], axis=1)
    inner = [k for k in range(len(rim)) if np.isin(rim[k], np.delete(rim, k, axis=0)).all()]
    short = min(inner, key=lambda k: length[k])
    assert length[short] < 3 * 0.6
    without = lapped(plain, slit_cap, 0.0, np.delete(rim, short, axis=0), 0.6)
    assert whole.area > plain.area + 0.5 * 0.6 * length.sum()
    assert without.area == pytest.approx(whole.area, abs=1e-6)
