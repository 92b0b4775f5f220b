"""Pieces built by hand, whose every length is known: flat grids laid flat by themselves."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.film import Film
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Paint
from unwrap.regions.region import Patch
from unwrap.sheet.outline import finish_piece


def grid(width, height, step=2.0, hole=None):
    """A flat grid as (points, faces); quads whose middle lies inside `hole` are left out."""
    nx, ny = max(1, round(width / step)), max(1, round(height / step))
    x, y = np.meshgrid(np.linspace(0, width, nx + 1), np.linspace(0, height, ny + 1))
    points = np.column_stack([x.ravel(), y.ravel()])
    i, j = np.meshgrid(np.arange(nx), np.arange(ny))
    a = (j * (nx + 1) + i).ravel()
    quads = np.column_stack([a, a + 1, a + nx + 2, a + nx + 1])
    if hole is not None:
        x0, y0, x1, y1 = hole
        mx, my = points[quads].mean(axis=1).T
        quads = quads[~((mx > x0) & (mx < x1) & (my > y0) & (my < y1))]
    faces = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    used, faces = np.unique(faces, return_inverse=True)
    return points[used], faces.reshape(-1, 3).astype(np.int64)


def flat_of(points, faces, surface=None, film=None):
    """A FlatPiece without strain; the surface is a wall facing +y (x front to the left) unless given."""
    if surface is None:
        surface = np.column_stack([-points[:, 0], np.zeros(len(points)), points[:, 1]])
    return FlatPiece(
        points=points,
        faces=faces,
        vertex=np.arange(len(points)),
        surface=surface,
        face=np.arange(len(faces)),
        stretch=np.ones((len(faces), 2)),
        film=film or Film(0.03, 0.01),
    )


def piece_of(name, points, faces, paints=(), bleed=0.5, spares=0, surface=None, holes=None):
    flat = flat_of(points, faces, surface)
    patch = Patch(name, flat.surface, faces, holes=np.zeros((0, 4)) if holes is None else holes)
    return finish_piece(name, name, patch, flat, paints, bleed=bleed, spares=spares)


def fill(area, colour="#7a1f2b", kind="fill", label=""):
    return Paint(kind=kind, colour=colour, area=area, curves=curves_of_area(area), label=label)


def box_piece(name, width, height, colour="#1f4d3a", lining="#e8d9a0", **more):
    """A rectangle with a fill and a line set 2 mm in, 0.4 mm wide."""
    points, faces = grid(width, height, step=5.0)
    paints = [fill(shapely.box(0, 0, width, height), colour, label="fill")]
    if lining:
        outer = shapely.box(2, 2, width - 2, height - 2)
        ring = outer.difference(shapely.box(2.4, 2.4, width - 2.4, height - 2.4))
        paints.append(fill(ring, lining, "line", "lining 1"))
    return piece_of(name, points, faces, paints, **more)


def ell_piece(name, long=50.0, wide=12.0, colour="#27407a", **more):
    """An L of two arms."""
    points, faces = grid(long, long, step=wide / 4, hole=(wide, wide, long + 1, long + 1))
    area = shapely.union(shapely.box(0, 0, long, wide), shapely.box(0, 0, wide, long))
    flat_area = shapely.union_all(shapely.polygons(points[faces]))
    return piece_of(name, points, faces, [fill(area.intersection(flat_area), colour)], **more)


def sector_piece(name, inner=10.0, outer=24.0, angle=270.0, colour="#b04a1e", **more):
    """An annular sector, as a cone or a dome's skirt lies flat."""
    t, r = np.meshgrid(np.radians(np.linspace(0, angle, 61)), np.linspace(inner, outer, 8))
    points = np.column_stack([(r * np.cos(t)).ravel(), (r * np.sin(t)).ravel()])
    i, j = np.meshgrid(np.arange(60), np.arange(7))
    a = (j * 61 + i).ravel()
    quads = np.column_stack([a, a + 61, a + 62, a + 1])
    faces = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    area = shapely.union_all(shapely.polygons(points[faces]))
    return piece_of(name, points, faces, [fill(area, colour)], **more)


def mixed_pieces():
    """What a small tank engine asks for, by size and shape."""
    return [
        box_piece("tank-left", 80, 25),
        box_piece("tank-right", 80, 25),
        box_piece("cab-left", 30, 30),
        box_piece("cab-right", 30, 30),
        box_piece("barrel", 60, 70),
        box_piece("roof", 40, 45, lining=None),
        sector_piece("dome"),
        sector_piece("chimney", 8, 20),
        ell_piece("front-left"),
        ell_piece("front-right"),
    ]
