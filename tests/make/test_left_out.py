"""A region that no flat piece can be made of is left out with a sentence; the others are made."""

import numpy as np
import pytest
import trimesh

from unwrap.errors import BadInput
from unwrap.make import make_pieces, open_job
from unwrap.progress import Stopwatch

JOB = """
[job]
name = "Silo"
scale = "1:76.2"
[body]
file = "silo.stl"
[[region]]
name = "ramp"
at = [42, 0, 0.26]
crease = 80
relief = {{ {wish} }}
{wall}
[[fill]]
region = {filled}
colour = "#224466"
[[fill]]
region = "ramp"
colour = "#ffffff"
"""
WALL = '[[region]]\nname = "wall"\nat = [5, 3, 1]\n'
REFLECTED = '[[region]]\nname = "other ramp"\nmirror_of = "ramp"\n'


def ramp(turns: float = 2.0) -> trimesh.Trimesh:
    """A screw's upper side, 4 to 8 mm from its axis at x = 36: laid flat it goes round more than once."""
    turn, radius = np.meshgrid(np.linspace(0, 2 * np.pi * turns, 97), np.linspace(4.0, 8.0, 5), indexing="ij")
    places = np.stack([36 + radius * np.cos(turn), radius * np.sin(turn), 5 * turn / (2 * np.pi)], axis=2)
    a = np.arange(96)[:, None] * 5 + np.arange(4)
    quads = np.stack([a, a + 1, a + 6, a + 5], axis=2).reshape(-1, 4)
    return trimesh.Trimesh(places.reshape(-1, 3), np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))


def bench_in(folder, wall: str, filled: str, wish: str = "part = false"):
    trimesh.util.concatenate([ramp(), trimesh.creation.box((20, 6, 12))]).export(folder / "silo.stl")
    (folder / "job.toml").write_text(JOB.format(wall=wall, filled=filled, wish=wish), encoding="utf-8")
    return open_job(folder / "job.toml")


def test_a_region_that_lies_over_itself_is_left_out_with_its_reflection(tmp_path):
    made = make_pieces(bench_in(tmp_path, WALL + REFLECTED, '["ramp", "wall"]'), Stopwatch())
    assert [piece.name for piece in made.pieces] == ["wall"]
    assert [paint.colour for paint in made.pieces[0].paints] == ["#224466"]
    about, reflected = (said for said in made.report["warnings"] if "ramp" in said)
    assert about.startswith("region 'ramp': it curves so much that every flat shape found lies over itself")
    assert about.endswith("The others are made without it.")
    assert reflected == "region 'other ramp' reflects 'ramp' and is left out with it."


def test_a_job_of_nothing_else_is_refused(tmp_path):
    with pytest.raises(BadInput, match="region 'ramp': it curves so much"):
        make_pieces(bench_in(tmp_path, "", '"ramp"'), Stopwatch())


def test_it_is_parted_where_that_may_be(tmp_path):
    made = make_pieces(bench_in(tmp_path, "", '"ramp"', wish=""), Stopwatch())
    assert len(made.pieces) in (2, 3, 4)
    assert not any(piece.flat.overlap for piece in made.pieces)
    surface = sum(float(piece.flat.areas.sum()) for piece in made.pieces)
    assert surface == pytest.approx(ramp().area, rel=1e-6)
    told = f"region 'ramp' is made in {len(made.pieces)} pieces"
    assert any(told in said for said in made.report["advice"])
