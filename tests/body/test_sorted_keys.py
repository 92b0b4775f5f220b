"""Keys sorted together with their places, against NumPy's stable sort."""

import numpy as np
import pytest

from unwrap.body.edges import find_edges
from unwrap.body.sorted_keys import BLOCK, first_of_run, sorted_whole, spread


# Keys that leave room for their places, and such as do not.
@pytest.mark.parametrize("width", (12, 40, 63))
@pytest.mark.parametrize("count", (0, 1, 5000, 3 * BLOCK + 7))
def test_keys_are_sorted_and_equal_ones_keep_their_order(width, count):
    random = np.random.default_rng(count + width)
    some = random.integers(1 << width, size=count // 3 + 1, dtype=np.uint64)
    keys = some[random.integers(len(some), size=count)]
    order = np.argsort(keys, kind="stable")
    key, place = sorted_whole(keys.copy(), width)
    assert np.array_equal(place, order)
    assert np.array_equal(key, keys[order])
    kinds, kind = np.unique(keys, return_inverse=True)
    assert np.array_equal(spread(np.arange(len(kinds)), first_of_run(key), place), kind)


def test_edges_are_found_whatever_the_vertices_numbers():
    random = np.random.default_rng(0)
    faces = np.array([random.permutation(300)[:3] for _ in range(900)])
    few, many = find_edges(faces), find_edges(faces + (1 << 30))
    assert np.array_equal(many.ends, few.ends + (1 << 30))
    for one, other in zip(few[1:], many[1:], strict=True):
        assert np.array_equal(one, other)
