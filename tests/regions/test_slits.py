"""Crumpled edges inside a region: no slit is left in its surface, and no edge has three faces."""

import itertools

import mapbox_earcut
import numpy as np
import pytest

from unwrap import Film, flatten
from unwrap.regions import Region, make_patch
from unwrap.regions.edges import boundary_loops, edge_table
from unwrap.regions.tidy import tidy_mesh


def test_a_corner_on_an_open_edge_is_put_into_it():
    # Below a strip of two faces 10 mm long, above it one whose foot is the second half of the strip's edge.
    vertices = np.array(
        [[0, 0, 0], [10, 0, 0], [10, 2, 0], [0, 2, 0], [6, 2.00002, 0], [8, 5, 0]], dtype=float
    )
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 2, 5]])
    places, tidied = tidy_mesh(vertices, faces)
    (loop,) = boundary_loops(tidied)
    around = places[loop]
    length = np.linalg.norm(around - np.roll(around, -1, axis=0), axis=1).sum()
    # The outline of both together: 10 + 2 + two sides of the triangle + 6 + 2, without the slit's two sides.
    assert abs(length - (10 + 2 + 2 * np.hypot(2, 3) + 6 + 2)) < 1e-3


@pytest.mark.parametrize("numbered", list(itertools.permutations((4, 5, 6, 7))))
def test_an_ear_that_sticks_out_over_its_opening_leaves_a_manifold(numbered):
    """The ear's tip stands beyond the opening's far corner, so a fill of the whole runs along its foot."""
    sheet = np.array([(-10, 10), (10, 10), (10, 25), (-10, 25)], dtype=float)
    opening = np.array([(-6.0, 17.4), (-2.283, 17.283), (-2.0, 17.4)])
    points = np.vstack([sheet, opening])
    ring = mapbox_earcut.triangulate_float64(points, np.array([4, 7], dtype=np.uint32)).reshape(-1, 3)
    faces = np.vstack([ring, [_ear_on(ring, 4, 5, tip=7)]]).astype(np.int64)
    points = np.vstack([points, (-2.0, 17.275)])
    order = np.array([0, 1, 2, 3, *numbered])  # of the opening's corners and the tip: where a loop begins
    vertices = np.empty((8, 3))
    vertices[order] = np.column_stack([points[:, 0], np.full(8, 8.0), points[:, 1]])
    faces = order[faces][:, ::-1]
    region = Region("sheet", vertices, faces, np.arange(len(faces)))
    patch = make_patch(region, bridge=1.5)
    assert edge_table(patch.faces).count.max() == 2
    assert flatten(patch.vertices, patch.faces, Film(0.04, 0.01)).within


def _ear_on(faces: np.ndarray, a: int, b: int, tip: int) -> tuple[int, int, int]:
    """A face on the open edge between two vertices, wound as the mesh is."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return (b, a, tip) if ((start == a) & (end == b)).any() else (a, b, tip)
