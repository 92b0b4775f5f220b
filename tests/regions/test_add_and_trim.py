"""Regions that are added to by place, taken from by place, and trimmed by a polygon."""

import numpy as np
import pytest
import shapely
from conftest import all_faces, body_of_solid, box, cylinder_x, union

from unwrap.errors import BadInput
from unwrap.regions import Trim, make_patch
from unwrap.regions.edges import face_normals
from unwrap.regions.grow import grow_region


def area(region) -> float:
    return float(face_normals(region.vertices, region.faces)[1].sum())


def grown(body, at, **more):
    return grow_region(body, "it", at, outside=all_faces(body), **more)


def test_places_beyond_an_edge_are_added(box):
    both = grown(box, (3, 10, 2), also=[(0, 0, 15)])
    assert area(both) == pytest.approx(60 * 30 + 60 * 20)
    assert make_patch(both).vertices.max(axis=0) == pytest.approx([30, 10, 15])


def test_what_is_added_must_meet_the_rest(box):
    with pytest.raises(BadInput, match=r"also = \[3.00, -10.00, 2.00\] does not meet"):
        grown(box, (3, 10, 2), also=[(3, -10, 2)])
    assert area(grown(box, (3, 10, 2), also=[(3, -10, 2), (0, 0, 15)])) == pytest.approx(2 * 1800 + 1200)


def test_a_place_added_off_the_body_is_named(box):
    with pytest.raises(BadInput, match=r"also = \[3.00, 14.00, 2.00\] is not on the body"):
        grown(box, (3, 10, 2), also=[(3, 14, 2)])


def test_what_bridging_took_in_is_left_out_by_place():
    # two plates with a gap between them that bridging closes
    body = body_of_solid(
        union(
            [
                box((0, 19.6), (0, 2), (0, 10)),
                box((19, 21), (0, 1), (0, 10)),
                box((20.4, 40), (0, 2), (0, 10)),
            ]
        )
    )
    wide = grown(body, (5, 2, 5), bridge=1.5)
    assert np.ptp(wide.vertices[:, 0]) == pytest.approx(40)
    narrow = grown(body, (5, 2, 5), bridge=1.5, less=[(30, 2, 5)])
    assert narrow.vertices[:, 0].max() < 20.5
    with pytest.raises(BadInput, match="less takes away the surface of its own point"):
        grown(body, (5, 2, 5), bridge=1.5, less=[(6, 2, 6)])


STAR = np.array([(-20.0, -9), (-2, -3), (4, -12.5), (7, -2), (21, 3.3), (5, 6), (1, 13), (-6, 5)])


@pytest.mark.parametrize("finer", [0, 2])
def test_a_polygon_cuts_to_its_own_outline(box, finer):
    mesh = box
    for _ in range(finer):
        from trimesh.remesh import subdivide

        vertices, faces = subdivide(mesh.vertices, mesh.faces)
        mesh = type(box)(vertices, faces)
    kept = grown(mesh, (0, 10, 0), trims=[Trim("left", STAR, True)])
    assert area(kept) == pytest.approx(shapely.Polygon(STAR).area, rel=1e-9)
    assert np.ptp(kept.vertices[:, 1]) == 0
    dropped = grown(mesh, (25, 10, 0), trims=[Trim("left", STAR, False)])
    assert area(dropped) == pytest.approx(1800 - shapely.Polygon(STAR).area, rel=1e-9)
    outline = make_patch(kept)
    assert len(outline.vertices) >= len(STAR)


def test_a_dropped_polygon_leaves_the_far_side_of_a_barrel():
    body = body_of_solid(cylinder_x(10, -30, 30, 96))
    whole = area(grown(body, (25, 0, 10)))
    window = np.array([(-5.0, -4), (5, -4), (5, 4), (-5, 4)])
    left = grown(body, (25, 0, 10), trims=[Trim("left", window, False)])
    arc = 2 * 10 * np.arcsin(0.4)
    assert whole - area(left) == pytest.approx(10 * arc, rel=1e-3)
    assert (left.vertices[np.abs(left.vertices[:, 0]) < 4, 1] < 9.3).all()
    # a polygon that reaches right round it takes the whole ring
    ring = np.array([(0.0, -20), (12, -20), (12, 20), (0, 20)])
    rest = grown(body, (25, 0, 10), trims=[Trim("left", ring, False)])
    assert rest.vertices[:, 0].min() == pytest.approx(12)


def test_trims_follow_one_another(box):
    trims = [
        Trim("left", np.array([(-10.0, -20), (10, -20), (10, 20), (-10, 20)]), True),
        Trim("left", np.array([(-2.0, -3), (2, -3), (2, 3), (-2, 3)]), False),
    ]
    assert area(grown(box, (5, 10, 8), trims=trims)) == pytest.approx(20 * 30 - 4 * 6)
    with pytest.raises(BadInput, match="trim 2 takes away its own point"):
        grown(box, (1, 10, 1), trims=trims)


def test_a_polygon_that_crosses_itself_is_refused(box):
    bow = np.array([(0.0, 0), (5, 5), (5, 0), (0, 5)])
    with pytest.raises(BadInput, match="trim 1 crosses itself"):
        grown(box, (3, 10, 2), trims=[Trim("left", bow, True)])
