import numpy as np
import pytest
import trimesh
from conftest import all_faces
from hypothesis import given, settings
from hypothesis import strategies as st

from unwrap.body.body import Body
from unwrap.errors import BadInput
from unwrap.regions.edges import face_normals
from unwrap.regions.grow import grow_region


def area(region) -> float:
    return float(face_normals(region.vertices, region.faces)[1].sum())


def test_one_side_of_a_box_and_no_more(box):
    region = grow_region(box, "side", (3, 10, 2), outside=all_faces(box))
    assert area(region) == pytest.approx(60 * 30)
    assert np.allclose(region.vertices[:, 1], 10)


def test_limits_cut_triangles_where_they_pass(box):
    region = grow_region(
        box, "side", (3, 10, 2), within={"x": (-7, 11.5), "z": (-np.inf, 4)}, outside=all_faces(box)
    )
    assert area(region) == pytest.approx(18.5 * 19)
    assert region.vertices.min(axis=0) == pytest.approx([-7, 10, -15])
    assert region.vertices.max(axis=0) == pytest.approx([11.5, 10, 4])
    assert np.allclose(box.normals[region.body_face], [0, 1, 0])


@pytest.mark.parametrize("sections", [12, 24, 64])
def test_a_barrel_is_one_region_whatever_its_facets(barrel, sections):
    body = barrel(sections)
    region = grow_region(body, "barrel", (0, 0, 10), outside=all_faces(body))
    facet = 2 * 10 * np.sin(np.pi / sections)
    assert area(region) == pytest.approx(sections * facet * 60)


def test_a_point_a_little_off_the_surface_will_do(box):
    region = grow_region(box, "side", (3, 10.2, 2), outside=all_faces(box))
    assert area(region) == pytest.approx(60 * 30)


@pytest.mark.parametrize("bridge", [0.0, 1.5])
def test_the_same_region_after_an_export_with_other_triangles(barrel, bridge):
    body = barrel(24)
    mesh = trimesh.Trimesh(body.vertices, body.faces).subdivide().subdivide()
    order = np.random.default_rng(5).permutation(len(mesh.faces))
    other = Body(np.array(mesh.vertices), np.array(mesh.faces)[order].astype(np.int64))
    limits = {"x": (-11.3, 17.9), "z": (-3, 30)}
    found = [
        grow_region(each, "it", (1, 0, 10), within=limits, outside=all_faces(each), bridge=bridge)
        for each in (body, other)
    ]
    assert area(found[1]) == pytest.approx(area(found[0]), rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(turn=st.floats(0, 6.28), scale=st.floats(0.2, 8), shift=st.tuples(*[st.floats(-200, 200)] * 3))
def test_turning_scaling_and_shifting_change_nothing_else(turn, scale, shift):
    plain = trimesh.creation.capsule(height=20, radius=6, count=[24, 24])
    matrix = trimesh.transformations.rotation_matrix(turn, [1, 2, 3])
    matrix[:3, :3] *= scale
    matrix[:3, 3] = shift
    moved = plain.copy().apply_transform(matrix)
    at = np.array([6.0, 0.0, 4.0])
    found = []
    for mesh, point in ((plain, at), (moved, matrix[:3, :3] @ at + matrix[:3, 3])):
        body = Body(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64))
        found.append(area(grow_region(body, "it", point, outside=all_faces(body))))
    assert found[1] == pytest.approx(found[0] * scale**2, rel=1e-6)


def test_a_point_off_the_body_is_told_the_nearest_surface(box):
    with pytest.raises(
        BadInput,
        match=r"'side'.*nearest surface is A \(flat, 1800 mm²\), 5.00 mm away at \[3.00, 10.00, 2.00\]",
    ):
        grow_region(box, "side", (3, 15, 2), outside=all_faces(box))


def test_limits_that_leave_the_point_outside_say_so(box):
    with pytest.raises(BadInput, match=r"within\.x = \[5, 9\] leaves out its own point"):
        grow_region(box, "side", (3, 10, 2), within={"x": (5, 9)}, outside=all_faces(box))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"at": (np.nan, 0, 0)}, "at must be three numbers"),
        ({"within": {"w": (0, 1)}}, "within.w is not known"),
        ({"within": {"x": (4, 1)}}, "is empty"),
        ({"crease": 0}, "crease is 0"),
    ],
)
def test_unusable_arguments_are_sentences(box, change, sentence):
    arguments = {"at": (3, 10, 2), "outside": all_faces(box)} | change
    with pytest.raises(BadInput, match=sentence):
        grow_region(box, "side", **arguments)
