"""A saddle is parted in two, never slit: its lips would overlap."""

import numpy as np
from surfaces import cylinder, saddle

from unwrap.film import Film
from unwrap.relief import part, relieve


def test_a_saddle_is_parted_and_nothing_is_lost():
    v, f = saddle(60.0, 15.0, 350)
    film = Film.softened()
    whole = relieve(v, f, film)
    assert not whole.within
    assert whole.cuts == ()
    assert any("saddle" in note for note in whole.notes)
    parted = part(v, f, film, whole=whole)
    assert parted.within
    assert 2 <= len(parted.sides) <= 4
    assert len(parted.partings) == len(parted.sides) - 1
    a, b, c = np.moveaxis(v[f], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    back = np.zeros(len(f))
    for side in parted.sides:
        back += np.bincount(side.face[side.flat.face], side.flat.areas, minlength=len(f))
        known = side.vertex >= 0
        np.testing.assert_array_equal(side.vertices[known], v[side.vertex[known]])
    np.testing.assert_allclose(back, area, rtol=1e-9)
    first = parted.partings[0]
    assert sorted(first.under + first.over) == list(range(len(parted.sides)))
    # From edge to edge, and along a line of the saddle's symmetry: a half-axis or a diagonal.
    assert np.abs(np.abs(first.line[[0, -1], :2]).max(axis=1) - 30.0).max() < 0.5
    way = first.line[-1, :2] - first.line[0, :2]
    assert np.abs((np.degrees(np.arctan2(way[1], way[0])) + 22.5) % 45.0 - 22.5) < 3.0


def test_what_fits_is_not_parted():
    v, f = cylinder(20.0, 90.0, 30.0, 300)
    parted = part(v, f, Film.softened())
    assert len(parted.sides) == 1
    assert parted.partings == ()


def test_a_flare_is_parted_round_its_axis_and_each_parting_closes_on_itself():
    # A funnel opened along a line from foot to rim. Its curvature lies across the lines round the
    # axis: bands of 3.5 mm ask for a quarter of what the whole does, sectors as much as the whole.
    across, up = 44, 22
    turn, share = np.meshgrid(np.linspace(0.0, 2.0 * np.pi, across + 1), np.linspace(0.0, 1.0, up + 1))
    r = 4.0 + 5.0 * share**2.2
    v = np.stack([r * np.cos(turn), r * np.sin(turn), 14.0 * share], axis=-1).reshape(-1, 3)
    v[turn.ravel() > 6.28] = v[turn.ravel() == 0.0]  # to the last bit: one joint, two edges
    corner = (np.arange(up)[:, None] * (across + 1) + np.arange(across)).ravel()
    square = np.stack([corner, corner + 1, corner + across + 2, corner + across + 1], axis=1)
    f = np.concatenate([square[:, [0, 1, 2]], square[:, [0, 2, 3]]])
    parted = part(v, f, Film.floated())
    assert parted.within
    assert len(parted.sides) == 4
    for parting in parted.partings:
        # Straight lines across the flat shape rose by half of the flare's 14 mm.
        assert np.ptp(parting.line[:, 2]) < 0.3
        # Both ends of the opened joint are left at one place.
        np.testing.assert_allclose(parting.line[0], parting.line[-1], atol=1e-6)


def test_a_parting_keeps_off_ground_to_keep_clear():
    v, f = saddle(60.0, 15.0, 350)
    film = Film.softened()
    free = part(v, f, film, deepest=1).partings[0].line
    # A strip across the way that it would take.
    along = free[-1] - free[0]
    away = np.abs((v - free.mean(axis=0)) @ (along / np.linalg.norm(along)))
    barred = part(v, f, film, keep_clear=away < 6.0, deepest=1)
    if barred.partings:
        line = barred.partings[0].line
        off = np.abs((line - free.mean(axis=0)) @ (along / np.linalg.norm(along)))
        assert off.min() > 4.0
    whole = part(v, f, film, keep_clear=np.ones(len(v), dtype=bool))
    assert len(whole.sides) == 1
    assert not whole.within
