"""Finish a flat piece: where it is cut, how far its paint runs over, which way it faces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.overlap import signed_area
from unwrap.livery.carry import nearest_on
from unwrap.livery.fit import curves_of_area
from unwrap.livery.loops import boundary_loops
from unwrap.livery.paint import Paint
from unwrap.regions.region import Patch
from unwrap.sheet.bleed import BleedGround, carry_over, sound
from unwrap.sheet.lap import lapped
from unwrap.sheet.piece import Piece

# Two lips nearer than this are one closed slit: no blade and no printer tells them apart.
CLOSED_SLIT = 1e-3
# A direction on the body has to run this much along the film, on average, to be worth an arrow.
LEAST_SLOPE = 0.35
# A piece that takes up this share of the film's window somewhere is apt to go wrong once.
MUCH_OF_WINDOW = 0.8


def finish_piece(
    name: str,
    region: str,
    patch: Patch,
    flat: FlatPiece,
    paints: Sequence[Paint] = (),
    *,
    bleed: float = 0.5,
    lap: float = 0.0,
    under: IntArray | None = None,
    beneath: float = 0.0,
    spares: int | None = None,
) -> Piece:
    """Make a piece that can be laid on a sheet.

    Parameters
    ----------
    name : str
        The piece's name, unique within a job.
    region : str
        The job's region that it covers.
    patch : Patch
        The surface that it goes on; its covered holes become piercing marks.
    flat : FlatPiece
        That surface laid flat.
    paints : sequence of Paint
        What is printed, in painting order, inside the outline.
    bleed : float
        How far paint that reaches the outline is carried beyond it, mm.
    lap : float
        How far one lip of every relief cut is left full, mm; no more than the bleed, as
        it would be bare.
    under : (k, 2) int64, optional
        Edges of the flat mesh along which another piece laps over this one.
    beneath : float
        How far this one runs on there, mm; its paint runs on all round as far.
    spares : int or None
        How many extra copies to print; None leaves it to the risk (`risk_spares`).

    Returns
    -------
    Piece
    """
    outline, slits = outline_of(flat.points, flat.faces)
    bleed = max(bleed, beneath)
    ground = BleedGround(outline, bleed)
    outline = lapped(outline, flat, min(lap, bleed), under, beneath)
    return Piece(
        name=name,
        region=region,
        patch=patch,
        flat=flat,
        outline=outline,
        outline_curves=curves_of_area(outline),
        paints=tuple(carry_over(sound(paint), ground) for paint in paints),
        pierce=flat_holes(flat, patch.holes),
        slits=slits,
        front=direction_on(flat, np.array([1.0, 0.0, 0.0])),
        up=direction_on(flat, np.array([0.0, 0.0, 1.0])),
        spares=risk_spares(flat) if spares is None else spares,
    )


def risk_spares(flat: FlatPiece) -> int:
    """How many spares a piece should have: one where it is likely to be spoilt.

    That is one with relief cuts, or one that takes up most of what the film can.
    """
    low, high = flat.film.window
    grow = flat.stretch_figures.p99 > MUCH_OF_WINDOW * (high - 1.0)
    shrink = flat.compression_figures.p99 > MUCH_OF_WINDOW * (1.0 - low)
    strained = (grow and high > 1.0) or (shrink and low < 1.0) or not flat.within
    return int(bool(flat.cuts) or strained)


def outline_of(points: FloatArray, faces: IntArray) -> tuple[shapely.Polygon, tuple[FloatArray, ...]]:
    """The outline of a flat mesh, with its openings, and the slits that stand closed in it.

    Parameters
    ----------
    points : (k, 2) float64
        Flat positions, mm.
    faces : (m, 3) int64
        Counter-clockwise triangles of one connected mesh.

    Returns
    -------
    outline : shapely Polygon
        Exterior counter-clockwise, openings clockwise. A slit whose lips have parted
        is a notch in it.
    slits : tuple of (n, 2) float64 arrays
        Slits whose lips lie on each other, from the edge inwards.

    Raises
    ------
    ValueError
        If the mesh has no edge.
    """
    loops = [points[loop] for loop in boundary_loops(faces)]
    if not loops:
        raise ValueError("the flat mesh has no edge")
    areas = [signed_area(loop) for loop in loops]
    shell = loops[int(np.argmax(areas))]
    openings = [loop for loop, area in zip(loops, areas, strict=True) if area < 0 and len(loop) > 2]
    drawn = shapely.Polygon(shell, openings)
    outline = drawn if drawn.is_valid else _largest_part(shapely.make_valid(drawn, method="structure"))
    outline = shapely.geometry.polygon.orient(outline)
    return outline, _closed_slits(loops, outline)


def _largest_part(shape: shapely.Geometry) -> shapely.Polygon:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return max(parts, key=lambda part: part.area)


def _closed_slits(loops: Iterable[FloatArray], outline: shapely.Polygon) -> tuple[FloatArray, ...]:
    """Runs of the loops that the outline does not have: there and back along one line."""
    near_edge = outline.boundary.buffer(CLOSED_SLIT)
    stray = shapely.unary_union([shapely.LinearRing(loop).difference(near_edge) for loop in loops])
    if stray.is_empty:
        return ()
    merged = shapely.line_merge(shapely.set_precision(stray, CLOSED_SLIT / 2))
    slits = []
    for line in shapely.get_parts(merged):
        points = np.asarray(line.coords)
        ends = [outline.exterior.distance(shapely.Point(points[k])) for k in (0, -1)]
        slits.append(points if ends[0] <= ends[1] else points[::-1])
    return tuple(sorted(slits, key=lambda points: tuple(points[0])))


def direction_on(flat: FlatPiece, along: FloatArray) -> FloatArray:
    """Where a direction of the body points on the flat piece.

    Parameters
    ----------
    flat : FlatPiece
        The piece.
    along : (3,) float64
        Unit direction on the body.

    Returns
    -------
    (2,) float64
        Unit direction: the area-weighted mean gradient of the coordinate along
        `along` over the flat piece; zero where that has no clear direction, as `up`
        on a roof or right round a barrel.
    """
    a, b, c = np.moveaxis(flat.points[flat.faces], 1, 0)
    rise = (flat.surface @ along)[flat.faces]
    double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    opposite = np.stack([c - b, a - c, b - a], axis=1)
    turned = np.stack([-opposite[..., 1], opposite[..., 0]], axis=-1)
    # Half the gradient times twice the area: the sum over faces is the area integral.
    total = 0.5 * np.einsum("ij,ijk->k", rise, turned)
    mean = total / (0.5 * double.sum())
    size = float(np.linalg.norm(mean))
    return mean / size if size >= LEAST_SLOPE else np.zeros(2)


def flat_holes(flat: FlatPiece, holes: FloatArray) -> FloatArray:
    """Carry covered holes to the flat piece.

    Parameters
    ----------
    flat : FlatPiece
        The piece.
    holes : (h, 4) float64
        x, y, z and diameter on the surface, mm.

    Returns
    -------
    (h, 3) float64
        x, y and diameter on the piece, mm.
    """
    if len(holes) == 0:
        return np.zeros((0, 3))
    face, weights, _ = nearest_on(flat.surface[flat.faces], holes[:, :3])
    at = np.einsum("ic,icj->ij", weights, flat.points[flat.faces[face]])
    return np.column_stack([at, holes[:, 3]])
