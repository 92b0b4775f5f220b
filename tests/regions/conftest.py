"""Bodies for the tests of regions, made from solids whose measures are known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, OpType

from unwrap.body.body import Body


def body_of(mesh: trimesh.Trimesh, name: str = "test") -> Body:
    return Body(np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.int64), name)


def body_of_solid(solid: Manifold) -> Body:
    """A solid as it comes out of an STL file: single precision, corners welded by place."""
    mesh = solid.to_mesh()
    vertices, index = np.unique(
        np.array(mesh.vert_properties[:, :3], dtype=np.float64), axis=0, return_inverse=True
    )
    faces = index.ravel()[np.array(mesh.tri_verts, dtype=np.int64)]
    return Body(vertices, faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)], "test")


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Manifold:
    return Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))


def cylinder_x(radius: float, start: float, end: float, segments: int = 48) -> Manifold:
    return (
        Manifold.cylinder(end - start, radius, radius, segments).rotate((0, 90, 0)).translate((start, 0, 0))
    )


def union(parts: list[Manifold]) -> Manifold:
    return Manifold.batch_boolean(parts, OpType.Add)


def all_faces(body: Body) -> np.ndarray:
    return np.ones(len(body.faces), dtype=bool)


@pytest.fixture
def barrel() -> Callable[..., Body]:
    """A closed cylinder along x: radius 10, from x = -30 to 30."""

    def make(sections: int = 48) -> Body:
        along_x = trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0])
        return body_of(trimesh.creation.cylinder(radius=10, height=60, sections=sections, transform=along_x))

    return make


@pytest.fixture(name="box")
def box_body() -> Body:
    """A box 60 x 20 x 30 mm about the origin."""
    return body_of(trimesh.creation.box(extents=(60, 20, 30)))
