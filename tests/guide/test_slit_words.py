"""Where slits and holes lie on the model, in words that can be checked against the piece."""

import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1] / "livery"))

from livery_patches import flat_side, slit_cap

from unwrap.guide.slit_words import about_holes, about_slits
from unwrap.sheet.marks import sheet_marks
from unwrap.sheet.naming import slit_mouths
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Placement, Sheet


def by(start, along, up):
    """A place beside another."""
    return np.add(start, (along, up))


def side(slits=(), pierce=(), fitted=0):
    carry = flat_side(60.0, 25.0, 6, 3)
    outline = shapely.box(*carry.flat.points.min(axis=0), *carry.flat.points.max(axis=0))
    marks = np.reshape(np.array(pierce, dtype=float), (-1, 3))
    cuts = tuple(np.array(slit, dtype=float) for slit in slits)
    return Piece("side", "side", carry.patch, carry.flat, outline, pierce=marks, slits=cuts, fitted=fitted)


def test_a_fitting_slit_is_told_from_its_edge_to_its_hole():
    low = side().flat.points.min(axis=0)
    middle = by(low, 30.0, 12.5)
    piece = side([[by(low, 30.0, 0.0), middle - [0, 0.5]]], [[*middle, 1.0]], 1)
    (slit, how) = about_slits(piece)
    # The patch has no corner near the slit: places are found inside its faces.
    assert slit == "Slit 1, a fitting slit of 12.0 mm, from the edge low down to its hole in the middle."
    assert "as far as its hole" in how
    assert about_holes(piece)[0].startswith("Cut out before soaking")
    later = replace(piece, fitted=0)
    assert about_holes(later)[0].startswith("Pierce when the film is quite dry: 1 of 1.0 mm")


def test_a_slit_that_begins_at_another_says_so():
    low = side().flat.points.min(axis=0)
    first = [by(low, 30.0, 0.0), by(low, 30.0, 12.0)]
    second = [by(low, 30.0, 6.0), by(low, 34.0, 6.0)]
    said = about_slits(side([first, second], [[*by(low, 30.0, 12.5), 1], [*by(low, 34.5, 6.0), 1]], 2))
    assert "from slit 1" in said[1]
    assert "Cut them in this order" in said[2]


def test_a_relief_cut_is_told_from_its_mouth_to_its_tip():
    carry = slit_cap()
    lip = carry.flat.surface[np.abs(carry.flat.surface[:, 1]) < 1e-9]
    lip = lip[lip[:, 0] > 0]
    lip = np.unique(lip[np.argsort(-lip[:, 0])].round(9), axis=0)[::-1]
    flat = replace(carry.flat, cuts=(lip,))
    outline = shapely.Polygon(flat.points).convex_hull
    said = about_slits(Piece("dome", "dome", carry.patch, flat, outline))
    length = float(re.search(r"of ([\d.]+) mm", said[0])[1])
    assert abs(length - np.linalg.norm(np.diff(lip, axis=0), axis=1).sum()) < 0.05
    assert "from the edge towards the front, low down, to" in said[0]


def test_numbers_of_slits_that_begin_together_do_not_run_into_one():
    low = side().flat.points.min(axis=0)
    foot = by(low, 30.0, 0.0)
    piece = side([[foot, by(foot, -1.0, 8.0)], [foot, by(foot, 1.0, 8.0)]])
    assert len(slit_mouths(piece)) == 2
    sheet = Sheet(1, 148.0, 210.0, (Placement(piece, 0.0, tuple(40.0 - low)),))
    boxes = []
    for mark in sheet_marks(sheet):
        if mark.text.startswith("slit "):
            points = np.concatenate([curve.spans.reshape(-1, 2) for curve in mark.curves])
            boxes.append(shapely.box(*points.min(axis=0), *points.max(axis=0)))
    one, two = boxes
    # Half a figure's height lies between them.
    assert shapely.distance(one, two) > 0.5
