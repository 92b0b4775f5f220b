"""Bodies for the tests of regions, made from solids whose measures are known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from unwrap.body.body import Body


def body_of(mesh: trimesh.Trimesh, name: str = "test") -> Body:
    return Body(np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.int64), name)


def all_faces(body: Body) -> np.ndarray:
    return np.ones(len(body.faces), dtype=bool)


@pytest.fixture
def barrel() -> Callable[..., Body]:
    """A closed cylinder along x: radius 10, from x = -30 to 30."""

    def make(sections: int = 48) -> Body:
        along_x = trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0])
        return body_of(trimesh.creation.cylinder(radius=10, height=60, sections=sections, transform=along_x))

    return make


@pytest.fixture
def box() -> Body:
    """A box 60 x 20 x 30 mm about the origin."""
    return body_of(trimesh.creation.box(extents=(60, 20, 30)))
