"""What a cut costs: cheap where it hides, dear where it is looked at."""

import numpy as np
import pytest
from surfaces import cap

from unwrap.body.body import Body
from unwrap.cut_cost import cut_cost
from unwrap.film import Film
from unwrap.job import read_job
from unwrap.make import bridge_of
from unwrap.regions.region import Detail, Patch
from unwrap.relief import relieve

JOB = """
[job]
name = "Quarry tramway 3"
scale = "1:76.2"
[body]
file = "shell.stl"
[film]
state = "softened"
[[region]]
name = "dome"
at = [0, 0, 20]
"""


@pytest.fixture
def dome():
    v, f = cap(20.0, 50.0, 700)
    t = np.linspace(-15.0, 15.0, 61)
    course = np.column_stack([0 * t + 4.0, t, np.sqrt(400.0 - 16.0 - t * t)])
    groove = Detail("groove", (4.0, 0.0, 19.5), -0.2, 0.3, 1.1, course)
    return Patch("dome", v, f, details=(groove,))


def job_of(folder, more=""):
    path = folder / "job.toml"
    path.write_text(JOB + more)
    job = read_job(path)
    assert bridge_of(job, job.region[0]) > 0
    return job


def test_a_panel_line_is_cheap(dome, tmp_path):
    job = job_of(tmp_path)
    cost, clear = cut_cost(job, job.region[0], dome)
    assert clear is None
    on_line = np.abs(dome.vertices[:, 0] - 4.0) < 0.8
    beside = np.abs(dome.vertices[:, 0] - 4.0) > 2.0
    # Ground that faces the same way costs half under the line at most, and the same away from it.
    bare, _ = cut_cost(job, job.region[0], Patch("dome", dome.vertices, dome.faces))
    top = dome.vertices[:, 2] > 16.0
    assert (cost / bare)[on_line & top].max() < 0.51
    assert (cost / bare)[beside & top].min() > 0.99


def test_cuts_follow_a_panel_line(dome, tmp_path):
    job = job_of(tmp_path)
    cost, _ = cut_cost(job, job.region[0], dome)
    piece = relieve(dome.vertices, dome.faces, Film.softened(), cost=cost)
    assert piece.within
    assert piece.cuts
    longest = max(piece.cuts, key=len)
    # The line is 4 mm off the middle: a cut that pays no heed to it runs anywhere.
    assert np.median(np.abs(longest[:, 0] - 4.0)) < 1.5


def test_the_edge_of_a_drawn_panel_is_cheap_and_a_small_shape_dear(dome, tmp_path):
    (tmp_path / "drawn.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-16 -16 32 32" width="32mm" height="32mm">'
        '<g id="livery"><rect x="-16" y="-16" width="32" height="14" fill="#204060"/>'
        '<rect x="-2" y="6" width="4" height="4" fill="#a02020"/></g></svg>'
    )
    job = job_of(tmp_path, '[[artwork]]\nview = "top"\nfile = "drawn.svg"\n')
    body = Body(vertices=dome.vertices, faces=dome.faces)
    plain = Patch("dome", dome.vertices, dome.faces)
    cost, _ = cut_cost(job, job.region[0], plain, body, tmp_path)
    assert cost.max() >= 6.0
    assert cost.min() < 0.7


def test_long_words_are_dear_where_they_stand_and_no_further(dome, tmp_path):
    words = 'text = "QUARRY LINE"\nheight = 2\nat = [0, 0, 20]\ncolour = "white"\n'
    job = job_of(tmp_path, f'[[lettering]]\nregion = "dome"\n{words}')
    plain = Patch("dome", dome.vertices, dome.faces)
    cost, _ = cut_cost(job, job.region[0], plain)
    bare, _ = cut_cost(job_of(tmp_path), job.region[0], plain)
    dear = cost > 5.0 * bare
    along, across, _ = np.abs(dome.vertices).T
    # Eleven capitals of 2 mm run along the top; 0.5 mm beside them is spared too.
    assert dear[(along < 8.0) & (across < 0.9)].all()
    assert not dear[across > 2.0].any()


def test_what_lies_behind_is_cheaper_the_more_it_faces_the_rear(dome, tmp_path):
    job = job_of(tmp_path)
    cost, _ = cut_cost(job, job.region[0], Patch("dome", dome.vertices, dome.faces))
    x, y, _ = dome.vertices.T
    middle = np.abs(y) < 1.0
    order = np.argsort(x[middle])
    # Along the middle from the rear to the front it never falls: a slit that may lie anywhere lies behind.
    smooth = np.convolve(cost[middle][order], np.ones(5) / 5, mode="valid")
    assert (np.diff(smooth) > -0.01).all()
    assert cost[x < -14.0].max() < 0.8 < 1.2 < cost[x > 14.5].min()


def test_the_one_slit_of_a_shallow_dome_goes_to_the_rear(tmp_path):
    v, f = cap(30.0, 40.0, 700)
    job = job_of(tmp_path)
    cost, _ = cut_cost(job, job.region[0], Patch("dome", v, f))
    piece = relieve(v, f, Film.softened(), cost=cost)
    assert piece.within
    (cut,) = piece.cuts
    assert cut[:, 0].max() < 0.0
