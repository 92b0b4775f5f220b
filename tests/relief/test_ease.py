"""Flat shapes at ease: beyond the film on as little as can be."""

import numpy as np
import pytest
from surfaces import cap, compact, cylinder, mapped, sheet

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.overlap import overlaps
from unwrap.relief import relieve
from unwrap.relief.curvature import curvature_of
from unwrap.relief.ease import Beyond, eased, spots_of
from unwrap.relief.ground import Ground
from unwrap.relief.need import window_of

STIFF = Film(0.03, 0.01)
WIDE, HIGH, BROAD, TALL = 100.0, 80.0, 5.0, 2.5


def with_lump(right, up):
    """A flat sheet with one lump on it, flat all round beyond the lump's own disc."""

    def place(x, y):
        away = np.minimum(np.hypot(x - right, y - up) / BROAD, 1.0)
        return x, y, TALL * (1.0 - away**2) ** 2

    return mapped(*sheet(WIDE, HIGH, 6000), place)


@pytest.fixture(scope="module")
def lumped():
    return with_lump(0.65 * WIDE, 0.6 * HIGH)


def test_one_lump_does_not_put_the_rest_beyond_the_film(lumped):
    worst = flatten(*lumped, STIFF)
    calm = eased(worst)
    # The sheet laid down as it is, the lump pressed flat, is beyond the film on the lump's disc at most;
    # a lump that is not crushed quite so much hands a little on to what lies round it.
    disc = np.pi * BROAD**2 / float(calm.areas.sum())
    assert worst.area_beyond > 3 * disc
    assert calm.area_beyond < 2.0 * disc
    assert not calm.overlap and not overlaps(calm.points, calm.faces)
    assert len(spots_of(calm)) <= 3
    assert sum(len(spot) for spot in spots_of(calm)) == calm.beyond.sum()


def test_relief_leaves_no_more_beyond_than_ease_does(lumped):
    piece = relieve(*lumped, STIFF, most=0)
    assert not piece.cuts
    assert piece.area_beyond == pytest.approx(eased(flatten(*lumped, STIFF)).area_beyond, rel=1e-6)
    assert any("no relief cuts are allowed" in note for note in piece.notes)


def test_the_penalty_has_the_slopes_of_its_values():
    law = Beyond(*window_of(STIFF))
    s = np.concatenate([np.linspace(0.6, 1.5, 37), 1.0 + np.array([-0.02, -0.012, 0.004, 0.015])])
    step = 1e-6
    first, second = law.slopes(s)
    assert first == pytest.approx(
        (law.value(s + step) - law.value(s - step)) / (2 * step), rel=1e-4, abs=1e-5
    )
    # Between its corners, where the second derivative jumps.
    there = (law.slopes(s + step)[0] - law.slopes(s - step)[0]) / (2 * step)
    assert np.median(np.abs(second - there) / (1.0 + np.abs(there))) < 1e-4


def test_curvature_is_a_spheres_and_a_barrels():
    sphere, faces = cap(12.0, 60.0, 3000)
    found = curvature_of(Ground.of(sphere, sphere[:, :2], faces))
    assert found == pytest.approx(1.0 / 12.0**2, rel=0.1)
    barrel, faces = cylinder(20.0, 180.0, 60.0, 1500)
    # Its facets' angles add up to a full turn but for what chords of a random mesh leave.
    assert np.abs(curvature_of(Ground.of(barrel, barrel[:, :2], faces))).max() < 0.03 / 20.0**2


def test_slits_go_into_the_one_corner_that_needs_them():
    # Rolled down round two of its sides; where these meet, the corner is a piece of a sphere and all else
    # develops.
    points, faces = sheet(WIDE, HIGH, 6000)
    radius, turn = 8.0, np.radians(60.0)
    inner = np.minimum(points, points.max(axis=0) - radius * turn)
    way = points - inner
    away = np.linalg.norm(way, axis=1)
    keep = (away <= radius * turn)[faces].all(axis=1)
    out = radius * np.sin(away / radius) / np.maximum(away, 1e-12)
    rolled = np.column_stack([inner + out[:, None] * way, radius * np.cos(away / radius)])
    piece = relieve(*compact(rolled, faces[keep]), STIFF)
    assert piece.within
    assert 0 < len(piece.cuts) <= 3
    assert piece.cut_length < 2 * radius
    corner = inner.max(axis=0)
    for cut in piece.cuts:
        assert np.linalg.norm(cut[:, :2] - corner, axis=1).max() < 1.3 * radius
