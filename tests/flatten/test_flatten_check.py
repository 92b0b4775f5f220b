"""Every kind of bad input is refused with a sentence that names the place."""

import numpy as np
import pytest

from unwrap import Film
from unwrap.flatten import distortion_bound, flatten

V = np.array(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [2, 0.5, 1], [5, 5, 5], [6, 5, 5], [5, 6, 5]], float
)
F = np.array([[0, 1, 2], [0, 2, 3]])
TETRA = np.array([[0, 2, 1], [0, 1, 4], [1, 2, 4], [2, 0, 4]])


def nan():
    v = V.copy()
    v[2, 1] = np.nan
    return v


CASES = {
    "shape_vertices": (V[:, :2], F, r"\(n, 3\)"),
    "shape_faces": (V, F[:, :2], r"\(m, 3\)"),
    "no_faces": (V, np.zeros((0, 3), int), "no faces"),
    "float_faces": (V, F.astype(float), "whole numbers"),
    "words": ([["a", "b", "c"]], F, "arrays of numbers"),
    "range": (V, [[0, 1, 2], [0, 2, 30]], "face 1"),
    "negative": (V, [[0, 1, -1]], "face 0"),
    "nan": (nan(), F, "face 0"),
    "repeat": (V, [[0, 1, 2], [0, 2, 3], [1, 2, 0]], "face 2 repeats face 0"),
    "twice": (V, [[0, 1, 2], [0, 0, 3]], "face 1"),
    "no_area": (
        np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]], float),
        [[0, 1, 3], [1, 2, 0]],
        "face 1",
    ),
    "three_on_edge": (V, [[0, 1, 2], [0, 2, 3], [0, 2, 4]], "edge 0-2"),
    "wound": (V, [[0, 1, 2], [0, 3, 2]], "edge 0-2"),
    "apart": (V, [[0, 1, 2], [5, 6, 7]], "face 1"),
    "vertex_only": (V, [[0, 1, 2], [0, 3, 4]], "face 1"),
    "closed": (V, TETRA, "closed"),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(
    "call", [lambda v, f: flatten(v, f, Film.set()), distortion_bound], ids=["flatten", "bound"]
)
def test_refused(name, call):
    vertices, faces, words = CASES[name]
    with pytest.raises(ValueError, match=words):
        call(vertices, faces)


def test_edges_that_touch_at_a_vertex():
    v = np.array(
        [[0, 0, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [-1, -1, 0], [3, 0, 0], [-3, 0, 0], [0, 4, 0]], float
    )
    f = np.array([[0, 1, 2], [0, 3, 4], [1, 5, 2], [3, 6, 4], [5, 7, 2], [7, 6, 3], [2, 7, 3]])
    with pytest.raises(ValueError, match=r"touch at vertex 0"):
        flatten(v, f, Film.set())


def test_handle_is_refused():
    n, m = 8, 6
    u, w = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    a, b = 2 * np.pi * u / n, 2 * np.pi * w / m
    v = np.stack([(3 + np.cos(b)) * np.cos(a), (3 + np.cos(b)) * np.sin(a), np.sin(b)], -1).reshape(-1, 3)
    i = (u * m + w).ravel()
    r = ((u + 1) % n * m + w).ravel()
    up = (u * m + (w + 1) % m).ravel()
    both = ((u + 1) % n * m + (w + 1) % m).ravel()
    f = np.vstack([np.column_stack([i, r, both]), np.column_stack([i, both, up])])
    with pytest.raises(ValueError, match="closed"):
        flatten(v, f, Film.set())
    with pytest.raises(ValueError, match="1 handle"):
        flatten(v, f[1:], Film.set())


def test_unused_vertices_are_let_through():
    v = V.copy()
    v[7] = np.nan
    piece = flatten(v, F, Film.set())
    assert piece.vertex.tolist() == [0, 1, 2, 3]
