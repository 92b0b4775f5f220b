"""Laps: where one side of a cut is left a little full, so that no body colour shows between the two."""

from __future__ import annotations

import itertools

import numpy as np
import shapely

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.flatten.edges import boundary_edges, boundary_loops
from unwrap.flatten.flat_piece import FlatPiece

# Lips nearer than this keep their own line: below it the two cuts would fall into one, mm.
LEAST_GAP = 0.05
# Edges that are left full may be parted by up to this many widths without a step between them.
GAP = 3.0
# Places on the surface that are nearer than this are one, mm.
SAME = 1e-6


def lapped(
    outline: shapely.Polygon,
    flat: FlatPiece,
    width: float,
    under: IntArray | None = None,
    beneath: float = 0.0,
) -> shapely.Polygon:
    """The outline with one lip of every relief cut left full, and the edges that go under a neighbour.

    Parameters
    ----------
    outline : shapely Polygon
        Where the piece would be cut without laps, mm.
    flat : FlatPiece
        The piece, with its relief cuts.
    width : float
        How far the lip is left full, mm. Towards the tip, where the lips come together, it takes
        half of what there is between them, so that the blade still has a gap to run in.
    under : (k, 2) int64, optional
        Edges of the flat mesh along which another piece laps over this one.
    beneath : float
        How far it runs on there, mm.

    Returns
    -------
    shapely Polygon
    """
    strips = [_strip(*lips_of(flat, cut), width) for cut in flat.cuts] if width > 0.0 else []
    strips += _beyond(flat, under, beneath) if under is not None and len(under) else []
    strips = [strip for strip in strips if not strip.is_empty]
    if not strips:
        return outline
    whole = shapely.union_all([outline, *strips], grid_size=SAME)
    # A cut whose two sides still meet somewhere would make the piece something else.
    if whole.geom_type != "Polygon" or len(whole.interiors) != len(outline.interiors):
        return outline
    return shapely.geometry.polygon.orient(whole)


def lips_of(flat: FlatPiece, cut: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both lips of a relief cut on the sheet.

    Parameters
    ----------
    flat : FlatPiece
    cut : (n, 3) float64
        One of its cuts, edge to tip, on the surface.

    Returns
    -------
    right, left : (n, 2) float64
        The lip that has the piece on its left, and the other one, both from the mouth to the
        tip, mm: the slit opens to the right of the first and to the left of the second.
    """
    edges = boundary_edges(flat.faces)
    grid = np.round(flat.surface / SAME).astype(np.int64)
    at = {
        (tuple(a), tuple(b)): edge
        for a, b, edge in zip(*(grid[edges[:, k]].tolist() for k in (0, 1)), edges.tolist(), strict=True)
    }
    stops = [tuple(p) for p in np.round(cut / SAME).astype(np.int64).tolist()]
    lips: tuple[list[FloatArray], list[FloatArray]] = ([], [])
    for here, there in itertools.pairwise(stops):
        one, two = at.get((here, there)), at.get((there, here))
        if one is None or two is None:
            continue
        if not lips[0]:
            lips[0].append(flat.points[one[0]])
            lips[1].append(flat.points[two[1]])
        lips[0].append(flat.points[one[1]])
        lips[1].append(flat.points[two[0]])
    return np.reshape(lips[0], (-1, 2)), np.reshape(lips[1], (-1, 2))


def _beyond(flat: FlatPiece, edges: IntArray, width: float) -> list[shapely.Geometry]:
    """Ground beyond some of the piece's edges."""
    count = len(flat.points)
    keys = edges.min(axis=1) * count + edges.max(axis=1)
    found = []
    for loop in boundary_loops(flat.faces):
        start, end = loop, np.roll(loop, -1)
        wanted = np.isin(np.minimum(start, end) * count + np.maximum(start, end), keys)
        length = np.linalg.norm(flat.points[end] - flat.points[start], axis=1)
        wanted |= _short_gaps(wanted, length, GAP * width)
        sides = np.stack([start, end], axis=1)[wanted]
        found.append(shapely.line_merge(shapely.multilinestrings(flat.points[sides]), directed=True))
    # The piece lies on the left of its edges.
    return [
        run.buffer(-width, single_sided=True, cap_style="flat", join_style="mitre", mitre_limit=2.0)
        for runs in found
        for run in shapely.get_parts(runs)
    ]


def _short_gaps(wanted: BoolArray, length: FloatArray, most: float) -> BoolArray:
    """(e,) edges of a loop that part runs of wanted ones by a gap too short for a blade to turn in."""
    gaps = np.zeros(len(wanted), dtype=bool)
    if wanted.all() or not wanted.any():
        return gaps
    # Begun at a wanted edge, no gap goes over the loop's end.
    order = np.roll(np.arange(len(wanted)), -int(np.argmax(wanted)))
    for run in np.split(order, np.flatnonzero(np.diff(wanted[order])) + 1):
        gaps[run] = not wanted[run[0]] and length[run].sum() <= most
    return gaps


def _strip(lip: FloatArray, other: FloatArray, width: float) -> shapely.Geometry:
    """Ground between two lips that goes with the first."""
    if len(lip) < 2:
        return shapely.Polygon()
    across = other - lip
    gap = np.linalg.norm(across, axis=1)
    share = np.minimum(width / np.maximum(gap, 1e-12), 0.5)
    share[gap < LEAST_GAP] = 0.0
    # A slit that runs on into an opening ends between its corners: there the lip comes back to its own.
    share[-1] = 0.0
    ring = np.concatenate([lip, (lip + share[:, None] * across)[::-1]])
    return shapely.make_valid(shapely.Polygon(ring), method="structure")
