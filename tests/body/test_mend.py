"""Mending keeps the shape: areas and volumes are those of the body without the flaw."""

import numpy as np
import pytest
import trimesh

from unwrap.body.body import Body
from unwrap.body.edges import find_edges
from unwrap.body.mend import close_cracks, join_t_junctions, mend_mesh, take_slivers_out
from unwrap.body.weld import drop_empty_faces, weld
from unwrap.body.winding import wind_outward


def arrays(mesh):
    return np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)


def volume(vertices, faces):
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    return float(np.einsum("md,md->", a, np.cross(b, c)) / 6)


def open_count(faces):
    return int((find_edges(faces).number != 2).sum())


def box():
    return arrays(trimesh.creation.box((20, 12, 8)).subdivide().subdivide())


def test_welding_finds_places_that_a_grid_would_part():
    random = np.random.default_rng(0)
    vertices, faces = box()
    soup = vertices[faces].reshape(-1, 3) + random.uniform(-2e-4, 2e-4, (3 * len(faces), 3))
    welded, numbered, moved = weld(soup, np.arange(len(soup)).reshape(-1, 3), 1e-3)
    assert len(welded) == len(vertices)
    assert moved == len(soup) - len(vertices)
    assert open_count(numbered) == 0


def test_repeated_and_back_to_back_faces_are_dropped_and_counted():
    _, faces = box()
    twice = np.concatenate([faces, faces[:7, [1, 2, 0]], faces[10:15, ::-1], [[3, 3, 4]]])
    kept, repairs = drop_empty_faces(twice)
    assert np.array_equal(kept, faces)
    assert [r.split()[1] for r in repairs] == ["1", "5", "7"]


def test_a_crack_is_closed():
    vertices, faces = box()
    upper = (vertices[faces][:, :, 2] > -1e-9).all(axis=1)
    split = np.concatenate([vertices, vertices + np.array([0, 0, 0.004])])
    cracked = np.where(upper[:, None], faces + len(vertices), faces)
    assert open_count(cracked) > 0
    closed, joined = close_cracks(split, cracked, 0.01)
    assert joined == (np.abs(vertices[:, 2]) < 1e-9).sum()
    assert open_count(closed) == 0
    assert volume(split, closed) == pytest.approx(20 * 12 * 8, rel=1e-3)


def test_t_junctions_are_joined():
    # Two halves of a box's skin, one of them subdivided: every new vertex is a T-junction.
    coarse, fine = (
        trimesh.creation.box((20, 12, 8)),
        trimesh.creation.box((20, 12, 8)).subdivide().subdivide(),
    )
    top = fine.submesh([np.flatnonzero(fine.face_normals[:, 2] > 0.5)], append=True)
    rest = coarse.submesh([np.flatnonzero(coarse.face_normals[:, 2] < 0.5)], append=True)
    joined = trimesh.util.concatenate([top, rest])
    vertices, faces, _ = weld(*arrays(joined), 1e-6)
    assert open_count(faces) > 0
    mended, count = join_t_junctions(vertices, faces, 0.01)
    assert count == 4 * 3
    assert open_count(mended) == 0
    assert volume(vertices, mended) == pytest.approx(20 * 12 * 8, rel=1e-9)


def test_slivers_go_without_opening_anything():
    vertices, faces = box()
    random = np.random.default_rng(1)
    for face in random.choice(len(faces), 40, replace=False):
        a, b, c = faces[face]
        middle = 0.5 * (vertices[a] + vertices[b]) + 1e-5 * (vertices[c] - vertices[a])
        vertices = np.vstack([vertices, middle])
        new = len(vertices) - 1
        faces[face] = (a, new, c)
        # Two faces where one was, and a sliver between them and the neighbour.
        faces = np.vstack([faces, [[new, b, c], [a, b, new]]])
    assert open_count(faces) == 0
    mended, taken = take_slivers_out(vertices, faces, 1e-3)
    assert taken == 40
    assert open_count(mended) == 0
    p = vertices[mended]
    height = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    assert height.min() > 0.1
    assert volume(vertices, mended) == pytest.approx(20 * 12 * 8, rel=1e-4)


def test_a_sound_body_is_left_alone():
    vertices, faces = box()
    mended, repairs = mend_mesh(vertices, faces, 25.0)
    assert mended is faces
    assert repairs == []


@pytest.mark.parametrize("seed", range(3))
def test_random_winding_is_made_good(seed):
    vertices, faces = arrays(trimesh.creation.torus(major_radius=10, minor_radius=3))
    random = np.random.default_rng(seed)
    flipped = random.random(len(faces)) < 0.5
    mixed = np.where(flipped[:, None], faces[:, ::-1], faces)
    wound = wind_outward(Body(vertices, mixed))
    assert volume(vertices, wound.faces) == pytest.approx(2 * np.pi**2 * 10 * 9, rel=0.02)
    assert find_edges(wound.faces).agree.all()
    assert len(wound.repairs) == 1


def test_an_open_shell_has_its_outside_outward():
    # A bell, open underneath, wound inside out.
    ball = trimesh.creation.icosphere(4, radius=10)
    half = ball.submesh([np.flatnonzero(ball.triangles_center[:, 2] > -4)], append=True)
    vertices, faces = arrays(half)
    wound = wind_outward(Body(vertices, faces[:, ::-1]))
    a, b, c = np.moveaxis(wound.corners, 1, 0)
    assert np.einsum("md,md->m", np.cross(b - a, c - a), a + b + c).min() > 0


def test_a_hidden_hollow_stays_inside_out():
    outer, inner = trimesh.creation.icosphere(3, radius=10), trimesh.creation.icosphere(3, radius=8)
    inner.invert()
    vertices, faces = arrays(trimesh.util.concatenate([outer, inner]))
    body = Body(vertices, faces)
    assert wind_outward(body) is body


def test_a_one_sided_strip_is_left_and_said():
    # Moebius: 40 quads along a half-twisted band.
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    vertices = []
    for t in turn:
        for s in (-1.0, 1.0):
            radius = 10 + s * np.cos(t / 2)
            vertices.append((radius * np.cos(t), radius * np.sin(t), s * np.sin(t / 2)))
    faces = []
    for k in range(40):
        a, b = 2 * k, 2 * k + 1
        c, d = (2 * k + 2, 2 * k + 3) if k < 39 else (1, 0)
        faces += [(a, b, c), (b, d, c)]
    wound = wind_outward(Body(np.array(vertices), np.array(faces)))
    assert any("one-sided" in repair for repair in wound.repairs)
