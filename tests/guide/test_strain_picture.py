from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from unwrap import Film
from unwrap.guide.strain import draw_strain
from unwrap.guide.tones import telling_strain, tones

FILM = Film(stretch=0.04, compression=0.02)
ENDS = (-0.06, 0.10)


def lightness(srgb):
    """CIE 1976 L* of sRGB from 0 to 1 (IEC 61966-2-1 and CIE 15)."""
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def seen_by(srgb, matrix):
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return np.clip(linear @ np.array(matrix).T, 0, 1)


# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for
# Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, severity 1.0; from memory.
PROTAN = [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
DEUTAN = [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]


def test_scale_darkens_on_both_sides_and_jumps_at_the_limits():
    grow = lightness(tones(np.linspace(0, 0.10, 201), FILM, ENDS))
    shrink = lightness(tones(np.linspace(0, -0.06, 201), FILM, ENDS))
    for side in (grow, shrink):
        assert (np.diff(side) <= 1e-9).all()
        assert side[0] - side[-1] > 50
    just_in, just_out = tones(np.array([0.0399, 0.0401]), FILM, ENDS)
    assert lightness(just_in) - lightness(just_out) > 20
    just_in, just_out = tones(np.array([-0.0199, -0.0201]), FILM, ENDS)
    assert lightness(just_in) - lightness(just_out) > 20


def test_window_is_nearly_neutral():
    within = tones(np.linspace(-0.02, 0.04, 50), FILM, ENDS)
    assert np.ptp(within, axis=1).max() < 0.1
    assert within.min() > 0.8


@pytest.mark.parametrize("matrix", [PROTAN, DEUTAN])
def test_growing_and_shrinking_keep_apart_for_the_colour_blind(matrix):
    for share in (0.1, 0.5, 1.0):
        grow = seen_by(tones(np.array([0.04 + share * 0.06]), FILM, ENDS), matrix)[0]
        shrink = seen_by(tones(np.array([-0.02 - share * 0.04]), FILM, ENDS), matrix)[0]
        # Blue against yellow is what both kinds still tell: it must have opposite signs.
        blue_over_yellow = (grow[2] - grow[:2].mean(), shrink[2] - shrink[:2].mean())
        assert blue_over_yellow[0] < -0.02 < 0.02 < blue_over_yellow[1]


def test_telling_strain_is_the_one_that_asks_more():
    stretch = np.array([[1.03, 0.99], [1.01, 0.985], [1.0, 1.0], [1.05, 1.02], [0.99, 0.97]])
    assert telling_strain(stretch, FILM) == pytest.approx([0.03, -0.015, 0.0, 0.05, -0.03])


def test_film_that_takes_nothing_still_has_a_scale():
    rigid = Film(0.0, 0.0)
    colours = tones(np.array([-0.01, 0.0, 0.01]), rigid, (-0.01, 0.01))
    assert np.isfinite(colours).all()
    assert len(np.unique(np.round(colours, 3), axis=0)) == 3


def picture_of(path):
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_picture_shows_what_is_beyond_the_film(tmp_path, pieces):
    """The dome's rim is past the film's shrinking: purple; the barrel stays neutral."""
    both = picture_of(draw_strain(pieces, tmp_path / "strain.png"))
    barrel = picture_of(draw_strain(pieces[:1], tmp_path / "one.png"))

    def purple(picture):
        red, green, blue = np.moveaxis(picture[picture.shape[0] // 6 :], -1, 0)
        return ((blue > green + 25) & (blue > red + 8)).mean()

    assert purple(both) > 0.005
    assert purple(barrel) < 1e-4


def test_pieces_with_relief_show_both_states(tmp_path, pieces):
    dome = pieces[1]
    cut = replace(dome, flat=replace(dome.flat, uncut=dome.flat))
    alone = picture_of(draw_strain([dome], tmp_path / "one.png")).mean(axis=2)
    pair = picture_of(draw_strain([cut], tmp_path / "two.png")).mean(axis=2)
    assert (pair < 200).sum() > 1.5 * (alone < 200).sum()
