"""Take off the simplest details, rivets on a flat sheet, a thousand at a time.

A side may carry two thousand rivets. Nearly all of them leave a hole in the ground
that is flat, convex and whole; such holes are closed and measured together, by their
number of corners, with the same result as one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import BoolArray, FloatArray, IntArray

# A hole's corners must keep to its plane and turn to the left at least this much.
IN_PLANE = 5e-4
TURN = 1e-4


@dataclass(frozen=True, eq=False)
class Heads:
    """Simple details with as many corners at the foot.

    Parameters
    ----------
    number : (g,) int64
        Their numbers.
    loop : (g, n) int64
        Vertices round each foot, counter-clockwise seen from outside.
    fill : (g, n - 2, 3) int64
        Triangles that close the ground.
    height : (g,) float64
        How far each stands up, or (negative) goes down, mm.
    middle : (g, 3) float64
        Middle of the foot, mm.
    frame : (g, 3, 3) float64
        Unit directions along its longest way, across that, and up.
    """

    number: IntArray
    loop: IntArray
    fill: IntArray
    height: FloatArray
    middle: FloatArray
    frame: FloatArray


def simple_heads(
    vertices: FloatArray, faces: IntArray, detail: IntArray, numbers: IntArray, loops: IntArray
) -> tuple[Heads, BoolArray]:
    """Close and measure those of some details whose foot is flat and convex.

    Parameters
    ----------
    vertices, faces : arrays
        The region with its details, mm.
    detail : (m,) int64
        Detail per face.
    numbers : (h,) int64
        Details with one whole foot of n corners on the ground.
    loops : (h, n) int64
        Their feet.

    Returns
    -------
    heads : Heads
        Those that are simple.
    simple : (h,) bool
        Which they are.
    """
    points = vertices[loops]
    middle = points.mean(axis=1)
    offset = points - middle[:, None]
    area = np.cross(offset, np.roll(offset, -1, axis=1)).sum(axis=1)
    size = np.linalg.norm(area, axis=1)
    up = area / np.maximum(size, 1e-18)[:, None]
    off = np.abs(np.einsum("gni,gi->gn", offset, up)).max(axis=1)
    step = np.roll(points, -1, axis=1) - points
    step /= np.maximum(np.linalg.norm(step, axis=2, keepdims=True), 1e-18)
    turn = np.einsum("gni,gi->gn", np.cross(np.roll(step, 1, axis=1), step), up)
    simple = (off <= IN_PLANE) & (turn > TURN).all(axis=1) & (size > 0)

    numbers, loops, middle, up, offset = (
        numbers[simple],
        loops[simple],
        middle[simple],
        up[simple],
        offset[simple],
    )
    along = np.linalg.eigh(np.einsum("gni,gnj->gij", offset, offset))[1][:, :, 2] if len(offset) else up
    along = along - up * np.einsum("gi,gi->g", along, up)[:, None]
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-18)
    frame = np.stack([along, np.cross(up, along), up], axis=1)
    height = _heights(vertices, faces, detail, numbers, middle, up)
    return Heads(numbers, loops, loops[:, _zigzag(loops.shape[1])], height, middle, frame), simple


def _heights(
    vertices: FloatArray,
    faces: IntArray,
    detail: IntArray,
    numbers: IntArray,
    middle: FloatArray,
    up: FloatArray,
) -> FloatArray:
    place = np.full(int(detail.max(initial=-1)) + 2, -1, dtype=np.int64)
    place[numbers] = np.arange(len(numbers))
    mine = np.flatnonzero(place[detail] >= 0)  # -1, the ground, looks up the spare last place
    head = place[detail[mine]]
    corners = vertices[faces[mine]]
    height = np.einsum("mij,mj->mi", corners - middle[head][:, None], up[head])
    area = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = np.maximum(np.einsum("mi,mi->m", area, up[head]), 0.0)
    # what looks out tells which way it goes; a bored hole has walls alone
    size = np.linalg.norm(area, axis=1)
    covered = np.bincount(head, weights=facing, minlength=len(numbers))
    total = np.bincount(head, weights=size, minlength=len(numbers))
    weight = np.where((covered > 0.01 * total)[head], facing, size)
    above = np.bincount(head, weights=weight * height.mean(axis=1), minlength=len(numbers)) >= 0
    highest, lowest = np.full(len(numbers), -np.inf), np.full(len(numbers), np.inf)
    np.maximum.at(highest, head, height.max(axis=1))
    np.minimum.at(lowest, head, height.min(axis=1))
    return np.where(above, highest, lowest)


def _zigzag(count: int) -> IntArray:
    """Triangles of a convex polygon from side to side, which are rounder than a fan's."""
    low, high = 0, count - 1
    triangles = []
    while high - low > 1:
        triangles.append((low, low + 1, high))
        low += 1
        if high - low > 1:
            triangles.append((low, high - 1, high))
            high -= 1
    return np.array(triangles, dtype=np.int64)
