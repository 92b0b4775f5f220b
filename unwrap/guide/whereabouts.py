"""Places and directions on the body in a modeller's words."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.sheet.piece import Piece

SIDES = {
    (0, 1): "front",
    (0, -1): "rear",
    (1, 1): "left side",
    (1, -1): "right side",
    (2, 1): "top",
    (2, -1): "underside",
}

# A piece whose normals nearly cancel goes all round.
ALL_ROUND = 0.35
# A normal this far from every axis belongs to no single side.
CLEAR = 0.8


def mean_normal(piece: Piece) -> FloatArray:
    """(3,) area-weighted mean of a patch's unit normals; short where it curves round."""
    a, b, c = np.moveaxis(piece.patch.vertices[piece.patch.faces], 1, 0)
    weighted = np.cross(b - a, c - a)
    return weighted.sum(axis=0) / np.linalg.norm(weighted, axis=1).sum()


def side_of(piece: Piece) -> str:
    """Which side of the body a piece covers: "left side", "top", "all round", "top and left side"."""
    normal = mean_normal(piece)
    if np.linalg.norm(normal) < ALL_ROUND:
        return "all round"
    return side_in_words(normal)


def side_in_words(normal: FloatArray) -> str:
    """The side that a direction points to, or the two that it points between."""
    normal = normal / np.linalg.norm(normal)
    order = np.argsort(-np.abs(normal))
    first = SIDES[int(order[0]), int(np.sign(normal[order[0]]))]
    if abs(normal[order[0]]) > CLEAR:
        return first
    return f"{first} and {SIDES[int(order[1]), int(np.sign(normal[order[1]]))]}"


def place_in_words(place: FloatArray, low: FloatArray, high: FloatArray) -> str:
    """Where a place lies within a box: "at the front, low down, on the left".

    Parameters
    ----------
    place, low, high : (3,) float64
        The place, and the box's lowest and highest corners, mm.
    """
    size = np.maximum(high - low, 1e-9)
    share = (place - low) / size
    words = []
    for axis, (less, more) in enumerate(
        (("towards the rear", "towards the front"), ("on the right", "on the left"), ("low down", "high up"))
    ):
        # A thin box has no ends worth naming.
        if size[axis] < 0.1 * size.max():
            continue
        if share[axis] < 0.3:
            words.append(less)
        elif share[axis] > 0.7:
            words.append(more)
    return ", ".join(words) if words else "in the middle"


def way_in_words(way: FloatArray, normal: FloatArray) -> str:
    """A direction along the surface: "fore and aft", "up and down", "across", "aslant ..."."""
    size = np.abs(way) / max(float(np.linalg.norm(way)), 1e-12)
    names = ("fore and aft", "from side to side", "up and down")
    best = int(np.argmax(size))
    if size[best] > 0.85:
        return names[best]
    second = int(np.argsort(-size)[1])
    return f"aslant, {names[best]} and {names[second]}"


def heading_in_words(direction: FloatArray) -> str:
    """A direction in the drawing: "to the left", "upwards", "to the upper right"."""
    x, y = direction / np.linalg.norm(direction)
    across = "right" if x > 0 else "left"
    if abs(x) > 0.92:
        return f"to the {across}"
    if abs(y) > 0.92:
        return "upwards" if y > 0 else "downwards"
    return f"to the {'upper' if y > 0 else 'lower'} {across}"


def counted(number: int, noun: str) -> str:
    """A number with its noun: "1 slit", "3 slits"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
