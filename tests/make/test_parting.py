"""A region that curves like a saddle comes out in pieces that lap, with its livery across them."""

import numpy as np
import pytest
import trimesh
from surfaces import saddle

from unwrap.job import read_job
from unwrap.make import make_pieces, open_job
from unwrap.parting import BENEATH, over_reflected, with_parts
from unwrap.progress import Stopwatch

JOB = """
[job]
name = "Flare"
scale = "1:76.2"
[body]
file = "flare.stl"
[film]
state = "softened"
[[region]]
name = "flare"
at = [0, 0, 0]
crease = 80
{reflection}
[[fill]]
region = "flare"
colour = "#224466"
[[lining]]
region = "flare"
inset = 2
lines = [{{ width = 0.6, colour = "#e8d9a0" }}]
"""


REFLECTION = '[[region]]\nname = "other"\nmirror_of = "flare"'


def job_in(folder, reflection=""):
    v, f = saddle(60.0, 12.0, 300)
    trimesh.Trimesh(v, f, process=False).export(folder / "flare.stl")
    path = folder / "job.toml"
    path.write_text(JOB.format(reflection=reflection), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    bench = open_job(job_in(tmp_path_factory.mktemp("flare")))
    return make_pieces(bench, Stopwatch())


def test_each_part_fits_and_one_runs_on_under_the_other(result):
    names = [piece.name for piece in result.pieces]
    assert names == ["flare 1 of 2", "flare 2 of 2"]
    first, second = result.pieces
    assert all(piece.flat.within for piece in result.pieces)
    assert first.under == ("flare 2 of 2",)
    assert second.under == ()
    # The strip is as long as the parting and as wide as it should be.
    gained = [piece.outline.area - flat_area(piece.flat) for piece in (first, second)]
    assert gained[0] == pytest.approx(BENEATH * 64.0, rel=0.15)
    assert gained[1] == pytest.approx(0.0, abs=0.05)


def test_lining_goes_round_the_whole_and_not_along_the_parting(result):
    lines = [paint for piece in result.pieces for paint in piece.paints if paint.kind == "line"]
    assert len(lines) == 2
    # 60 mm a side less the insets, longer over the surface than in plan by the saddle's arcs.
    around = sum(paint.area.area for paint in lines) / 0.6
    assert 4 * 56.0 < around < 4 * 66.0
    assert any("made in 2 pieces" in said for said in result.report["advice"])


def test_parts_take_the_place_of_a_region_in_every_mark(tmp_path):
    job = with_parts(read_job(job_in(tmp_path, REFLECTION)), "flare", 2)
    assert [mark.mirror_of for mark in job.region] == [None, None, "flare 1 of 2", "flare 2 of 2"]
    first, _, reflected, _ = job.region
    assert over_reflected(reflected, first, ["flare 2 of 2"]) == ("other 2 of 2",)
    assert job.fill[0].region == ["flare 1 of 2", "flare 2 of 2"]
    assert job.lining[0].together


def flat_area(flat):
    a, b, c = np.moveaxis(flat.points[flat.faces], 1, 0)
    u, v = b - a, c - a
    return 0.5 * np.sum(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def test_a_region_that_may_not_be_parted_is_told_how_it_could(tmp_path):
    result = make_pieces(open_job(job_in(tmp_path, "relief = { part = false, most = 2 }")), Stopwatch())
    (piece,) = result.pieces
    assert not piece.flat.within
    notes = " ".join(piece.flat.notes)
    assert "part = true" in notes
    # Lips would overlap however many slits there are: more of them are no help.
    assert "more cuts" not in notes
