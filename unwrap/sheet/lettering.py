"""Small print on a sheet, as outlines, so that it looks and measures the same everywhere."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as GlyphPath
from matplotlib.textpath import TextPath

from unwrap.arrays import FloatArray
from unwrap.livery.paint import Curve
from unwrap.sheet.curves import straight_curve

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
    curves: list[Curve] = []
    spans: list[FloatArray] = []
    here = start = np.zeros(2)
    for corners, code in path.iter_segments(curves=True, simplify=False):
        points = np.asarray(corners, dtype=float).reshape(-1, 2)
        if code == GlyphPath.MOVETO:
            here = start = points[0]
            spans = []
        elif code == GlyphPath.CLOSEPOLY:
            if np.linalg.norm(here - start) > 1e-9:
                spans.append(_line(here, start))
            if spans:
                curves.append(Curve(np.array(spans), closed=True))
            spans = []
        elif code == GlyphPath.LINETO:
            if np.linalg.norm(points[0] - here) > 1e-9:
                spans.append(_line(here, points[0]))
            here = points[0]
        elif code == GlyphPath.CURVE3:
            bend, end = points
            spans.append(np.array([here, here + (bend - here) * 2 / 3, end + (bend - end) * 2 / 3, end]))
            here = end
        else:
            spans.append(np.array([here, *points]))
            here = points[-1]
    return tuple(curves)


def _line(first: FloatArray, last: FloatArray) -> FloatArray:
    return straight_curve(np.array([first, last]), closed=False).spans[0]
