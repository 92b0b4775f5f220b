"""Thinning flat ground: the surface stays where it was, with as few faces as its edges need."""

import igl
import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from unwrap.body.body import Body
from unwrap.body.thin import thin_flat


def body_of(mesh):
    return Body(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64))


def mesh_of(body):
    return trimesh.Trimesh(body.vertices, body.faces, process=False)


def box(extents=(40, 20, 12), times=4):
    mesh = trimesh.creation.box(extents)
    for _ in range(times):
        mesh = mesh.subdivide()
    return mesh


def cut_out(*sizes, length=0.7):
    """A box with round and square holes through it, triangulated finely and as its edges need."""
    solid = manifold3d.Manifold.cube((40.0, 20.0, 12.0), True)
    for k, size in enumerate(sizes):
        hole = manifold3d.Manifold.cylinder(30.0, size, circular_segments=24 if k % 2 else 4, center=True)
        solid -= hole.translate((-12.0 + 9.0 * k, 1.0, 0.0))
    meshes = [one.to_mesh() for one in (solid.refine_to_length(length), solid)]
    return [trimesh.Trimesh(m.vert_properties[:, :3], m.tri_verts, process=False) for m in meshes]


def edge_kinds(body):
    return {int(number) for number in body.edges.number}


def test_a_box_of_thousands_of_faces_is_a_box_of_twelve_again():
    fine = body_of(box())
    assert len(fine.faces) == 3072
    thin = thin_flat(fine)
    assert len(thin.faces) == 12 and len(thin.vertices) == 8
    assert mesh_of(thin).is_volume
    assert mesh_of(thin).volume == pytest.approx(40 * 20 * 12, rel=1e-12)


def test_holes_stay_and_no_more_faces_are_left_than_edges_need():
    fine, plain = cut_out(2.0, 3.0, 1.5)
    thin = thin_flat(body_of(fine))
    assert len(fine.faces) > 10 * len(plain.faces)
    assert len(thin.faces) == len(plain.faces)  # Euler's formula: the same rims and holes
    assert mesh_of(thin).is_volume
    assert mesh_of(thin).volume == pytest.approx(plain.volume, rel=1e-6)  # single precision in both
    known = {tuple(place) for place in fine.vertices}
    assert all(tuple(place) in known for place in thin.vertices)


@settings(max_examples=15)
@given(
    turn=st.tuples(*[st.floats(-3, 3)] * 3),
    size=st.floats(0.02, 50.0),
    holes=st.lists(st.floats(0.5, 3.0), max_size=3),
    seed=st.integers(0, 2**16),
)
def test_turned_sized_and_rounded_bodies_are_thinned_alike(turn, size, holes, seed):
    fine, plain = cut_out(*holes, length=1.5)
    places = size * Rotation.from_rotvec(turn).apply(fine.vertices) + 30.0 * size
    order = np.random.default_rng(seed).permutation(len(fine.faces))
    body = Body(places.astype(np.float32).astype(float), np.asarray(fine.faces, np.int64)[order])
    thin = thin_flat(body)
    mesh = mesh_of(thin)
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(size**3 * plain.volume, rel=1e-5)
    # What rounding bends is left as it is.
    assert len(thin.faces) <= len(plain.faces) + 0.1 * len(fine.faces)
    away = igl.point_mesh_squared_distance(body.vertices, thin.vertices, thin.faces)[0]
    assert np.sqrt(away.max()) <= 1e-6 * np.linalg.norm(body.size)


def test_ground_that_curves_both_ways_keeps_its_faces():
    dome = trimesh.creation.icosphere(3, 10.0).subdivide().subdivide()
    assert len(thin_flat(body_of(dome)).faces) == len(dome.faces)
    # On a plate beside it only what touches the dome's fine ground stays.
    plate = box((60, 60, 2), 5)
    plate.apply_translation((0, 0, -20))
    thin = thin_flat(body_of(trimesh.util.concatenate([dome, plate])))
    assert len(thin.faces) == len(dome.faces) + 12


def test_barrels_are_thinned_along_their_facets():
    barrel = trimesh.creation.cylinder(8.0, 50.0, sections=48)
    fine = barrel.subdivide().subdivide().subdivide()
    thin = thin_flat(body_of(fine))
    assert len(thin.faces) == len(barrel.faces) - 2 * 48 + 2 * 46  # caps lose their middles
    assert mesh_of(thin).volume == pytest.approx(barrel.volume, rel=1e-12)


def test_edges_of_sheets_and_edges_where_more_than_two_faces_meet_stay():
    sheet = box((40, 20, 12), 3)
    sheet.update_faces(sheet.triangles_center[:, 2] < 5.9)  # an open box
    other = box((40, 20, 12), 3)
    other.apply_translation((40, 20, 0))  # meets it along one upright edge, vertex for vertex
    both = trimesh.util.concatenate([sheet, other])
    both.merge_vertices()
    fine = body_of(both)
    thin = thin_flat(fine)
    assert edge_kinds(thin) == edge_kinds(fine) == {1, 2, 4}
    assert thin.areas.sum() == pytest.approx(fine.areas.sum(), rel=1e-12)
    lengths = [
        sum(np.linalg.norm(np.subtract(*b.vertices[ends])) for ends in b.edges.ends[b.edges.number == kind])
        for b in (fine, thin)
        for kind in (1, 4)
    ]
    assert lengths == pytest.approx([120, 12, 120, 12], rel=1e-12)
    assert len(thin.faces) < 200


def test_a_gentle_arch_is_not_flattened_edge_by_edge():
    # Each strip is flat to its neighbour within the angle allowed, the whole is not.
    x = np.linspace(-30, 30, 241)
    v = np.concatenate([np.column_stack([x, np.full_like(x, y), -(x**2) / 400]) for y in (0.0, 5.0)])
    one = np.arange(240)
    f = np.concatenate(
        [np.column_stack([one, one + 1, one + 241]), np.column_stack([one + 1, one + 242, one + 241])]
    )
    assert thin_flat(Body(v, f)).vertices is v


def test_a_body_without_fine_flat_ground_is_itself():
    for mesh in (trimesh.creation.box((3, 2, 1)), trimesh.creation.icosphere(2)):
        body = body_of(mesh)
        assert thin_flat(body) is body
