"""Gaps filled between the corners of their edge."""

import numpy as np

from unwrap.regions.fill import fill_gap


def test_lines_that_cross_in_a_gap_fill_it_once():
    # A dome's facets end at a gap both along and round it: the two lines cross in the middle.
    ring = np.array([[-1, -1], [0, -1], [1, -1], [1, 0], [1, 1], [0, 1], [-1, 1], [-1, 0]], dtype=float)
    bulge = np.array([0.3, 1.0, 0.3, 1.0, 0.3, 1.0, 0.3, 1.0])
    vertices = np.column_stack([ring, 0.2 * bulge])
    at = np.array([1, 3, 5, 7])
    way = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [1.0, 0.0, 0.0]])
    faces = fill_gap(vertices, [np.arange(8)], (at, way))
    # A disc of triangles without a point inside: two fewer than it has corners (Euler).
    assert len(faces) == 6
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    assert len(np.unique(edges, axis=0)) == len(edges)
    once = {tuple(e) for e in edges.tolist()} - {tuple(e[::-1]) for e in edges.tolist()}
    assert once == {(k, (k + 1) % 8) for k in range(8)}
    a, b, c = np.moveaxis(vertices[faces, :2], 1, 0)
    area = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert (area > 0).all()
    assert area.sum() == 4.0


def test_a_line_joins_two_edges_once():
    # A ring all round: two loops, lines between them at four places.
    turn = np.linspace(0.0, 2.0 * np.pi, 8, endpoint=False)
    foot = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    vertices = np.concatenate([foot, foot + np.array([0.0, 0.0, 0.5])])
    at = np.array([0, 2, 4, 6, 8, 10, 12, 14])
    way = np.tile([0.0, 0.0, 1.0], (8, 1)) * np.repeat([1.0, -1.0], 4)[:, None]
    faces = fill_gap(vertices, [np.arange(8), np.arange(8, 16)[::-1]], (at, way))
    assert len(faces) == 16
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
    assert np.isclose(area, 8 * 2 * np.sin(np.pi / 8) * 0.5)
