"""Where a surface is crumpled: no piece lies there within the film, slit or not.

At a vertex inside a patch let the corners of the faces sum to more than a full turn. A flat shape that
nowhere lies over itself gives them a full turn at most, and slits only take away from that. A linear map
whose largest stretch is k times its smallest carries an angle t onto no less than 2 atan(tan(t/2)/k), which
is what is left of one whose middle lies along the larger stretch. So where even the least images sum to
more than a full turn, k being what a face of a piece within the film may strain at most, no piece is within.
What is pointed like a dome may be slit to its point; here only a joint through the vertex would help.

Smooth saddles have next to nothing of this at any one vertex. Meshes with corners thrown about have
it wherever faces meet in folds.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from unwrap.arrays import BoolArray, FloatArray
from unwrap.film import Film
from unwrap.flatten.edges import boundary_edges, boundary_loops
from unwrap.flatten.flat_piece import WORST_ALLOWED, FlatPiece
from unwrap.flatten.metric import metric_of
from unwrap.flatten.strain import needles


def where_crumpled(piece: FlatPiece) -> FloatArray | None:
    """The place at which a surface is crumpled most, if that is all that keeps film from lying on it.

    Parameters
    ----------
    piece : FlatPiece

    Returns
    -------
    (3,) float64 or None
        mm. None where the surface is nowhere crumpled, or where the rest of it is curved by
        more than the film follows without cuts: there cuts help all the same.
    """
    over = crumple(piece)
    if not over.any():
        return None
    near = np.zeros(len(over), dtype=bool)
    near[piece.faces[(over > 0.0)[piece.faces].any(axis=1)]] = True
    total = np.bincount(piece.faces.ravel(), _angles(piece).ravel(), len(over))
    rest = float(np.abs(2.0 * np.pi - total)[_inside(piece) & ~near].sum())
    # The turns that an opening hides are those that its edge misses; round the outer edge there are two more.
    turns = sorted(float(2.0 * np.pi - (total[loop] - np.pi).sum()) for loop in boundary_loops(piece.faces))
    if rest + sum(map(abs, turns[:-1])) > _followed(piece.film):
        return None
    place: FloatArray = piece.surface[int(np.argmax(over))]
    return place


def crumple(piece: FlatPiece) -> FloatArray:
    """(k,) by how much, in radians, the corners at each point are too many for any piece within the film.

    Parameters
    ----------
    piece : FlatPiece
        Points on its edges and cuts have nothing of it. Needles, which are not measured by
        themselves, do not count.
    """
    f = piece.faces
    sound = ~needles(metric_of(piece.surface, f))
    least = 2.0 * np.arctan(np.tan(0.5 * _angles(piece)[sound]) / _farthest(piece.film))
    total = np.bincount(f[sound].ravel(), least.ravel(), len(piece.surface))
    return np.where(_inside(piece), np.maximum(total - 2.0 * np.pi, 0.0), 0.0)


def _angles(piece: FlatPiece) -> FloatArray:
    """(m, 3) of each face's corners."""
    v, f = piece.surface, piece.faces
    ahead, behind = v[np.roll(f, -1, axis=1)] - v[f], v[np.roll(f, 1, axis=1)] - v[f]
    across = np.linalg.norm(np.cross(ahead, behind), axis=2)
    angles: FloatArray = np.arctan2(across, np.einsum("fkx,fkx->fk", ahead, behind))
    return angles


def _inside(piece: FlatPiece) -> BoolArray:
    inside = np.ones(len(piece.surface), dtype=bool)
    inside[boundary_edges(piece.faces)] = False
    return inside


def _farthest(film: Film) -> float:
    """Largest over smallest stretch that a face of a piece within the film may have."""
    least = 1.0 - WORST_ALLOWED * film.compression
    return (1.0 + WORST_ALLOWED * film.stretch) / least if least > 0.0 else np.inf


def _followed(film: Film) -> float:
    """Curvature of the largest spherical cap that the film follows without cuts, radians.

    A cap of half-angle a has the curvature 2 pi (1 - cos a) and asks for the ratio a / sin a (J. Milnor,
    "A problem in cartography", 1969).
    """
    if film.ratio >= 0.5 * np.pi:
        return 2.0 * np.pi
    half = brentq(lambda a: a - film.ratio * np.sin(a), 1e-3, 0.5 * np.pi) if film.ratio > 1.0 + 1e-6 else 0.0
    return 2.0 * np.pi * (1.0 - np.cos(half))
