"""The smallest box against rectangles and ellipses of known sides."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from unwrap.sheet.smallest_box import smallest_box


@settings(max_examples=60, deadline=None)
@given(st.floats(-180, 180), st.floats(0.5, 200), st.floats(0.5, 200), st.integers(0, 2**32 - 1))
def test_a_rectangle_with_hundreds_of_points_along_its_sides_is_its_own_box(
    turn: float, long: float, short: float, seed: int
) -> None:
    # Points a rounding off the straight line, as a flattened side's outline has them.
    rng = np.random.default_rng(seed)
    ring = shapely.box(0, 0, long, short).exterior
    points = shapely.get_coordinates(shapely.segmentize(ring, max(long, short) / 60))[:-1]
    noisy = shapely.Polygon(points + rng.normal(0, 1e-9, points.shape))
    box = smallest_box(shapely.affinity.rotate(noisy, turn))
    assert sorted((box.along, box.across)) == pytest.approx(sorted((long, short)), abs=1e-6)


def test_an_ellipse_lies_in_the_box_of_its_axes() -> None:
    angles = np.linspace(0, 2 * np.pi, 721)[:-1]
    ellipse = shapely.Polygon(np.column_stack([30 * np.cos(angles), 4 * np.sin(angles)]))
    box = smallest_box(shapely.affinity.rotate(ellipse, 33.0))
    assert sorted((box.along, box.across)) == pytest.approx([8.0, 60.0], rel=1e-4)
    assert np.degrees(box.slant) % 90 == pytest.approx(33.0, abs=0.5)
