"""Sense: slips are put into bodies on purpose and must be named with their fix."""

import numpy as np
import pytest
import trimesh

from unwrap.body import load_body
from unwrap.body.sense import axes_line, guess_axes, likely_mistakes
from unwrap.body.symmetry import find_symmetry

UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


def wagon_shell():
    """A shell open underneath, 110 x 34 x 46 mm, with a chimney towards its front."""
    outer = trimesh.creation.box((110, 34, 40))
    inner = trimesh.creation.box((108, 32, 40)).apply_translation((0, 0, -1))
    chimney = trimesh.creation.cylinder(radius=4, height=6.5, sections=48).apply_translation((40, 0, 22.5))
    shell = trimesh.boolean.difference([outer, inner], engine="manifold")
    return trimesh.boolean.union([shell, chimney], engine="manifold")


def load(tmp_path, mesh, **how):
    path = tmp_path / "shell.stl"
    path.write_bytes(mesh.export(file_type="stl"))
    return load_body(path, **how)


def test_a_good_body_gives_no_cause(tmp_path):
    assert likely_mistakes(load(tmp_path, wagon_shell())) == ()


@pytest.mark.parametrize("true_unit", ["cm", "m", "in"])
@pytest.mark.parametrize("said_unit", ["mm", "cm", "m", "in"])
def test_a_wrong_unit_is_named(tmp_path, true_unit, said_unit):
    mesh = wagon_shell().apply_scale(1 / UNIT[true_unit])
    body = load(tmp_path, mesh, units=said_unit)
    said = likely_mistakes(body, units=said_unit)
    if true_unit == said_unit or 15 < body.size.max() < 1500:
        assert said == ()  # 43 mm or 280 mm long: nothing tells a slip from a small or a large scale
    else:
        assert f'set units = "{true_unit}", which makes it 110 mm' in said[0]


def test_the_real_thing_is_named_with_its_scale(tmp_path):
    said = likely_mistakes(load(tmp_path, wagon_shell().apply_scale(76.2)), scale=76.2)
    assert "8.38 m long" in said[0]
    assert "at 1:76.2 it is 110 mm" in said[0]


@pytest.mark.parametrize(("front", "up"), [("+x", "+z"), ("-y", "+z"), ("+z", "+y"), ("+x", "-y")])
def test_front_and_up_are_guessed(tmp_path, front, up):
    # The same shell, saved with other axes: what is +x and +z of the body goes to front and up.
    def axis(name):
        return (-1 if name[0] == "-" else 1) * np.eye(3)["xyz".index(name[1])]

    matrix = np.eye(4)
    matrix[:3, :3] = np.stack([axis(front), np.cross(axis(up), axis(front)), axis(up)], axis=1)
    body = load(tmp_path, wagon_shell().apply_transform(matrix))
    guess = guess_axes(body)
    assert guess[0][1] == front[1]
    assert guess[1] == up
    said = likely_mistakes(body)
    assert (said == ()) == (guess[:2] == ("+x", "+z"))
    right = load(tmp_path, wagon_shell().apply_transform(matrix), front=front, up=up)
    assert guess_axes(right, front, up) == (front, up, True)


def test_a_single_part_is_not_told_how_it_stands(tmp_path):
    # Half a tube, as wide as a roof and hollow underneath, and the front of a cab with its returns.
    tube = trimesh.creation.annulus(30.0, 32.0, 50.0, sections=128)
    upper = trimesh.creation.box((100.0, 50.0, 100.0)).apply_translation((0.0, 25.0, 0.0))
    half = trimesh.boolean.intersection([tube, upper], engine="manifold")
    turn = trimesh.transformations.rotation_matrix(np.pi / 2, [0, 0, 1])
    for part in (half, half.copy().apply_transform(turn)):
        body = load(tmp_path, part)
        assert likely_mistakes(body) == ()
        guess = guess_axes(body)
        assert guess is not None and not guess.sure
        assert "as given" in axes_line(guess, "+x", "+z")


def test_symmetry_is_measured(tmp_path):
    mesh = wagon_shell()
    assert find_symmetry(load(tmp_path, mesh)).deviation < 1e-3
    moved = find_symmetry(load(tmp_path, mesh.copy().apply_translation((0, 25, 0))))
    assert moved.middle == pytest.approx(25.0)
    assert moved.deviation < 1e-3
    # One side pushed out by 0.4 mm: the best plane is 0.2 mm off, and nothing fits better.
    bent = mesh.copy()
    bent.vertices[bent.vertices[:, 1] > 16.9, 1] += 0.4
    assert 0.1 < find_symmetry(load(tmp_path, bent)).deviation < 0.5
    assert find_symmetry(load(tmp_path, mesh), axis=0).worst > 1.0


def test_the_scale_tells_a_size_that_would_pass_without_it(tmp_path):
    # 17.6 mm could be a tiny model, but at 1:22.5 nothing real is so short
    tiny = load(tmp_path, wagon_shell().apply_scale(0.16))
    assert likely_mistakes(tiny) == ()
    (said,) = likely_mistakes(tiny, scale=22.5)
    assert "17.6 mm long, which at 1:22.5 is 396 mm of the real thing" in said
    assert 'units = "cm", which makes it 176 mm' in said
    (said,) = likely_mistakes(load(tmp_path, wagon_shell().apply_scale(12)), scale=76.2)
    assert "1.32 m long, which at 1:76.2 is 101 m of the real thing" in said


def test_a_lamp_on_one_side_does_not_move_the_middle(tmp_path):
    lamp = trimesh.creation.box((6, 5, 6)).apply_translation((30, 18.5, 10))
    mesh = trimesh.boolean.union([wagon_shell(), lamp], engine="manifold").apply_translation((0, 7, 0))
    body = load(tmp_path, mesh)
    assert body.bounds[:, 1].mean() == pytest.approx(9)
    assert body.middle == pytest.approx(7, abs=1e-3)
