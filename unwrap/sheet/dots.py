"""Plates as dots: what each ink prints, at a chosen resolution."""

from __future__ import annotations

import io

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from PIL import Image

from unwrap.arrays import FloatArray
from unwrap.sheet.inks import NAMES, Press, tints_of
from unwrap.sheet.pictures import tints_of_dots
from unwrap.sheet.plates import white_area
from unwrap.sheet.sheet import Sheet
from unwrap.sheet.trap import traps_of

Plate = NDArray[np.uint8]


def plate_dots(sheet: Sheet, press: Press | None = None, dpi: float = 600.0) -> dict[str, Plate]:
    """The sheet's plates as dots.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    press : Press
        Inks, face up or down, scale corrections.
    dpi : float
        Dots per inch.

    Returns
    -------
    dict of str to (rows, columns) uint8
        Per ink ("cyan" ... "black", "white", "white 2") how much of it: 0 none, 255
        full. A dot belongs to an area if its middle does. Rows run from the top of the
        page; mirrored when the sheet is printed face down. Only the decals are on the
        plates, without notes and cutting lines.
    """
    press = press or Press()
    shape = (round(sheet.height / 25.4 * dpi), round(sheet.width / 25.4 * dpi))
    frame = _page_frame(sheet, press, dpi)
    colours = [ink for ink in "cmyk" if ink in press.inks]
    plates = {NAMES[ink]: np.zeros(shape, np.uint8) for ink in colours}
    for placement in sheet.placements:
        matrix = _joined(frame, placement.matrix)
        painted = [
            (paint.area, tints_of(paint.colour, press), paint.picture) for paint in placement.piece.paints
        ]
        painted += [(trap.area, trap.tints, None) for trap in traps_of(placement.piece, press)]
        for area, tints, picture in painted:
            rows, columns, inside = area_dots(area, matrix, shape)
            levels = np.round(255 * np.array(tints))
            if picture is not None:
                row, column = np.nonzero(inside)
                middles = np.column_stack([column + columns.start, row + rows.start]) + 0.5
                places = (middles - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
                levels = tints_of_dots(picture.at(places), press)
            for ink in colours:
                plates[NAMES[ink]][rows, columns][inside] = levels[..., "cmyk".index(ink)]
    for hit in range(press.white_hits if press.has_white else 0):
        white = np.zeros(shape, np.uint8)
        for placement in sheet.placements:
            area = white_area(placement.piece, press.choke_of(hit), press.bare)
            rows, columns, inside = area_dots(area, _joined(frame, placement.matrix), shape)
            white[rows, columns][inside] = 255
        plates["white" if hit == 0 else f"white {hit + 1}"] = white
    return plates


def plate_pngs(sheet: Sheet, press: Press | None = None, dpi: float = 600.0) -> dict[str, bytes]:
    """The sheet's plates as PNG files, black where the ink is full, with their resolution set."""
    files = {}
    for ink, plate in plate_dots(sheet, press, dpi).items():
        out = io.BytesIO()
        Image.fromarray(255 - plate).save(out, "PNG", dpi=(dpi, dpi))
        files[ink] = out.getvalue()
    return files


def area_dots(
    area: shapely.Geometry, matrix: FloatArray, shape: tuple[int, int]
) -> tuple[slice, slice, NDArray[np.bool_]]:
    """Which dots have their middle inside an area.

    Parameters
    ----------
    area : Polygon or MultiPolygon
        mm.
    matrix : (2, 3) float64
        From the area's plane to dots: x to the right, y down.
    shape : (rows, columns)
        Of the page.

    Returns
    -------
    rows, columns : slice
        The part of the page that the area can reach.
    inside : bool array of that size

    Notes
    -----
    Even-odd rule: every edge flips all dots to the right of where it crosses a row's
    middle, so that a running exclusive-or along the row fills outlines and spares holes.
    """
    (a, b, x), (d, e, y) = matrix
    placed = shapely.affinity.affine_transform(area, (a, b, d, e, x, y))
    if placed.is_empty:
        return slice(0, 0), slice(0, 0), np.zeros((0, 0), bool)
    bounds = placed.bounds
    left, top = (max(int(np.floor(value)), 0) for value in bounds[:2])
    right, foot = min(int(np.ceil(bounds[2])), shape[1]), min(int(np.ceil(bounds[3])), shape[0])
    height, width = max(foot - top, 0), max(right - left, 0)
    flips = np.zeros((height, width + 1), bool)
    for ring in _rings(placed):
        _flip(ring - (left, top), flips)
    inside = np.logical_xor.accumulate(flips, axis=1)[:, :width]
    return slice(top, top + height), slice(left, left + width), inside


def _rings(shape: shapely.Geometry) -> list[FloatArray]:
    polygons = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [
        np.asarray(ring.coords) for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)
    ]


def _flip(ring: FloatArray, flips: NDArray[np.bool_]) -> None:
    height, width = flips.shape[0], flips.shape[1] - 1
    lower = np.where((ring[:-1, 1] <= ring[1:, 1])[:, None], ring[:-1], ring[1:])
    upper = np.where((ring[:-1, 1] <= ring[1:, 1])[:, None], ring[1:], ring[:-1])
    # Rows whose middle lies in [lower, upper): a vertex on a middle is counted once.
    first = np.clip(np.ceil(lower[:, 1] - 0.5), 0, height).astype(int)
    last = np.clip(np.ceil(upper[:, 1] - 0.5), 0, height).astype(int)
    count = last - first
    edge = np.repeat(np.arange(len(lower)), count)
    row = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[edge]
    rise = upper[edge, 1] - lower[edge, 1]
    share = (row + 0.5 - lower[edge, 1]) / rise
    cross = lower[edge, 0] + share * (upper[edge, 0] - lower[edge, 0])
    column = np.clip(np.ceil(cross - 0.5), 0, width).astype(int)
    np.logical_xor.at(flips, (row, column), True)


def _page_frame(sheet: Sheet, press: Press, dpi: float) -> FloatArray:
    """From the sheet's frame to dots on the page."""
    per_mm = dpi / 25.4
    scale = np.array([press.scale_x * (-1 if press.face_down else 1), -press.scale_y])
    middle = np.array([sheet.width, sheet.height]) / 2
    return np.column_stack([np.diag(scale) * per_mm, (middle - scale * middle) * per_mm])


def _joined(outer: FloatArray, inner: FloatArray) -> FloatArray:
    linear = outer[:, :2] @ inner[:, :2]
    return np.column_stack([linear, outer[:, :2] @ inner[:, 2] + outer[:, 2]])
