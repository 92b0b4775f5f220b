import numpy as np
import pytest
from conftest import all_faces

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
