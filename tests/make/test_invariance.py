"""Turning, shifting, reflecting, renumbering and scaling a body change nothing but what they must."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from unwrap.bench import Result
from unwrap.job import parse_job
from unwrap.make import lay_out_bench, make_pieces
from unwrap.progress import Stopwatch
from unwrap.sheet.outline import outline_of
from unwrap.sheet.smallest_box import smallest_box

RADIUS, LENGTH, SECTIONS = 8.0, 40.0, 40


def body() -> trimesh.Trimesh:
    """A closed barrel along x."""
    barrel = trimesh.creation.cylinder(radius=RADIUS, height=LENGTH, sections=SECTIONS)
    barrel.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
    return barrel


def job(
    file: str, scale: float = 1.0, shift: np.ndarray | None = None, flip: float = 1.0, extra: str = ""
) -> str:
    at = np.array([0.0, RADIUS * flip, 0.0]) * scale + (0.0 if shift is None else shift)
    at_x = 5.0 * scale + (0.0 if shift is None else shift[0])
    return f"""
[job]
name = "barrel"
scale = "1:76.2"
[body]
file = "{file}"
{extra}
[print]
sheet = "A3"
min_line = 0
min_gap = 0
[[region]]
name = "barrel"
at = [{at[0]}, {at[1]}, {at[2]}]
bridge = 0
[[band]]
region = "barrel"
at_x = {at_x}
lines = [{{ width = {0.5 * scale}, colour = "red" }}]
"""


def result_of(mesh: trimesh.Trimesh, folder: Path, text: str) -> Result:
    mesh.export(folder / "barrel.stl")
    return make_pieces(lay_out_bench(parse_job(text), folder), Stopwatch())


def figures(result: Result) -> np.ndarray:
    piece = result.pieces[0]
    band = next(paint for paint in piece.paints if paint.kind == "band")
    # The film on the model; the lap at its joint and the bleed have sizes of their own.
    laid, _ = outline_of(piece.flat.points, piece.flat.faces)
    box = smallest_box(laid)
    on_piece = band.area.intersection(laid).area
    stretch = piece.flat.stretch
    return np.array([2 * (box.along + box.across), laid.area, on_piece, stretch.max(), stretch.min()])


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    return figures(result_of(body(), tmp_path_factory.mktemp("plain"), job("barrel.stl")))


def test_the_plain_barrel_is_its_facets(plain: np.ndarray) -> None:
    # A prism of 40 sides: girth 2 n r sin(pi/n), by elementary geometry.
    girth = 2 * SECTIONS * RADIUS * np.sin(np.pi / SECTIONS)
    assert plain[0] == pytest.approx(2 * (girth + LENGTH), rel=1e-5)
    assert plain[1] == pytest.approx(girth * LENGTH, rel=1e-5)
    assert plain[3:] == pytest.approx(1.0, abs=1e-6)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**16), shift=st.tuples(*[st.floats(-30, 30)] * 3))
def test_renumbering_and_shifting(
    seed: int, shift: tuple[float, ...], plain: np.ndarray, tmp_path: Path
) -> None:
    mesh, rng = body(), np.random.default_rng(seed)
    faces = mesh.faces[rng.permutation(len(mesh.faces))]
    faces = np.array([np.roll(face, rng.integers(3)) for face in faces])
    moved = trimesh.Trimesh(mesh.vertices + shift, faces, process=False)
    found = figures(result_of(moved, tmp_path, job("barrel.stl", shift=np.array(shift))))
    assert found == pytest.approx(plain, rel=2e-5)


def test_reflecting(plain: np.ndarray, tmp_path: Path) -> None:
    mesh = body()
    mirrored = trimesh.Trimesh(mesh.vertices * [1, -1, 1], mesh.faces[:, ::-1], process=False)
    assert figures(result_of(mirrored, tmp_path, job("barrel.stl", flip=-1.0))) == pytest.approx(
        plain, rel=1e-5
    )


def test_other_axes_in_the_file(plain: np.ndarray, tmp_path: Path) -> None:
    mesh = body()
    turned = trimesh.Trimesh(mesh.vertices[:, [1, 2, 0]], mesh.faces, process=False)  # z forward, y up
    text = job("barrel.stl", extra='front = "+z"\nup = "+y"')
    assert figures(result_of(turned, tmp_path, text)) == pytest.approx(plain, rel=1e-5)


@pytest.mark.parametrize("scale", [0.3, 2.5])
def test_scaling(scale: float, plain: np.ndarray, tmp_path: Path) -> None:
    mesh = body()
    mesh.apply_scale(scale)
    found = figures(result_of(mesh, tmp_path, job("barrel.stl", scale=scale)))
    expected = plain * [scale, scale**2, scale**2, 1, 1]
    # Fitted edges are good to 0.02 mm at any size, so a smaller band is relatively less exact.
    assert found[2] == pytest.approx(expected[2], rel=5e-3)
    assert np.delete(found, 2) == pytest.approx(np.delete(expected, 2), rel=2e-5)


def test_inches(plain: np.ndarray, tmp_path: Path) -> None:
    mesh = body()
    mesh.apply_scale(1 / 25.4)
    found = figures(result_of(mesh, tmp_path, job("barrel.stl", extra='units = "in"')))
    assert found == pytest.approx(plain, rel=2e-5)
