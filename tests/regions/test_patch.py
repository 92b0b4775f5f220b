import numpy as np
import pytest
import trimesh
from conftest import all_faces, body_of, body_of_solid, box, cylinder_x, union

from unwrap.errors import BadInput
from unwrap.regions.edges import boundary_loops, edge_table, face_normals
from unwrap.regions.grow import grow_region
from unwrap.regions.mirror import reflect_patch
from unwrap.regions.patch import make_patch
from unwrap.regions.region import Region


def check_patch(patch) -> trimesh.Trimesh:
    """What every patch promises."""
    assert np.array_equal(np.unique(patch.faces), np.arange(len(patch.vertices)))
    assert (face_normals(patch.vertices, patch.faces)[1] > 0).all()
    mesh = trimesh.Trimesh(patch.vertices, patch.faces, process=False)
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    _, count = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    assert count.max() <= 2
    assert len(boundary_loops(patch.faces)) >= 1
    for joint in patch.joints:
        assert np.array_equal(patch.vertices[joint.first], patch.vertices[joint.second])
    return mesh


@pytest.mark.parametrize(
    ("side", "place"), [("bottom", (0, -10)), ("top", (0, 10)), ("left", (10, 0)), ("right", (-10, 0))]
)
@pytest.mark.parametrize("sections", [48, 37])
def test_a_barrel_opens_along_a_straight_line(barrel, side, place, sections):
    body = barrel(sections)
    patch = make_patch(grow_region(body, "barrel", (0, 0, 10), outside=all_faces(body)), joint=side)
    assert check_patch(patch).euler_number == 1
    (joint,) = patch.joints
    line = patch.vertices[joint.first]
    sagitta = 10 * (1 - np.cos(np.pi / sections))
    assert np.allclose(line[:, 1:], place, atol=max(2e-3, 1.01 * sagitta))
    assert np.allclose(line[:, 1:], line[0, 1:], atol=2e-3)
    assert sorted({round(x) for x in line[[0, -1], 0]}) == [-30, 30]


def test_a_side_with_a_window_needs_no_joint():
    body = body_of(trimesh.creation.annulus(r_min=4, r_max=10, height=3))
    patch = make_patch(grow_region(body, "ring", (0, 7, 1.5), outside=all_faces(body)))
    assert check_patch(patch).euler_number == 0
    assert not patch.joints


@pytest.mark.parametrize(
    ("openings", "bridge", "euler", "holes"), [("cut", 0, 0, 0), ("cover", 0, 1, 0), ("cut", 8.5, 1, 1)]
)
def test_openings_are_cut_or_covered(openings, bridge, euler, holes):
    body = body_of(trimesh.creation.annulus(r_min=4, r_max=10, height=3))
    region = grow_region(body, "ring", (0, 7, 1.5), outside=all_faces(body))
    patch = make_patch(region, bridge=bridge, openings=openings)
    assert check_patch(patch).euler_number == euler
    assert len(patch.holes) == holes


def test_a_window_in_a_barrel_is_covered_on_its_facets():
    barrel = cylinder_x(10.0, -30.0, 30.0)
    body = body_of_solid(barrel - box((-4, 5), (-3, 4), (0, 20)))
    region = grow_region(body, "barrel", (12, 0, 10), outside=all_faces(body), within={"x": (-25, 25)})
    patch = make_patch(region, openings="cover")
    assert check_patch(patch).euler_number == 1
    facet = 2 * 10 * np.sin(np.pi / 48)
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx(48 * facet * 50, rel=1e-4)


@pytest.mark.parametrize("solid", ["ball", "torus", "zone"])
def test_what_closes_on_itself_comes_out_a_disc(solid):
    mesh = (
        trimesh.creation.torus(10, 3)
        if solid == "torus"
        else trimesh.creation.icosphere(subdivisions=3, radius=10)
    )
    body = body_of(mesh)
    at = mesh.triangles_center[np.abs(mesh.triangles_center[:, 2]).argmin()]
    within = {"z": (-5, 5)} if solid == "zone" else None
    patch = make_patch(grow_region(body, solid, at, outside=all_faces(body), within=within))
    assert check_patch(patch).euler_number == 1
    assert patch.joints


