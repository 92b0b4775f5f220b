"""Flaws of a mesh are told with whether they lie on a marked region."""

import numpy as np
import trimesh

from unwrap.body.body import Body
from unwrap.body.health import check_health
from unwrap.regions import grow_region, make_patch
from unwrap.soundness import flaws_that_matter


def box_with_a_hole(gone: np.ndarray) -> tuple[Body, Body]:
    mesh = trimesh.creation.box((60, 20, 30)).subdivide().subdivide()
    middle = mesh.triangles_center
    away = np.linalg.norm(middle - gone, axis=1).argmin()
    faces = np.asarray(mesh.faces, np.int64)
    return Body(np.asarray(mesh.vertices), faces), Body(np.asarray(mesh.vertices), np.delete(faces, away, 0))


def side_of(body: Body, y: float):
    outside = np.ones(len(body.faces), dtype=bool)
    return make_patch(grow_region(body, "side", (3, y, 2), outside=outside))


def test_a_hole_matters_to_the_side_that_it_is_in():
    whole, broken = box_with_a_hole(np.array([10.0, 10, 4]))
    patches = {"left": side_of(broken, 10), "right": side_of(broken, -10)}
    assert flaws_that_matter(whole, patches) == []
    (said,) = flaws_that_matter(broken, patches)
    assert said.startswith(
        "region left: the mesh is not sound there (3 open edges (holes or bare rims): at ("
    )
    (said,) = flaws_that_matter(broken, {"right": patches["right"]})
    assert "none of its flaws lies on a marked region" in said


def test_a_flaw_in_the_middle_of_a_large_triangle_is_near_it():
    _, broken = box_with_a_hole(np.array([10.0, 10, 4]))
    corners = np.array([[[-30.0, 10.2, -15], [-30, 10.2, 15], [90, 10.2, 0]]])
    health = check_health(broken)
    assert len(health.near(corners, reach=0.3).open_edges) == 3
    assert not health.near(corners + np.array([0, 0.5, 0]), reach=0.3).flaws()
