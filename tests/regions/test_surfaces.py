import numpy as np
import pytest
import trimesh
from conftest import all_faces, body_of

from unwrap.regions.nearest import nearest_on_faces
from unwrap.regions.surfaces import find_surfaces


def test_a_barrel_with_its_ends(barrel):
    body = barrel()
    surfaces = find_surfaces(body, all_faces(body))
    assert [(s.letter, s.kind) for s in surfaces] == [("A", "cylinder"), ("B", "flat"), ("C", "flat")]
    assert surfaces[0].radius == pytest.approx(10)
    assert surfaces[0].axis == pytest.approx((1, 0, 0), abs=1e-9)


def test_a_cone_is_named_with_its_apex():
    body = body_of(trimesh.creation.cone(radius=6, height=15, sections=64))
    surface = find_surfaces(body, all_faces(body))[0]
    assert surface.kind == "cone"
    assert surface.centre == pytest.approx((0, 0, 15), abs=1e-6)


@pytest.mark.parametrize("part", ["whole", "cap"])
def test_a_ball_domes(part):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=8)
    if part == "cap":
        ball = trimesh.intersections.slice_mesh_plane(ball, (0, 0, 1), (0, 0, 5))
    body = body_of(ball)
    assert find_surfaces(body, all_faces(body))[0].kind == "domed"


def test_the_point_of_a_surface_lies_on_it(barrel):
    body = barrel(24)
    for surface in find_surfaces(body, all_faces(body)):
        face, _, distance = nearest_on_faces(body.corners, np.array(surface.at))
        assert distance < 1e-9
        assert face in surface.faces
