"""Parts that already stand on the model: a hole for each, and slits that keep off what is printed."""

import numpy as np
import pytest
import shapely
import trimesh

from unwrap.make import make_pieces, open_job
from unwrap.progress import Stopwatch

JOB = """
[job]
name = "Quarry wagon"
scale = "1:76.2"
[body]
file = "shell.stl"
[film]
state = "set"
[[region]]
name = "left"
at = [0, 8, 10]
{wishes}
[[region]]
name = "right"
mirror_of = "left"
"""
NAME = '[[lettering]]\nregion = "left"\ntext = "QUARRY"\nheight = 2\nat = [0, 8, 17]\ncolour = "white"\n'


def made(folder, more="", wishes=""):
    shell = trimesh.creation.box((60, 16, 20)).apply_translation((0, 0, 10))
    shell.export(folder / "shell.stl")
    path = folder / "job.toml"
    path.write_text(JOB.format(wishes=wishes) + more, encoding="utf-8")
    result = make_pieces(open_job(path), Stopwatch())
    return {piece.name: piece for piece in result.pieces}, result.report["warnings"]


def fitting(x, z, diameter=1.0, side=8):
    return f"[[fitting]]\nat = [{x}, {side}, {z}]\ndiameter = {diameter}\n"


def on_model(piece, places):
    """Where places of a flat side lie on the model: x and z."""
    flat = piece.flat
    fitted = np.linalg.lstsq(np.column_stack([flat.points, np.ones(len(flat.points))]), flat.surface)[0]
    return (np.column_stack([places, np.ones(len(places))]) @ fitted)[:, [0, 2]]


def test_a_slit_keeps_off_lettering_on_both_sides(tmp_path):
    # 6 mm from the top edge through the name, 9 mm from the bottom edge.
    pieces, said = made(tmp_path, NAME + fitting(0, 11) + fitting(0, 11, side=-8))
    assert said == []
    for name in ("left", "right"):
        (slit,) = pieces[name].slits
        assert on_model(pieces[name], slit)[:, 1].max() < 11.5
        assert pieces[name].pierce[0, 2] == 1.0


def test_a_slit_keeps_off_small_artwork(tmp_path):
    (tmp_path / "crest.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-30 -20 60 20" width="60mm" height="20mm">'
        '<g id="livery"><rect x="-5" y="-19" width="10" height="5" fill="#a02020"/></g></svg>'
    )
    pieces, _ = made(tmp_path, '[[artwork]]\nview = "left"\nfile = "crest.svg"\n' + fitting(0, 11))
    (slit,) = pieces["left"].slits
    assert on_model(pieces["left"], slit)[:, 1].max() < 11.5


def test_a_reflected_side_keeps_clear_what_its_original_does(tmp_path):
    wishes = "relief = { keep_clear = [[0, 8, 0], [-5, 8, 0], [5, 8, 0]], reach = 6 }"
    pieces, _ = made(tmp_path, fitting(0, 9) + fitting(0, 9, side=-8), wishes)
    for name in ("left", "right"):
        (slit,) = pieces[name].slits
        assert on_model(pieces[name], slit)[:, 1].min() > 8.0


def test_slits_of_a_row_of_fittings_never_cross(tmp_path):
    row = [(-3, 8), (-1, 8.5), (1, 9), (3, 8), (0, 5), (0.5, 3)]
    pieces, _ = made(tmp_path, "".join(fitting(x, z) for x, z in row))
    piece = pieces["left"]
    assert len(piece.pierce) == len(row)
    holes = [shapely.Point(x, y).buffer(0.5 * d) for x, y, d in piece.pierce]
    lines = [shapely.LineString(slit) for slit in piece.slits]
    for k, line in enumerate(lines):
        for hole in holes:
            assert line.intersection(hole).length < 0.02
        for other in lines[:k]:
            # It may begin on another, and meets it nowhere else.
            met = shapely.get_coordinates(line.intersection(other))
            assert (np.linalg.norm(met - line.coords[0], axis=1) < 1e-6).all()


def test_a_fitting_on_nothing_or_over_a_whole_piece_is_told(tmp_path):
    _, said = made(tmp_path, fitting(0, 40) + fitting(0, 10, 80.0))
    assert any("(0, 8, 40) stands on no piece" in sentence for sentence in said)
    assert any("80 mm wide and leaves nothing of piece left" in sentence for sentence in said)


@pytest.mark.parametrize("z", [0.2, 19.9])
def test_a_fitting_where_two_surfaces_meet_needs_no_slit(tmp_path, z):
    pieces, _ = made(tmp_path, fitting(0, z))
    assert pieces["left"].slits == ()
    assert len(pieces["left"].pierce) == 1
