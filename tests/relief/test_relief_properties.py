"""What holds for the cuts of every patch: nothing is lost, more film is never worse, nor is another cut."""

import itertools
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from surfaces import barrel_end, cap, nose, spheroid, torus, without

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.edges import boundary_loops
from unwrap.relief import relieve
from unwrap.relief.chart import chart_of
from unwrap.relief.draw import CannotDraw, cut_curves
from unwrap.relief.fit import fit
from unwrap.relief.ground import Ground


def oval():
    v, f = cap(15.0, 50.0, 300, seed=3)
    return v * [1.5, 1.0, 1.0], f


def pierced():
    v, f = cap(20.0, 55.0, 500, seed=4)
    return without(v, f, np.array([[6.0, 3.0, 18.6]]), [3.0])


def windowed():
    v, f = nose(count=420, seed=2)
    ways = v / np.linalg.norm(v, axis=1)[:, None]
    at = [v[np.argmax(ways @ np.array([0.75, 0.5 * side, 0.35]))] for side in (-1, 1)]
    return without(v, f, np.array(at), [3.5, 3.5])


# A surface and the largest over the smallest stretch that the film allows, tight enough for cuts.
SURFACES = {
    "spheroid": (lambda: spheroid(25.0, 15.0, 70.0, 300), 1.07),
    "torus": (lambda: torus(30.0, 12.0, (0, 80), (-60, 75), 300), 1.07),
    "dished end": (lambda: barrel_end(12.0, 1.0, 5.0, 350), 1.1),
    "oval": (oval, 1.05),
    "cap with an opening": (pierced, 1.07),
    "nose with windows": (windowed, 1.16),
}


def film_of(ratio):
    half = np.sqrt(ratio)
    return Film(half - 1.0, 1.0 - 1.0 / half)


def face_areas(v, f):
    a, b, c = np.moveaxis(v[f], 1, 0)
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def euler(faces):
    edges = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    return len(np.unique(faces)) - len(edges) + len(faces)


@pytest.mark.parametrize("name", SURFACES)
def test_cut_pieces_glued_back_along_their_slits_are_the_uncut_patch(name):
    make, ratio = SURFACES[name]
    v, f = make()
    piece = relieve(v, f, film_of(ratio))
    assert piece.within
    assert piece.cuts
    assert not piece.overlap
    known = piece.vertex >= 0
    np.testing.assert_array_equal(piece.surface[known], v[piece.vertex[known]])
    # Face by face nothing is lost, and every part lies in the plane of its face.
    np.testing.assert_allclose(
        np.bincount(piece.face, piece.areas, minlength=len(f)), face_areas(v, f), rtol=1e-9
    )
    a, b, c = np.moveaxis(v[f], 1, 0)
    normal = np.cross(b - a, c - a)
    off = np.einsum("mkx,mx->mk", piece.surface[piece.faces] - a[piece.face][:, None], normal[piece.face])
    assert np.abs(off).max() < 1e-9 * np.abs(v).max() ** 3
    # Welded by place it has the patch's edges again: as many openings, and each as long as before.
    _, weld = np.unique(np.round(piece.surface, 9), axis=0, return_inverse=True)
    glued = weld.ravel()[piece.faces]
    assert euler(glued) == euler(f)
    places = np.zeros((weld.max() + 1, 3))
    places[weld.ravel()] = piece.surface
    rims = [sorted(length_of(p, loop) for loop in boundary_loops(m)) for p, m in ((v, f), (places, glued))]
    np.testing.assert_allclose(*rims, rtol=1e-9)
    # What the cuts opened is their length twice over.
    opened = sum(length_of(piece.surface, loop) for loop in boundary_loops(piece.faces))
    assert opened - sum(rims[0]) == pytest.approx(2.0 * piece.cut_length, rel=1e-6)


def length_of(places, loop):
    return float(np.linalg.norm(places[loop] - places[np.roll(loop, -1)], axis=1).sum())


@pytest.mark.parametrize("name", ["spheroid", "oval", "cap with an opening"])
def test_more_film_never_means_more_cut(name):
    make, ratio = SURFACES[name]
    v, f = make()
    lengths = []
    for more in (0.0, 0.02, 0.05, 0.4):
        piece = relieve(v, f, film_of(ratio + more))
        assert piece.within
        lengths.append(piece.cut_length)
    for tight, soft in itertools.pairwise(lengths):
        assert soft <= tight * 1.02
    assert lengths[0] > 0.0 == lengths[-1]


@cache
def chart(name):
    """A surface with a chart to draw cuts on."""
    v, f = SURFACES[name][0]()
    flat = flatten(v, f, film_of(1.05))
    return Ground(flat.surface, chart_of(flat), flat.faces, flat.face, flat.vertex)


@given(
    name=st.sampled_from(["spheroid", "torus", "oval", "cap with an opening"]),
    # Cuts that begin side by side are one wide cut, with a strip between them that nothing holds.
    first=st.floats(0.0, 1.0),
    apart=st.lists(st.floats(0.15, 0.4), min_size=1, max_size=3),
    depth=st.floats(0.1, 0.55),
    slant=st.floats(-0.3, 0.3),
)
@settings(max_examples=12)
def test_another_cut_never_raises_the_optimum(name, first, apart, depth, slant):
    ground = chart(name)
    loop = max(boundary_loops(ground.faces), key=len)
    middle = ground.chart.mean(axis=0)
    curves = []
    for share in first + np.cumsum([0.0, *apart]):
        foot = ground.chart[loop[int(share * len(loop)) % len(loop)]]
        way = middle - foot
        tip = foot + depth * (way + slant * np.array([-way[1], way[0]]))
        curves.append(foot + np.linspace(0.0, 1.0, 40)[:, None] * (tip - foot))
    before = fit(ground, film_of(1.05), []).reach
    for count in range(1, len(curves) + 1):
        try:
            cut, cuts = cut_curves(ground, curves[:count])
        except CannotDraw:  # two of them meet
            return
        reach = fit(cut, film_of(1.05), cuts).reach
        assert reach <= before * 1.01
        before = reach
