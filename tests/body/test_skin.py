"""The outside skin on bodies whose inside is known by construction."""

import numpy as np
import pytest
import trimesh

from unwrap.body.body import Body
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
    # a cab with large openings before a closed bunker, and a floor and a rib in it
    outer = trimesh.creation.box((60, 28, 30))
    cab = trimesh.creation.box((24, 26, 28))
    cab.apply_translation((16, 0, 0))
    bunker = trimesh.creation.box((28, 26, 28))
    bunker.apply_translation((-14, 0, 0))
    side = trimesh.creation.box((11, 60, 11))
    side.apply_translation((16, 0, 4))
    front = trimesh.creation.box((20, 8, 8))
    front.apply_translation((30, 0, 6))
    rib = trimesh.creation.box((1, 26, 4))
    rib.apply_translation((16, 0, -12))
    shell = trimesh.boolean.difference([outer, cab, bunker, side, front], engine="manifold")
    body = body_of(trimesh.boolean.union([shell, rib], engine="manifold").subdivide_to_size(2.5))
    outside = outside_faces(body)
    middle = body.corners.mean(axis=1)
    within = (np.abs(middle - (16, 0, 0)) <= np.array([12.01, 13.01, 14.01])).all(axis=1)
    within &= body.normals @ (1, 0, 0) > -0.9  # the front sheet's back is thin, and told by that
    assert within.sum() > 300
    assert body.areas[outside & within].sum() < 0.002 * body.areas[within].sum()
    sides = (np.abs(middle[:, 1]) > 13.99) | (np.abs(middle[:, 0]) > 29.99) | (middle[:, 2] > 14.99)
    assert outside[sides].all()
