"""Where no piece lies within the film, slit or not."""

import numpy as np
import pytest
from surfaces import cap, compact, mapped, nose, saddle, sheet, torus

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.relief import part, relieve
from unwrap.relief.crumple import beyond_only_where_crumpled, crumple, flat_but_for_spots

SOFT = Film.softened()
# Of a piece within, a face may stretch and shrink by 1.5 times what the film takes up.
FARTHEST = (1.0 + 1.5 * 0.05) / (1.0 - 1.5 * 0.02)


def fan(corner, count):
    """Equal isosceles faces round a vertex, up and down in turn so that each has this corner there."""
    # Ends at height +-h and at equal turns, one from the middle: their directions enclose `corner`.
    turn = 2.0 * np.pi / count
    rise = np.sqrt((np.cos(turn) - np.cos(corner)) / (1.0 + np.cos(turn)))
    turns = turn * np.arange(count)
    flat = np.sqrt(1.0 - rise**2)
    ends = np.column_stack([flat * np.cos(turns), flat * np.sin(turns), rise * (-1.0) ** np.arange(count)])
    k = np.arange(count)
    return np.vstack([np.zeros(3), ends]), np.column_stack([np.zeros(count, int), k + 1, (k + 1) % count + 1])


def spiked(*spikes):
    """A flat sheet of 60 x 40 with single vertices pulled out of it."""
    points, faces = sheet(60.0, 40.0, 800)
    v, f = mapped(points, faces, lambda x, y: (x, y, 0.0 * x))
    for right, up, tall in spikes:
        v[np.argmin(np.hypot(points[:, 0] - right, points[:, 1] - up)), 2] = tall
    return v, f


@pytest.mark.parametrize(("count", "degrees"), [(6, 75.0), (8, 60.0), (10, 41.0)])
def test_a_fan_of_equal_corners_is_measured_by_the_formula(count, degrees):
    v, f = fan(np.radians(degrees), count)
    least = 2.0 * np.arctan(np.tan(0.5 * np.radians(degrees)) / FARTHEST)
    over = crumple(flatten(v, f, SOFT))
    assert over[0] == pytest.approx(count * least - 2.0 * np.pi, rel=1e-9)
    assert not over[1:].any()


def test_a_little_more_than_a_full_turn_is_followed():
    # 8 * 45.5 degrees are 4 degrees too many; the least images of such corners leave 12 % to spare.
    assert not crumple(flatten(*fan(np.radians(45.5), 8), SOFT)).any()


def test_no_flat_shape_of_a_crumpled_fan_is_within():
    # Whatever the ends' places, some face is strained by more than a piece within may have.
    v, f = fan(np.radians(60.0), 8)
    piece = flatten(v, f, SOFT)
    assert crumple(piece)[0] > 0.0
    random = np.random.default_rng(3)
    for _ in range(300):
        gaps = random.dirichlet(np.full(8, random.uniform(1.0, 60.0)))
        turns = np.cumsum(gaps) * 2.0 * np.pi
        if gaps.max() >= 0.5:
            continue
        ends = np.column_stack([np.cos(turns), np.sin(turns)]) * random.uniform(0.7, 1.4, (8, 1))
        a, b = ends, np.roll(ends, -1, axis=0)
        sides = np.stack([v[f[:, 1]], v[f[:, 2]]], axis=2)
        lengths = np.linalg.norm(sides, axis=1)
        cosine = np.einsum("fxi,fxj->fij", sides, sides)[:, 0, 1] / lengths.prod(axis=1)
        own = np.stack(
            [
                np.column_stack([lengths[:, 0], np.zeros(8)]),
                lengths[:, 1:] * np.column_stack([cosine, np.sqrt(1.0 - cosine**2)]),
            ],
            axis=2,
        )
        s = np.linalg.svd(np.stack([a, b], axis=2) @ np.linalg.inv(own), compute_uv=False)
        assert (s[:, 0] / s[:, 1]).max() > FARTHEST


