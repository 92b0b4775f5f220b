"""From a patch to a flat piece with relief cuts."""

import numpy as np
import pytest
from surfaces import cap, cylinder, mapped, nose, sheet, without

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.overlap import overlaps
from unwrap.relief import relieve
from unwrap.relief.chart import chart_of

SOFT = Film(0.025, 0.0238)  # window ratio 1.05


@pytest.fixture(scope="module")
def cut_cap():
    v, f = cap(20.0, 45.0, 700)
    return v, f, relieve(v, f, SOFT)


def test_a_piece_within_the_film_is_what_flatten_gives():
    v, f = cylinder(20.0, 90.0, 30.0, 400)
    plain, relieved = flatten(v, f, SOFT), relieve(v, f, SOFT)
    np.testing.assert_array_equal(plain.points, relieved.points)
    np.testing.assert_array_equal(plain.faces, relieved.faces)
    assert relieved.cuts == ()


def test_a_cap_is_brought_within_the_film(cut_cap):
    v, f, piece = cut_cap
    assert not flatten(v, f, SOFT).within
    assert piece.within
    assert piece.notes == ()
    # The best even set of radial slits has a length of 0.98 R (found by trying them all).
    assert 0.3 * 20 < piece.cut_length < 1.05 * 0.98 * 20
    assert piece.stretch[:, 1].min() > 0


def test_a_cut_piece_glued_back_is_the_uncut_patch(cut_cap):
    v, f, piece = cut_cap
    known = piece.vertex >= 0
    np.testing.assert_array_equal(piece.surface[known], v[piece.vertex[known]])
    a, b, c = np.moveaxis(v[f], 1, 0)
    whole = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    np.testing.assert_allclose(np.bincount(piece.face, piece.areas), whole, rtol=1e-9)
    normal = np.cross(b - a, c - a)
    made = piece.surface[piece.faces]
    off = np.einsum("mkx,mx->mk", made - a[piece.face][:, None], normal[piece.face])
    assert np.abs(off).max() < 1e-9
    # Welded by place, the parts close into one patch with the input's Euler number.
    _, weld = np.unique(np.round(piece.surface, 9), axis=0, return_inverse=True)
    glued = weld[piece.faces]
    edges = np.unique(np.sort(glued[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    assert len(np.unique(glued)) - len(edges) + len(glued) == 1


def test_cuts_begin_on_an_edge(cut_cap):
    _, _, piece = cut_cap
    rim = 20 * np.cos(np.radians(45))
    for cut in piece.cuts:
        assert abs(cut[0, 2] - rim) < 0.05
        assert cut[-1, 2] > rim + 1.0


def test_what_is_alike_left_and_right_is_cut_alike():
    v, f = nose(count=400)
    piece = relieve(v, f, Film(0.09, 0.06))
    assert piece.within
    assert len(piece.cuts) >= 2
    ends = np.array([[*cut[0], *cut[-1]] for cut in piece.cuts])
    other = ends * [1, -1, 1, 1, -1, 1]
    gap = np.abs(ends[:, None] - other[None]).max(axis=2).min(axis=1)
    # The mesh is irregular, hence not quite alike: within a third of one of its edges, 2.4 mm long.
    assert gap.max() < 0.8


def test_a_piece_with_openings_that_cross_when_uncut_is_still_planned():
    v, f = nose(count=450)
    windows = [
        v[np.argmax(v @ np.array([0.75, 0.5 * side, 0.35]) / np.linalg.norm(v, axis=1))] for side in (-1, 1)
    ]
    v, f = without(v, f, np.array(windows), [3.5, 3.5])
    film = Film(0.09, 0.06)
    uncut = flatten(v, f, film)
    assert not overlaps(chart_of(uncut), f)
    piece = relieve(v, f, film)
    assert piece.within
    assert not overlaps(piece.points, piece.faces)
    assert piece.uncut is not None


def test_what_cannot_be_done_says_what_would_help():
    v, f = cap(20.0, 60.0, 500)
    piece = relieve(v, f, Film(0.005, 0.005), most=1)
    assert not piece.within
    assert any("more cuts than 1" in note for note in piece.notes)
    none = relieve(v, f, Film(0.005, 0.005), most=0)
    assert none.cuts == ()
    assert any("no relief cuts are allowed" in note for note in none.notes)
    assert any("what would help: cuts" in note for note in none.notes)


def test_the_best_that_one_slit_can_do_is_returned():
    v, f = cap(20.0, 60.0, 900)
    film = Film.softened()
    whole = relieve(v, f, film, most=0)
    piece = relieve(v, f, film, most=1)
    assert not piece.within
    assert not piece.overlap
    assert len(piece.cuts) == 1
    assert piece.area_beyond < 0.8 * whole.area_beyond
    assert any("what would help: more cuts than 1" in note for note in piece.notes)


def test_weights_of_the_wrong_shape_are_refused():
    v, f = mapped(*sheet(10, 10, 50), lambda u, w: (u, w, 0.1 * u * u + 0.3 * w * w))
    with pytest.raises(ValueError, match="cost must give one number"):
        relieve(v, f, Film(0.001, 0.001), cost=np.ones(3))
