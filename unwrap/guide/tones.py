"""Colours for strain: neutral where the film takes it up, two hues beyond.

Purple for shrinking and orange for growing keep apart for every common kind of colour
blindness (the hues are those of C. Brewer's diverging scheme PuOr); lightness falls on
both sides, so that the picture also reads in grey.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import FloatArray
from unwrap.film import Film

NONE = (0xF8, 0xF7, 0xF4)
# The neutral band: nearly grey up to the film's limits.
GROW_WITHIN, SHRINK_WITHIN = (0xE9, 0xE0, 0xD3), (0xDF, 0xDC, 0xE6)
# Beyond them the colour jumps, and deepens up to the end of the scale.
GROW_BEYOND, GROW_END = (0xE0, 0x82, 0x14), (0x7F, 0x3B, 0x08)
SHRINK_BEYOND, SHRINK_END = (0x99, 0x8E, 0xC3), (0x3B, 0x14, 0x66)


def tones(strain: FloatArray, film: Film, ends: tuple[float, float]) -> NDArray[np.float64]:
    """Colours of strains.

    Parameters
    ----------
    strain : (n,) float64
        Signed film strains as fractions; positive: the film must grow.
    film : Film
        Its window is the neutral band.
    ends : (low, high)
        Strains at the ends of the scale, as fractions (low <= 0 <= high).

    Returns
    -------
    (n, 3) float64
        sRGB from 0 to 1.
    """
    low, high = min(ends[0], -film.compression), max(ends[1], film.stretch)
    gap = 1e-12
    stops = [
        low - gap,
        -film.compression - gap,
        -film.compression,
        0.0,
        film.stretch,
        film.stretch + gap,
        high + gap,
    ]
    colours = np.array(
        [SHRINK_END, SHRINK_BEYOND, SHRINK_WITHIN, NONE, GROW_WITHIN, GROW_BEYOND, GROW_END], dtype=float
    )
    order = np.maximum.accumulate(np.array(stops))
    return np.column_stack([np.interp(strain, order, colours[:, k]) for k in range(3)]) / 255.0


def telling_strain(stretch: FloatArray, film: Film) -> FloatArray:
    """(m,) signed strain per face: growth or shrinking, whichever asks more of the film.

    Parameters
    ----------
    stretch : (m, 2) float64
        Principal film stretches, larger first.
    """
    grow, shrink = np.maximum(stretch[:, 0] - 1.0, 0.0), np.maximum(1.0 - stretch[:, 1], 0.0)
    # A film that takes nothing of one kind is asked too much by any of it.
    asks_growth = grow * max(film.compression, 1e-9) >= shrink * max(film.stretch, 1e-9)
    return np.where(asks_growth, grow, -shrink)
