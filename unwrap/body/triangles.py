"""Measures of triangles, column by column and block by block: a few times as fast as by rows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.sorted_keys import blocks


def corner_blocks(vertices: NDArray[Any], faces: IntArray) -> Iterator[tuple[slice, NDArray[Any]]]:
    """The corners of triangles, some triangles at a time.

    Parameters
    ----------
    vertices : (n, d)
        Positions.
    faces : (m, 3) int64
        Triangles.

    Yields
    ------
    here : slice
        Which faces.
    places : (d, 3, k)
        Each coordinate of each of their three corners.
    """
    for here in blocks(len(faces)):
        yield here, np.ascontiguousarray(np.take(vertices, faces[here], axis=0).transpose(2, 1, 0))


def area_vectors(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Normals as long as twice the area.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        Triangles, counter-clockwise seen from the side that the result points to.

    Returns
    -------
    (m, 3) float64
    """
    result = np.empty(faces.shape)
    for here, places in corner_blocks(vertices, faces):
        ax, ay, az = places[:, 1] - places[:, 0]
        bx, by, bz = places[:, 2] - places[:, 1]
        block = result[here]
        block[:, 0] = ay * bz - az * by
        block[:, 1] = az * bx - ax * bz
        block[:, 2] = ax * by - ay * bx
    return result


def side_lengths(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Lengths of the sides from each corner to the next.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        Triangles.

    Returns
    -------
    (m, 3) float64
    """
    result = np.empty(faces.shape)
    for here, places in corner_blocks(vertices, faces):
        for corner in range(3):
            x, y, z = places[:, (corner + 1) % 3] - places[:, corner]
            result[here, corner] = np.sqrt(x * x + y * y + z * z)
    return result


def low_faces(vertices: FloatArray, faces: IntArray, height: float) -> BoolArray:
    """(m,) whether triangles are lower than a height, mm, over their longest side."""
    result = np.empty(len(faces), dtype=bool)
    for here, places in corner_blocks(vertices, faces):
        a, b, c = (places[:, (corner + 1) % 3] - places[:, corner] for corner in range(3))
        (ax, ay, az), (bx, by, bz) = a, b
        area = (ay * bz - az * by) ** 2 + (az * bx - ax * bz) ** 2 + (ax * by - ay * bx) ** 2
        side = np.maximum(np.maximum((a * a).sum(axis=0), (b * b).sum(axis=0)), (c * c).sum(axis=0))
        result[here] = np.sqrt(area) < height * np.maximum(np.sqrt(side), 1e-300)
    return result


def lengths(vectors: FloatArray) -> FloatArray:
    """(m,) lengths of (m, 3) vectors."""
    return np.sqrt(np.einsum("md,md->m", vectors, vectors))


def longest(lengths_of_sides: FloatArray) -> FloatArray:
    """(m,) length of each face's longest side, of (m, 3) lengths."""
    return np.maximum(np.maximum(*lengths_of_sides.T[:2]), lengths_of_sides[:, 2])


def shortest(lengths_of_sides: FloatArray) -> FloatArray:
    """(m,) length of each face's shortest side, of (m, 3) lengths."""
    return np.minimum(np.minimum(*lengths_of_sides.T[:2]), lengths_of_sides[:, 2])


def any_chosen(chosen: BoolArray, groups: IntArray) -> BoolArray:
    """(m,) whether any of (m, k) numbers, such as a face's corners, is among those chosen."""
    columns = chosen[groups].T
    found = columns[0].copy()
    for column in columns[1:]:
        found |= column
    return found
