"""Small print on a sheet, as outlines, so that it looks and measures the same everywhere."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as GlyphPath
from matplotlib.textpath import TextPath

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Curve

# The sans-serif that comes with the drawing library: there on every machine, free to use.
FACE = "DejaVu Sans"


def text_curves(
    text: str, size: float, at: tuple[float, float] = (0.0, 0.0), turn: float = 0.0, anchor: float = 0.0
) -> tuple[Curve, ...]:
    """The outlines of one line of text.

    Parameters
    ----------
    text : str
        What to write.
    size : float
        Size of the type, mm; capitals are about 0.73 of it.
    at : tuple of float
        Where the base line's anchor stands, mm.
    turn : float
        Anticlockwise turn about `at`, radians.
    anchor : float
        0 starts the text at `at`, 0.5 centres it, 1 ends it there.

    Returns
    -------
    tuple of Curve
        Closed curves for the non-zero or the even-odd rule.
    """
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c, -s, at[0]], [s, c, at[1]]])
    shift = np.array([[1.0, 0.0, -anchor * text_width(text, size)], [0.0, 1.0, 0.0]])
    return tuple(curve.moved(shift).moved(matrix) for curve in _outlines(text, size))


def text_width(text: str, size: float) -> float:
    """How far a line of text reaches, mm."""
    curves = _outlines(text, size)
    return float(max((curve.spans[..., 0].max() for curve in curves), default=0.0))


@lru_cache(maxsize=512)
def _outlines(text: str, size: float) -> tuple[Curve, ...]:
    path = TextPath((0, 0), text, size=size, prop=FontProperties(family=FACE), usetex=False)
    at, code = np.asarray(path.vertices, dtype=float), np.asarray(path.codes)
    # Each segment as a cubic span, named by the first of its points; the one before is where it begins.
    line, bend, cubic, close = (
        np.flatnonzero(code == kind)
        for kind in (GlyphPath.LINETO, GlyphPath.CURVE3, GlyphPath.CURVE4, GlyphPath.CLOSEPOLY)
    )
    bend, cubic = bend[::2], cubic[::3]
    begin = np.flatnonzero(code == GlyphPath.MOVETO)
    home = at[begin[np.searchsorted(begin, close) - 1]]
    spans = np.concatenate(
        [
            _lines(at[line - 1], at[line]),
            _lines(at[close - 1], home),
            np.stack(
                [
                    at[bend - 1],
                    at[bend - 1] + (at[bend] - at[bend - 1]) * 2 / 3,
                    at[bend + 1] + (at[bend] - at[bend + 1]) * 2 / 3,
                    at[bend + 1],
                ],
                axis=1,
            ),
            np.stack([at[cubic - 1], at[cubic], at[cubic + 1], at[cubic + 2]], axis=1),
        ]
    )
    named = np.concatenate([line, close, bend, cubic])
    order = np.argsort(named, kind="stable")
    order = order[np.linalg.norm(spans[order, 3] - spans[order, 0], axis=1) > 1e-9]
    ring = np.searchsorted(begin, named[order])
    return tuple(Curve(spans[order[ring == number]], closed=True) for number in np.unique(ring))


def _lines(first: FloatArray, last: FloatArray) -> FloatArray:
    step = (last - first) / 3.0
    return np.stack([first, first + step, last - step, last], axis=1)
