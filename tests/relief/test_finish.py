"""Planned sets on the real mesh: what is foreseen of it, depths, large meshes, strips beside an edge."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from boards import board_of
from surfaces import cap, nose, without

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.overlap import overlaps
from unwrap.relief import relieve
from unwrap.relief.board import EACH
from unwrap.relief.finish import cut_and_fit, deepen, on_mesh
from unwrap.relief.fit import _last_flat
from unwrap.relief.plan import even_slits, heart
from unwrap.relief.slit import Slit

SOFT = Film(0.05, 0.02)


def laid_out(v, f, film):
    return board_of(flatten(v, f, film, thorough=False), film)


@pytest.mark.parametrize(("make", "film", "depth"), [("cap", SOFT, 0.5), ("nose", SOFT, 0.75)])
def test_what_the_real_mesh_asks_is_foreseen_better_than_the_need_tells(make, film, depth):
    v, f = cap(20.0, 60.0, 1200) if make == "cap" else nose(count=1200)
    board, ground = laid_out(v, f, film)
    slits = even_slits(board.edges[0], heart(board), 4, depth)
    trial = board.attempt(slits)
    fit = cut_and_fit(ground, on_mesh(ground, slits), film, 1.0, 1.0)
    assert not fit.overlap
    off = abs(np.log(board.foreseen(trial) / fit.reach))
    assert off < 0.1  # four times what it is off by on average over many sets
    assert off < abs(np.log(trial.need / fit.reach)) + 0.02


def test_slits_are_brought_as_deep_as_the_film_asks_and_not_deeper():
    v, f = cap(20.0, 60.0, 1200)
    board, ground = laid_out(v, f, SOFT)
    slits = even_slits(board.edges[0], heart(board), 4, 0.75)
    fit, factor, _ = deepen(ground, slits, SOFT, tries=8)
    assert fit.good
    less = cut_and_fit(ground, on_mesh(ground, slits), SOFT, 0.97 * factor, 1.0)
    assert not less.good
    assert fit.piece.cut_length == pytest.approx(factor * sum(s.chord for s in slits), rel=0.1)


def test_a_slit_along_an_edge_costs_more_than_its_length():
    v, f = cap(20.0, 60.0, 500)
    board, _ = laid_out(v, f, SOFT)
    edge, middle = board.edges[0], heart(board)
    inward = even_slits(edge, middle, 1, 0.5)[0]
    length = float(board.field.costs([inward.curve()])[0])
    each = EACH * board.size
    assert board.cost((inward,)) == pytest.approx(length + each, rel=1e-9)
    # From the same foot to a place a little way round, just inside the edge.
    round_about = edge.point(inward.start + 0.08 * edge.length)
    hugging = Slit(edge, inward.start, round_about + 0.06 * (middle - round_about))
    length = float(board.field.costs([hugging.curve()])[0])
    assert board.cost((hugging,)) - each > 1.3 * length


def test_a_large_mesh_with_slits_that_run_through_comes_out_within(monkeypatch):
    # Planned and finished on a copy of fewer faces, as a mesh of a hundred thousand is.
    monkeypatch.setattr(sys.modules["unwrap.relief.relieve"], "MIDDLING", 900)
    v, f = nose(count=1200)
    unit = v / np.linalg.norm(v, axis=1, keepdims=True)
    windows = [v[np.argmax(unit @ np.array([0.75, 0.5 * side, 0.35]))] for side in (-1, 1)]
    v, f = without(v, f, np.array(windows), [3.5, 3.5])
    assert len(f) > 1.5 * 900
    piece = relieve(v, f, Film(0.07, 0.04))
    assert piece.within
    assert not piece.overlap
    assert len(piece.cuts) >= 1


def test_of_shapes_that_come_to_lie_over_themselves_the_last_flat_one_is_found():
    # A strip that is bent round further and further until its ends lie over each other.
    along = np.linspace(0.0, 1.0, 41)
    n = len(along)
    a = np.arange(n - 1)
    faces = np.concatenate([np.column_stack([a, a + 1, n + a + 1]), np.column_stack([a, n + a + 1, n + a])])

    def bent(turns):
        angle = 2.0 * np.pi * turns * along
        return np.concatenate([r * np.column_stack([np.sin(angle), -np.cos(angle)]) for r in (1.0, 0.8)])

    turns = np.linspace(0.5, 1.3, 24)
    shapes = [bent(t) for t in turns]
    assert not overlaps(shapes[0], faces)
    assert overlaps(shapes[-1], faces)
    last = _last_flat(shapes, faces)
    assert turns[last] < 1.0 <= turns[last + 1]
    assert _last_flat(shapes[:3], faces) == 2
    assert _last_flat([shapes[-1]], faces) is None