def test_unknown_options_are_refused(box):
    region = grow_region(box, "side", (3, 10, 2), outside=all_faces(box))
    with pytest.raises(BadInput, match="openings"):
        make_patch(region, openings="fill")
    with pytest.raises(BadInput, match="joint"):
        make_patch(region, joint="below")


def test_reflection_keeps_shape_and_winding(box):
    patch = make_patch(grow_region(box, "left side", (3, 10, 2), outside=all_faces(box)))
    other = reflect_patch(box, patch, "right side")
    assert other.mirror_of == "left side"
    assert np.allclose(face_normals(other.vertices, other.faces)[0], [0, -1, 0])
    assert np.allclose(other.vertices * [1, -1, 1], patch.vertices)


def test_reflection_onto_another_shape_is_refused_with_the_deviation():
    body = body_of_solid(union([box((-30, 30), (-10, 10), (-15, 15)), box((-9, 9), (-10.3, 0), (-5, 5))]))
    patch = make_patch(grow_region(body, "left side", (3, 10, 2), outside=all_faces(body)))
    with pytest.raises(BadInput, match=r"'right side'.*0\.30 mm off"):
        reflect_patch(body, patch, "right side")


def test_a_reflection_is_in_the_bodys_own_middle(box):
    body = type(box)(box.vertices + np.array([0, 13.0, 0]), box.faces)
    left = make_patch(grow_region(body, "left side", (3, 23, 2), outside=all_faces(body)))
    right = reflect_patch(body, left, "right side")
    assert np.allclose(right.vertices[:, 1], 3)
    assert np.allclose(right.vertices[:, [0, 2]], left.vertices[:, [0, 2]])


def test_an_ear_folded_back_from_an_opening_is_not_filled_back_to_back():
    # A plate with a square opening; at its edge hangs a triangle that is folded back over the plate.
    x, y = np.meshgrid(np.arange(7.0), np.arange(7.0))
    vertices = np.column_stack([x.ravel(), y.ravel(), np.zeros(49)])
    faces = []
    for row in range(6):
        for column in range(6):
            a = 7 * row + column
            if not (2 <= row < 4 and 2 <= column < 4):
                faces += [[a, a + 1, a + 8], [a, a + 8, a + 7]]
    faces.append([16, 17, 49])
    vertices = np.vstack([vertices, [2.5, 0.5, 0.1]])
    region = Region("plate", vertices, np.array(faces), np.arange(len(faces)))
    patch = make_patch(region, bridge=2.5)
    key = np.sort(patch.faces, axis=1)
    assert len(np.unique(key, axis=0)) == len(key)
    assert len(boundary_loops(patch.faces)) == 1
    assert (edge_table(patch.faces).count <= 2).all()


def test_what_trimming_and_fine_faces_leave_on_flat_ground_is_taken_out():
    barrel = cylinder_x(10, -30, 30).refine_to_length(0.9)
    body = body_of_solid(barrel)
    region = grow_region(body, "barrel", (0, 0, 10), within={"x": (-20.3, 11.7)}, outside=all_faces(body))
    patch = make_patch(region)
    mesh = check_patch(patch)
    sections = 48
    assert len(region.faces) > 5000
    # Two faces a facet; the joint's two edges keep their vertices, which stay in step.
    assert len(patch.faces) <= 2 * (sections + 1) + 2 * len(patch.joints[0].first)
    side = 2 * 10 * np.sin(np.pi / sections)
    assert mesh.area == pytest.approx(sections * side * 32.0, rel=1e-6)
    assert np.ptp(patch.vertices[:, 0]) == pytest.approx(32.0, abs=1e-5)
