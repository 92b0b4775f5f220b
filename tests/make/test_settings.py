"""Settings of a job reach the files: running numbers, plates, fittings, drawings on a view."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image

from unwrap.bench import Result
from unwrap.livery.carry import nearest_on
from unwrap.make import make

JOB = """
[job]
name = "barrel"
scale = "4 mm/ft"
[body]
file = "barrel.stl"
[print]
sheet = "A4"
plates = true
resolution = 100
inks = ["cyan", "magenta", "yellow", "black", "white"]
[[region]]
name = "barrel"
at = [0, 8, 0]
bridge = 0
relief = { avoid = [[0, 8, 0]], most = 3 }
[[fill]]
region = "barrel"
colour = "navy"
[[lettering]]
region = "barrel"
text = "No. {number}"
numbers = ["4", "7 A"]
height = 3
at = [-6, 8, 0]
colour = "white"
[[artwork]]
view = "left"
file = "drawn.svg"
[[fitting]]
at = [10, 8, 0]
diameter = 1.2
[[fitting]]
at = [10, 9.5, 0]
diameter = 1.2
"""
# A disc of radius 2 mm round x = -12, z = 1 as the left view shows it: +x runs to the left there.
DRAWN = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="-30 -15 60 30">
<g id="livery"><circle cx="12" cy="-1" r="2" fill="#ff0000"/></g></svg>"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("settings")
    turned = trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0])
    trimesh.creation.cylinder(radius=8.0, height=40.0, sections=64, transform=turned).export(
        folder / "barrel.stl"
    )
    (folder / "drawn.svg").write_text(DRAWN)
    (folder / "job.toml").write_text(JOB)
    return make(folder / "job.toml", folder / "out"), folder / "out"


def test_a_disc_drawn_on_the_side_is_a_disc_seen_from_the_side(made: tuple[Result, Path]) -> None:
    red = [paint for paint in made[0].pieces[0].paints if paint.kind == "artwork"]
    assert len(red) == 1
    # Over the barrel it is longer up and down than its radius by the arc of 2 mm at r = 8.
    assert np.pi * 4 < red[0].area.area < np.pi * 4 * 1.1


def test_each_number_has_a_set_of_sheets(made: tuple[Result, Path]) -> None:
    out = made[1]
    first = (out / "sheet-1.svg").read_text()
    other = (out / "number-7-A" / "sheet-1.svg").read_text()
    assert "No. 4" in first
    assert "No. 7 A" in other
    assert "No. 4" not in other


def test_plates_have_the_sheet_s_size(made: tuple[Result, Path]) -> None:
    out = made[1]
    for ink in ("cyan", "magenta", "yellow", "black", "white"):
        with Image.open(out / f"plate-1-{ink}.png") as plate:
            # A4 at 100 dots to the inch
            assert plate.size == (round(210 / 25.4 * 100), round(297 / 25.4 * 100))


def test_a_fitting_has_its_hole_and_its_slit(made: tuple[Result, Path]) -> None:
    piece = made[0].pieces[0]
    assert made[0].report["pieces"][0]["fitting_slits"] == 1
    assert piece.pierce[:, 2] == pytest.approx([1.2])
    (slit,) = piece.slits
    corners = np.pad(piece.flat.points, ((0, 0), (0, 1)))[piece.flat.faces]
    face, shares, _ = nearest_on(corners, np.pad(slit, ((0, 0), (0, 1))))
    x, _, z = np.einsum("nk,nkx->xn", shares, piece.flat.surface[piece.flat.faces[face]])
    # From the barrel's end at x = 20 to the hole, and rather towards the underside, where it shows less,
    # than straight along the side: that would be 10 mm less half the hole.
    assert x[0] == pytest.approx(20.0, abs=1e-3)
    assert z.max() < 0.6
    assert z[0] < -2.0
    length = np.linalg.norm(np.diff(slit, axis=0), axis=1).sum()
    assert 9.4 <= length < 1.3 * 9.4


def test_a_fitting_that_stands_in_the_air_is_named(made: tuple[Result, Path]) -> None:
    said = [line for line in made[0].report["warnings"] if "fitting" in line]
    assert len(said) == 1
    assert "(10, 9.5, 0) stands on no piece" in said[0]


def test_the_guide_is_there_twice(made: tuple[Result, Path]) -> None:
    out = made[1]
    assert (out / "guide.pdf").read_bytes().startswith(b"%PDF-")
    assert "http" not in (out / "guide.html").read_text().replace("http://www.w3.org", "")
