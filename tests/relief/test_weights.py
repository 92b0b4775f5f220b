"""Cuts go where they cost least, and never through ground to keep clear."""

import numpy as np
from surfaces import cap

from unwrap.film import Film
from unwrap.relief import relieve


def test_cuts_stay_out_of_ground_to_keep_clear_and_go_where_it_is_cheap():
    v, f = cap(20.0, 45.0, 400)
    piece = relieve(
        v, f, Film(0.039, 0.038), keep_clear=v[:, 0] > 4.0, cost=np.where(v[:, 1] > 0.0, 4.0, 1.0)
    )
    assert piece.within
    assert len(piece.cuts) >= 1
    for cut in piece.cuts:
        assert cut[:, 0].max() < 5.0
        assert cut[0, 1] < 0.5


def test_nothing_is_cut_where_all_is_to_be_kept_clear():
    v, f = cap(20.0, 45.0, 250)
    piece = relieve(v, f, Film(0.039, 0.038), keep_clear=np.ones(len(v), bool))
    assert piece.cuts == ()
    assert not piece.within
    assert any("all of its edges are to be kept clear" in note for note in piece.notes)
    assert any("what would help: less ground to keep clear" in note for note in piece.notes)
