"""Regions on the tank engine, a body as a printer would get it: walls, an inside, rivets, bands, openings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from test_patch import check_patch

from unwrap.body.body import Body
from unwrap.body.read import load_body
from unwrap.body.skin import outside_faces
from unwrap.regions import find_surfaces, grow_region, make_patch, reflect_patch
from unwrap.regions.edges import boundary_loops, face_normals

FILE = Path(__file__).parents[2] / "meshes" / "tank_engine.stl"


@pytest.fixture(scope="module")
def engine() -> tuple[Body, np.ndarray]:
    body = load_body(FILE)
    return body, outside_faces(body)


def patch(engine, at, within=None, **options):
    body, outside = engine
    return make_patch(
        grow_region(body, "it", at, within=within, outside=outside, bridge=1.5), bridge=1.5, **options
    )


def test_the_boiler_opens_underneath_and_ignores_its_bands(engine):
    boiler = patch(engine, (23, 9, 29))
    check_patch(boiler)
    (joint,) = boiler.joints
    line = boiler.vertices[joint.first]
    assert np.abs(line[:, 1]).max() < 0.35  # half a facet
    assert line[:, 2] == pytest.approx(20.0, abs=0.03)
    reach = np.linalg.norm(boiler.vertices[:, 1:] - [0, 29], axis=1)
    assert reach == pytest.approx(9.0, abs=0.02)
    assert sum(detail.kind == "bead" for detail in boiler.details) == 3


def test_the_tank_side_goes_round_its_corner_and_under_its_rivets(engine):
    side = patch(engine, (-3, 15, 23), {"y": (0.5, 20)})
    assert check_patch(side).euler_number == 1
    assert side.vertices.max(axis=0) == pytest.approx([11.0, 15.0, 31.5], abs=0.01)
    assert sum(detail.kind == "rivet" for detail in side.details) > 40
    assert any(detail.kind == "edging" for detail in side.details)
    # nothing stands off the plane of the side or of the front
    behind = side.vertices[side.vertices[:, 0] < 5]
    assert behind[:, 1] == pytest.approx(15.0, abs=1e-3)
    other = reflect_patch(engine[0], side, "other")
    assert other.vertices[:, 1] == pytest.approx(-side.vertices[:, 1])


def test_the_cab_side_keeps_its_opening_and_marks_the_knob_holes(engine):
    cab = patch(engine, (-28, 14.4, 23), {"x": (-47.5, -16)})
    assert check_patch(cab).euler_number == 0
    assert len(boundary_loops(cab.faces)) == 2
    holes = cab.holes[np.lexsort((cab.holes[:, 2], cab.holes[:, 0]))]
    assert holes[:, 3] == pytest.approx(0.6, abs=0.03)
    assert holes[:, [0, 2]] == pytest.approx(
        np.array([[-34.6, 21], [-34.6, 28.5], [-20, 21], [-20, 28.5]]), abs=0.05
    )


def test_the_dome_and_the_roof(engine):
    dome = patch(engine, (10.75, 0, 47.3), {"z": (43.2, 48)})
    assert check_patch(dome).euler_number == 1
    roof = patch(engine, (-26, 0, 50.5))
    assert check_patch(roof).euler_number == 1
    arc = 2 * 22.9 * np.arcsin(16 / 22.9)
    assert face_normals(roof.vertices, roof.faces)[1].sum() == pytest.approx(arc * 25, rel=1e-3)


def test_surfaces_are_named_alike_on_both_sides(engine):
    surfaces = find_surfaces(*engine)
    assert surfaces[0].area >= surfaces[-1].area
    cylinders = [surface.radius for surface in surfaces if surface.kind == "cylinder"]
    assert any(radius == pytest.approx(9.8, abs=0.02) for radius in cylinders)  # the smokebox
    assert any(surface.kind == "domed" and surface.at[2] > 40 for surface in surfaces)
    # the two edges of the footplate have their corners on a circle of 16 mm, but are no barrel
    assert not any(15.5 < radius < 16.5 for radius in cylinders)


def test_the_cab_side_reaches_up_under_the_eaves_whatever_the_triangles(engine):
    mesh = trimesh.Trimesh(engine[0].vertices, engine[0].faces, process=False).subdivide()
    finer = Body(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64))
    cabs = [patch(each, (-28, 14.4, 23), {"x": (-47.5, -16.5)}) for each in (engine, (finer, None))]
    areas = [face_normals(cab.vertices, cab.faces)[1].sum() for cab in cabs]
    assert areas[1] == pytest.approx(areas[0], rel=1e-6)
    # the roof's underside meets the side there: radius 22 mm about z = 27.6, 14.4 mm from the middle
    assert cabs[0].vertices[:, 2].max() == pytest.approx(27.6 + np.sqrt(22.0**2 - 14.4**2), abs=0.02)
