"""The renderer: what a pixel shows is what analytic geometry says."""

import numpy as np
import pytest
import trimesh
from PIL import Image

from unwrap.body.body import Body
from unwrap.body.camera import cast, cast_finer, look_along, places_of
from unwrap.body.picture import draw_body, take_shots
from unwrap.body.rays import Rays
from unwrap.body.render import changing, coloured, corner_normals, edge_ink, shade, toned


def arrays(mesh):
    return np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)


def test_a_pixel_shows_the_place_that_projects_on_it():
    vertices, faces = arrays(trimesh.creation.icosphere(4, radius=10).apply_translation((500, -300, 40)))
    camera = look_along(vertices, (-1, -0.8, -0.5), width=200)
    hits = cast(Rays(vertices, faces), camera)
    places = places_of(vertices, faces, hits)
    row, column = np.nonzero(hits.seen)
    projected = camera.project(places)
    assert projected[:, 0] == pytest.approx(column + 0.5, abs=0.02)
    assert projected[:, 1] == pytest.approx(row + 0.5, abs=0.02)
    # The near side of the ball, not the far one.
    assert ((places - (500, -300, 40)) @ camera.ahead < 0.1).all()
    # A ball covers pi r^2.
    assert hits.seen.sum() * camera.pixel**2 == pytest.approx(np.pi * 100, rel=0.01)


def test_depth_is_distance_along_the_view():
    vertices, faces = arrays(trimesh.creation.box((10, 10, 10)))
    camera = look_along(vertices, (0, 0, -1), width=100)
    hits = cast(Rays(vertices, faces), camera)
    assert np.ptp(hits.depth[hits.seen]) < 1e-4
    assert not hits.seen[0, 0]


def test_normals_are_smooth_on_a_barrel_and_sharp_at_its_end():
    mesh = trimesh.creation.cylinder(radius=5, height=20, sections=64)
    vertices, faces = arrays(mesh)
    normals = corner_normals(vertices, faces)
    side = np.abs(mesh.face_normals[:, 2]) < 0.1
    radial = vertices[faces[side]] * [1, 1, 0] / 5
    # The exact normal of the barrel, which facets of 5.6 degrees come near.
    assert np.einsum("mcd,mcd->mc", normals[side], radial).min() > np.cos(np.radians(2.9))
    assert np.abs(normals[~side][..., 2]).min() > 0.9999


def test_corners_are_darker_than_open_ground():
    floor = trimesh.creation.box((40, 40, 1))
    wall = trimesh.creation.box((40, 1, 20)).apply_translation((0, 10, 10))
    vertices, faces = arrays(trimesh.util.concatenate([floor, wall]))
    camera = look_along(vertices, (0, 0, -1), width=160)
    rays = Rays(vertices, faces)
    hits = cast(rays, camera)
    light = shade(rays, vertices, faces, hits, camera)
    x, y = camera.project(np.array([[0.0, 8.5, 0.5], [0.0, -12.0, 0.5]]))[:, :2].astype(int).T
    assert light[y[0], x[0]] < light[y[1], x[1]] - 0.05
    normals = Body(vertices, faces).normals
    ink = edge_ink(normals, hits.face, hits.depth, camera)
    assert ink[y[1], x[1]] == 0
    tone = toned(light, ink)
    picture = coloured(hits.face, tone, np.full((len(faces), 3), 0.5, dtype=np.float32), 2)
    assert picture.shape == (80, 80, 3)
    assert (picture[0, 0] == 255).all()
    four = np.where(hits.seen, 0.5 * tone, 1.0)[30:32, 40:42]
    assert picture[15, 20] == pytest.approx(np.full(3, 255 * four.mean()), abs=0.51)


def test_the_look_picture_tints_and_letters(tmp_path):
    mesh = trimesh.creation.box((30, 12, 12))
    body = Body(*arrays(mesh), "sample")
    labels = np.where(np.abs(mesh.face_normals[:, 1]) > 0.5, 0, -1)
    shots = take_shots(body, width=240)
    draw_body(body, shots, tmp_path / "plain.png")
    draw_body(body, shots, tmp_path / "tinted.png", labels=labels, names={0: "A"})
    plain, tinted = (np.asarray(Image.open(tmp_path / f"{n}.png")).astype(int) for n in ("plain", "tinted"))
    assert plain.shape == tinted.shape == (2 * 192, 480, 3)
    # Only the tinted one has any blue to speak of.
    assert (plain[..., 2] - plain[..., 0]).max() < 5
    assert ((tinted[..., 2] - tinted[..., 0]) > 40).sum() > 1000


def test_more_rays_only_where_the_picture_changes_show_the_same_as_everywhere():
    mesh = trimesh.util.concatenate(
        [trimesh.creation.box((30, 12, 12)), trimesh.creation.cylinder(4, 30).apply_translation((3, 0, 0))]
    )
    body = Body(*arrays(mesh))
    camera = look_along(body.vertices, (-1, -0.9, -0.65), width=300)
    hits = cast(body.rays, camera)
    wanted = changing(body.normals, hits, camera)
    assert 0.02 < wanted.mean() < 0.5
    face, _ = cast_finer(body.rays, hits, camera, 2, wanted)
    whole = cast(body.rays, camera.finer(2)).face
    like = np.einsum("hwd,hwd->hw", body.normals[face], body.normals[whole]) > 0.99
    assert ((face >= 0) == (whole >= 0)).mean() > 0.9999
    assert like[(face >= 0) & (whole >= 0)].mean() > 0.9995
