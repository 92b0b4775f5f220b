"""A saddle is parted in two, never slit: its lips would overlap."""

import numpy as np
from surfaces import saddle

from unwrap.film import Film
from unwrap.relief import part, relieve


def test_a_saddle_is_parted_and_nothing_is_lost():
    v, f = saddle(60.0, 15.0, 350)
    film = Film.softened()
    whole = relieve(v, f, film)
    assert not whole.within
    assert whole.cuts == ()
    assert any("saddle" in note for note in whole.notes)
    parted = part(v, f, film)
    assert parted.within
    assert 2 <= len(parted.pieces) <= 4
    assert len(parted.lines) == len(parted.pieces) - 1
    a, b, c = np.moveaxis(v[f], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    back = sum(np.bincount(p.face, p.areas, minlength=len(f)) for p in parted.pieces)
    np.testing.assert_allclose(back, area, rtol=1e-9)
    for piece in parted.pieces:
        known = piece.vertex >= 0
        np.testing.assert_array_equal(piece.surface[known], v[piece.vertex[known]])
    for line in parted.lines[:1]:
        assert np.abs(np.abs(line[[0, -1], :2]).max(axis=1) - 30.0).max() < 0.5
