"""Gradients and pictures of a drawing as dots on a flat piece, carried there face by face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from unwrap.arrays import FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.drawing import Shade
from unwrap.livery.paint import Picture

# Dots per mm on the sheet: 610 to the inch.
PER_MM = 24.0
# How far the dots run on beyond the shape, mm: its bleed is filled with them.
BEYOND = 2.0
# A piece all covered needs no more dots than this.
MOST_DOTS = 60_000_000


@dataclass(frozen=True, eq=False)
class Shifted:
    """A shade that was moved with its drawing."""

    shade: Shade
    by: FloatArray

    def at(self, points: FloatArray) -> NDArray[np.uint8]:
        """(n, 3) red, green, blue at points (n, 2), mm."""
        return self.shade.at(points - self.by)


def dots_on_piece(carry: Carry, chart: FloatArray, area: shapely.Geometry, shade: Shade) -> Picture:
    """What a shade looks like on a flat piece.

    Parameters
    ----------
    carry : Carry
    chart : (patch faces, 3, 2) float64
        Where each patch face's corners lie in the view; NaN where it does not reach.
    area : Polygon or MultiPolygon
        The shape's ground on the piece, mm.
    shade : Shade
        What it is filled with, by places of the view.

    Returns
    -------
    Picture
        Over the shape's bounds and a little beyond: there the nearest face goes on.
    """
    x0, y0, x1, y1 = area.bounds
    low, high = np.array([x0, y0]) - BEYOND, np.array([x1, y1]) + BEYOND
    per_mm = min(PER_MM, float(np.sqrt(MOST_DOTS / np.prod(high - low))))
    width, height = (int(np.ceil(side * per_mm)) for side in high - low)
    matrix = np.array([[1 / per_mm, 0.0, low[0]], [0.0, -1 / per_mm, high[1]]])
    reached = np.flatnonzero(np.isfinite(chart[carry.flat.face]).all(axis=(1, 2)))
    on_sheet = carry.on_sheet[reached]
    in_chart = np.einsum("mcw,mwj->mcj", carry.part_weights[reached], chart[carry.flat.face[reached]])
    face = _face_of_dots((on_sheet - [low[0], high[1]]) * [per_mm, -per_mm], width, height)
    maps = _affine(on_sheet, in_chart)
    dots = np.empty((height, width, 3), dtype=np.uint8)
    x = low[0] + (np.arange(width) + 0.5) / per_mm
    for row in range(height):
        points = np.column_stack([x, np.full(width, high[1] - (row + 0.5) / per_mm), np.ones(width)])
        dots[row] = shade.at(np.einsum("nij,nj->ni", maps[face[row]], points))
    return Picture(dots, matrix)


def mean_colour(picture: Picture, area: shapely.Geometry) -> str:
    """The mean of a picture over an area, as "#rrggbb"."""
    x0, y0, x1, y1 = area.bounds
    x, y = np.meshgrid(np.linspace(x0, x1, 60), np.linspace(y0, y1, 60))
    places = np.column_stack([x.ravel(), y.ravel()])
    inside = places[shapely.contains_xy(area, *places.T)]
    if len(inside) == 0:
        inside = shapely.get_coordinates(shapely.point_on_surface(area))
    red, green, blue = np.round(picture.at(inside).mean(axis=0)).astype(int).tolist()
    return f"#{red:02x}{green:02x}{blue:02x}"


def _face_of_dots(corners: FloatArray, width: int, height: int) -> NDArray[np.int32]:
    """(h, w) which triangle (m, 3, 2), in columns and rows, each dot lies on, or is nearest to."""
    picture = Image.new("I", (width, height), 0)
    pen = ImageDraw.Draw(picture)
    low, high = corners.min(axis=1), corners.max(axis=1)
    near = np.flatnonzero(((high >= 0) & (low <= [width, height])).all(axis=1))
    for number in near.tolist():
        pen.polygon([(float(a) - 0.5, float(b) - 0.5) for a, b in corners[number]], fill=number + 1)
    face = np.asarray(picture, dtype=np.int32)
    if (face == 0).any():
        nearest = ndimage.distance_transform_edt(face == 0, return_distances=False, return_indices=True)
        face = face[tuple(nearest)]
    return face - 1


def _affine(source: FloatArray, target: FloatArray) -> FloatArray:
    """(m, 2, 3) the affine map that takes each source triangle to its target."""
    system = np.concatenate([source, np.ones((len(source), 3, 1))], axis=2)
    good = np.abs(np.linalg.det(system)) > 1e-12
    out = np.zeros((len(source), 2, 3))
    out[good] = np.linalg.solve(system[good], target[good]).transpose(0, 2, 1)
    out[~good, :, 2] = target[~good].mean(axis=1)
    return out
