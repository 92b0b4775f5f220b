"""A corner that lies on an open edge inside a region leaves no slit in its surface."""

import numpy as np

from unwrap.regions.edges import boundary_loops
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
