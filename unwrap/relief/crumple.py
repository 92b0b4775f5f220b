"""Where a surface is crumpled: no piece lies there within the film, slit or not.

At a vertex inside a patch let the corners of the faces sum to more than a full turn. A flat shape that
nowhere lies over itself gives them a full turn at most, and slits only take away from that. A linear map
whose largest stretch is k times its smallest carries an angle t onto no less than 2 atan(tan(t/2)/k), which
is what is left of one whose middle lies along the larger stretch. So where even the least images sum to
more than a full turn, k being what a face of a piece within the film may strain at most, no piece is within.
What is pointed like a dome may be slit to its point; here only a joint through the vertex would help.

Smooth saddles have next to nothing of this at any one vertex. Meshes with corners thrown about have
it wherever faces meet in folds. A piece for such a patch is best laid out as if the spot were smooth.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.optimize import brentq
from scipy.sparse.linalg import splu

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.edges import boundary_edges, boundary_loops
from unwrap.flatten.flat_piece import AREA_ALLOWED_BEYOND, WORST_ALLOWED, FlatPiece
from unwrap.flatten.flatten import notes_on
from unwrap.flatten.metric import metric_of
from unwrap.flatten.strain import excess, needles, strain

SPOTS = 0.25  # share of the area that crumpled spots may have to be pressed smooth
ROUNDS = 3  # of pressing: what lies round a spot may be a part of it


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


def told_of_crumple(piece: FlatPiece, over: FloatArray) -> str:
    """A sentence that names the place where `crumple` is largest."""
    where = ", ".join(f"{x:.1f}" for x in piece.surface[int(np.argmax(over))])
    return (
        f"its surface is crumpled at ({where}), where no film can lie, slit or not: mend the mesh there, "
        "or end the region before it"
    )


def beyond_only_where_crumpled(piece: FlatPiece) -> bool:
    """Whether crumpled spots are all that keeps a piece from being within the film."""
    over = crumple(piece)
    if piece.within or not over.any():
        return False
    elsewhere = piece.beyond & ~_beside(piece.faces, over > 0.0)[piece.faces].any(axis=1)
    return bool(piece.areas[elsewhere].sum() <= AREA_ALLOWED_BEYOND * piece.areas.sum())


def pressed_smooth(piece: FlatPiece, over: FloatArray) -> FloatArray | None:
    """The surface with its crumpled spots pressed smooth.

    What lies round a crumpled vertex is put where the surface beside it bends least (a discrete
    biharmonic surface: M. Botsch and L. Kobbelt, "An intuitive framework for real-time freeform
    modeling", 2004, from memory): along the normal at first, which leaves faces their
    outlines, and where that is not enough, altogether.

    Parameters
    ----------
    piece : FlatPiece
        Without cuts.
    over : (k,) float64
        Its `crumple`.

    Returns
    -------
    (k, 3) float64 or None
        mm. None where the spots are too large, or stay crumpled.
    """
    surface, moving = piece.surface, np.zeros(len(over), dtype=bool)
    for turn in range(ROUNDS):
        moving |= _beside(piece.faces, over > 0.0)
        moving &= _inside(piece)
        if piece.areas[moving[piece.faces].any(axis=1)].sum() > SPOTS * piece.areas.sum():
            return None
        smooth = _bending_least(piece.surface, piece.faces, moving)
        if turn == 0:
            normal = _normals(smooth, piece.faces)
            along = np.einsum("ij,ij->i", smooth - piece.surface, normal)
            smooth = piece.surface + along[:, None] * normal
        surface = np.where(moving[:, None], smooth, piece.surface)
        over = crumple(replace(piece, surface=surface))
        if not over.any():
            return surface
    return None


def measured_on(laid: FlatPiece, uncut: FlatPiece) -> FlatPiece:
    """A piece of the smooth surface as it fits the crumpled one.

    Parameters
    ----------
    laid : FlatPiece
        Laid from the points and faces of `uncut`, pressed smooth.
    uncut : FlatPiece
        The crumpled patch, laid flat without cuts.
    """
    known = laid.vertex >= 0
    surface = np.where(known[:, None], uncut.surface[np.where(known, laid.vertex, 0)], laid.surface)
    stretch = strain(surface, laid.points, laid.faces).stretch
    worst = float(excess(stretch, laid.film).max())
    return replace(
        laid,
        surface=surface,
        vertex=np.where(known, uncut.vertex[np.where(known, laid.vertex, 0)], -1),
        stretch=stretch,
        bound=uncut.bound,
        notes=notes_on(surface, laid.faces, laid.film, uncut.bound, worst, overlap=False),
        uncut=uncut if laid.cuts else None,
    )


def flat_but_for_spots(piece: FlatPiece, over: FloatArray) -> bool:
    """Whether the surface is curved elsewhere by no more than the film follows without cuts.

    Parameters
    ----------
    piece : FlatPiece
    over : (k,) float64
        Its `crumple`.
    """
    near = _beside(piece.faces, over > 0.0)
    total = np.bincount(piece.faces.ravel(), _angles(piece).ravel(), len(over))
    rest = float(np.abs(2.0 * np.pi - total)[_inside(piece) & ~near].sum())
    # The turns that an opening hides are those that its edge misses; round the outer edge there are two more.
    turns = sorted(float(2.0 * np.pi - (total[loop] - np.pi).sum()) for loop in boundary_loops(piece.faces))
    return rest + sum(map(abs, turns[:-1])) <= _followed(piece.film)


def _beside(faces: IntArray, crumpled: BoolArray) -> BoolArray:
    """(k,) vertices that share a face with a crumpled one, themselves among them."""
    beside = np.zeros(len(crumpled), dtype=bool)
    beside[faces[crumpled[faces].any(axis=1)]] = True
    return beside


def _bending_least(surface: FloatArray, faces: IntArray, moving: BoolArray) -> FloatArray:
    """The surface, some of its vertices put where all differ least from the means of their neighbours."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    links = sparse.csr_matrix(
        (np.ones(2 * len(start)), (np.concatenate([start, end]), np.concatenate([end, start]))),
        (len(surface),) * 2,
    )
    links.data[:] = 1.0
    count = np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)
    off = sparse.eye(len(surface), format="csr") - sparse.diags(1.0 / count) @ links
    bending = (off.T @ off).tocsr()[moving]
    found = surface.copy()
    right = np.asarray(-(bending[:, ~moving] @ surface[~moving]))
    found[moving] = splu(bending[:, moving].tocsc()).solve(right)
    return found


def _normals(surface: FloatArray, faces: IntArray) -> FloatArray:
    """(k, 3) unit normals at the vertices."""
    a, b, c = np.moveaxis(surface[faces], 1, 0)
    turns = np.cross(b - a, c - a)
    total = np.column_stack(
        [np.bincount(faces.ravel(), np.repeat(turns[:, k], 3), len(surface)) for k in range(3)]
    )
    unit: FloatArray = total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return unit


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
