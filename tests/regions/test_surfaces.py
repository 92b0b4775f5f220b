import numpy as np
import pytest
import trimesh
from conftest import all_faces, body_of, body_of_solid, box, cylinder_x, union

from unwrap.body.body import Body
from unwrap.regions.continued import rims_of
from unwrap.regions.nearest import nearest_on_faces
from unwrap.regions.smooth import smooth_parts
from unwrap.regions.surfaces import CREASE, find_surfaces


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


def test_a_barrel_between_its_bands_is_one_surface():
    parts = [cylinder_x(10, -30, 30)] + [cylinder_x(10.3, x, x + 1) for x in (-12.0, 0.0, 15.0)]
    body = body_of_solid(union(parts))
    apart = [s for s in find_surfaces(body, all_faces(body)) if s.kind == "cylinder" and s.radius < 10.1]
    assert len(apart) == 4
    first, *others = find_surfaces(body, all_faces(body), bridge=1.5)
    assert (first.kind, first.radius) == ("cylinder", pytest.approx(10))
    assert first.area == pytest.approx(sum(surface.area for surface in apart))
    assert not any(s.kind == "cylinder" and s.radius < 10.1 for s in others)


def test_a_body_read_a_thousand_times_too_large_has_no_more_points_to_look_at():
    solid = union([box((-30, 30), (-10, 10), (-15, 15)), cylinder_x(8.0, 0.0, 60.0, 200)])
    small = body_of_solid(solid)
    large = Body(1000.0 * small.vertices, small.faces, "in metres")
    rims = rims_of(smooth_parts(large, all_faces(large), CREASE), 1.5)
    assert len(rims.at) < 1_100_000
    assert len(find_surfaces(large, all_faces(large), bridge=1.5)) == len(
        find_surfaces(small, all_faces(small), bridge=1.5)
    )