@pytest.mark.parametrize(
    "body", [cap(20.0, 60.0, 600), saddle(60.0, 15.0, 600), nose(count=600), torus(count=600)]
)
def test_what_is_merely_curved_is_nowhere_crumpled(body):
    assert not crumple(flatten(*body, SOFT)).any()


def test_a_crumpled_sheet_is_laid_as_if_it_were_smooth_and_is_told_where():
    v, f = spiked((40.0, 22.0, 3.0))
    piece = relieve(v, f, SOFT)
    over = crumple(piece)
    place = v[np.argmax(over)]
    # One of the vertices round the spike.
    assert np.linalg.norm(place - (40.0, 22.0, 0.0)) < 5.0
    assert not piece.within and not piece.cuts and not piece.overlap
    said = [note for note in piece.notes if "crumpled at" in note]
    assert len(said) == 1
    assert ", ".join(f"{x:.1f}" for x in place) in said[0]
    # True to its own size but for the faces round the spike, which are measured as they are.
    spike = f[(v[f, 2] > 0.0).any(axis=1)]
    beside = np.isin(f, np.unique(spike)).any(axis=1)
    assert np.abs(piece.stretch[~beside] - 1.0).max() < 1e-6
    assert piece.stretch[(v[f, 2] > 0.0).any(axis=1)].max() > 1.1
    corners = [int(np.argmin(np.linalg.norm(v - place, axis=1))) for place in ((0, 0, 0), (60, 40, 0))]
    away = piece.points[np.isin(piece.vertex, corners)]
    assert np.linalg.norm(away[1] - away[0]) == pytest.approx(np.hypot(60.0, 40.0), rel=1e-6)
    assert beyond_only_where_crumpled(piece)
    assert len(part(v, f, SOFT, whole=piece).sides) == 1


def test_a_dome_with_a_crumpled_spot_is_slit_as_the_sound_dome():
    v, f = cap(20.0, 60.0, 700)
    sound = relieve(v, f, SOFT)
    at = int(np.argmin(np.linalg.norm(v - 20.0 * np.array([0.3, 0.0, np.sqrt(1.0 - 0.09)]), axis=1)))
    v[at] *= 1.12
    uncut = flatten(v, f, SOFT)
    assert crumple(uncut).any()
    # The rest is curved by about pi, where the film follows 1.24 without cuts.
    assert not flat_but_for_spots(uncut, crumple(uncut))
    piece = relieve(v, f, SOFT)
    # On a cap three slits and four are as long together to within two per cent.
    assert abs(len(piece.cuts) - len(sound.cuts)) <= 1
    assert piece.cut_length == pytest.approx(sound.cut_length, rel=0.1)
    assert beyond_only_where_crumpled(piece)
    # The faces of the spike, and those of the vertices beside it.
    assert piece.area_beyond < 0.03
    known = piece.vertex >= 0
    np.testing.assert_array_equal(piece.surface[known], v[piece.vertex[known]])
    areas = np.bincount(piece.face, piece.areas, minlength=len(f))
    np.testing.assert_allclose(areas, uncut.areas, rtol=1e-6)


def test_an_opening_hides_curvature():
    # A steep cone without its tip, all flat but for the spike: slits from the edge to the opening help it.
    def place(u, v):
        turn, away = 2.0 * np.pi * u / 60.0, 8.0 + 0.5 * v
        return away * np.cos(turn), away * np.sin(turn), -2.0 * away

    points, faces = sheet(60.0, 40.0, 900, jitter=0.0)
    v, f = mapped(points, faces, place)
    first, last = points[:, 0] < 1e-9, points[:, 0] > 60.0 - 1e-9
    order = np.argsort(points[first, 1]), np.argsort(points[last, 1])
    new = np.arange(len(v))
    new[np.flatnonzero(last)[order[1]]] = np.flatnonzero(first)[order[0]]
    v, f = compact(v, new[f])
    v[np.argmin(np.linalg.norm(v - (0.0, 18.0, -36.0), axis=1))] *= 1.2
    piece = flatten(v, f, SOFT)
    assert crumple(piece).any()
    assert not flat_but_for_spots(piece, crumple(piece))
