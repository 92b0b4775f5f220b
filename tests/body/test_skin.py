"""The outside skin on bodies whose inside is known by construction."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from unwrap.body.body import Body
from unwrap.body.read import load_body
from unwrap.body.skin import outside_faces


def body_of(mesh):
    return Body(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64))


def hollow_box(outer=(60.0, 30.0, 30.0), wall=1.0):
    """A box open underneath with walls of known thickness."""
    box = trimesh.creation.box(outer)
    hole = trimesh.creation.box([outer[0] - 2 * wall, outer[1] - 2 * wall, outer[2]])
    hole.apply_translation((0, 0, -wall))
    return trimesh.boolean.difference([box, hole], engine="manifold")


def inner_mask(body, outer=(60.0, 30.0, 30.0), wall=1.0):
    middle = body.corners.mean(axis=1)
    half = np.array(outer) / 2
    limit = half - 0.5 * wall
    return (np.abs(middle[:, 0]) < limit[0]) & (np.abs(middle[:, 1]) < limit[1]) & (middle[:, 2] < limit[2])


def test_walls_have_one_outside():
    body = body_of(hollow_box().subdivide_to_size(4.0))
    outside = outside_faces(body)
    inner = inner_mask(body)
    rim = body.normals[:, 2] < -0.9
    assert not outside[inner & ~rim].any()
    assert outside[~inner & ~rim].all()


def test_windows_do_not_let_the_inside_out():
    shell = hollow_box()
    windows = []
    for x in (-18.0, 0.0, 18.0):
        window = trimesh.creation.box((12.0, 40.0, 10.0))
        window.apply_translation((x, 0, 5))
        windows.append(window)
    body = body_of(trimesh.boolean.difference([shell, *windows], engine="manifold").subdivide_to_size(4.0))
    outside = outside_faces(body)
    inner = inner_mask(body)
    side = np.abs(body.normals[:, 1]) > 0.9
    assert not outside[inner & side].any()
    assert outside[~inner & side].all()


def test_the_hidden_parts_of_overlapping_shells_are_inside():
    first, second = trimesh.creation.box((20, 20, 20)), trimesh.creation.icosphere(3, radius=6)
    second.apply_translation((10, 0, 0))
    body = body_of(trimesh.util.concatenate([first.subdivide_to_size(3.0), second]))
    outside = outside_faces(body)
    ball = np.arange(len(body.faces)) >= len(body.faces) - len(second.faces)
    # A face of the ball is hidden when all of it is inside the box, and seen when all is outside.
    x = body.corners[:, :, 0]
    assert not outside[ball & (x < 9.99).all(axis=1)].any()
    assert outside[ball & (x > 10.01).all(axis=1)].all()


def test_the_inside_of_an_open_wagon_is_seen():
    wagon = hollow_box((60.0, 30.0, 15.0))
    wagon.vertices[:, 2] *= -1
    wagon.invert()
    assert wagon.volume > 0
    body = body_of(wagon.subdivide_to_size(4.0))
    floor = (body.normals[:, 2] > 0.9) & (body.corners[:, :, 2] < 0).all(axis=1)
    assert outside_faces(body)[floor].mean() > 0.9


def test_a_deep_door_recess_is_outside():
    box = trimesh.creation.box((60, 30, 30))
    recess = trimesh.creation.box((8, 4, 18))
    recess.apply_translation((0, 15, 0))
    body = body_of(trimesh.boolean.difference([box, recess], engine="manifold").subdivide_to_size(4.0))
    assert outside_faces(body)[body.normals[:, 2] > -0.9].all()


@pytest.mark.parametrize("seed", range(3))
def test_numbering_does_not_matter(seed):
    mesh = hollow_box().subdivide_to_size(6.0)
    body = body_of(mesh)
    order = np.random.default_rng(seed).permutation(len(mesh.faces))
    shuffled = Body(body.vertices, body.faces[order])
    assert (outside_faces(shuffled) == outside_faces(body)[order]).mean() > 0.999


def test_what_is_seen_through_windows_is_inside():
    # the tank engine's cab, open at its sides and underneath, and the bore of its boiler
    body = load_body(Path(__file__).parents[2] / "meshes" / "tank_engine.stl")
    outside = outside_faces(body)
    x, y, z = body.corners.mean(axis=1).T
    cab = (x > -35.1) & (x < -16.9) & (np.abs(y) < 13.3) & (z > 15.1) & (z < 45)
    cab &= ~(np.abs(body.normals[:, 2]) > 0.9)
    bore = (x > -19.9) & (x < 47.2) & (np.hypot(y, z - 29) < 8.1) & (np.abs(body.normals[:, 0]) < 0.5)
    assert body.areas[cab].sum() > 1000
    assert not outside[cab].any()
    assert bore.sum() > 100
    assert not outside[bore].any()
