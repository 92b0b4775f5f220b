"""OFF files, line by line or in free format."""

from __future__ import annotations

import re

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.obj import soup_of_polygons
from unwrap.body.soup import Soup, check_faces, counts, damaged, read_numbers
from unwrap.errors import BadInput

_KIND = re.compile(rb"\s*(ST)?(C)?(N)?(4)?(n)?OFF\b[ \t]*(BINARY)?")
_COMMENT = re.compile(rb"#[^\n]*")


def read_off(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of an OFF file; polygons are cut truly, colours are passed over.

    Parameters
    ----------
    data : bytes
        The whole file.
    file : str
        Its name, for messages.
    most_faces : int
        Refuse more.

    Returns
    -------
    Soup

    Raises
    ------
    BadInput
        Where its counts and its content differ, or it is another kind of OFF.
    """
    text = _COMMENT.sub(b"", data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"))
    kind = _KIND.match(text)
    if kind is None:
        raise BadInput(f"{file}: does not begin with OFF, so it is not an OFF file; check its ending")
    if kind.group(4) or kind.group(5) or kind.group(6):
        raise BadInput(
            f"{file}: is a binary or four-dimensional OFF file; export it as plain OFF, STL or OBJ"
        )
    lines = [line for line in text[kind.end() :].split(b"\n") if line.strip()]
    size = read_numbers(b" ".join(lines[:1]))
    in_lines = size is not None and len(size) in (2, 3)
    if not in_lines:  # counts and coordinates share lines, or each has a line of its own
        return _read_free(b" ".join(lines), file, most_faces, bool(kind.group(2) or kind.group(3)))
    assert size is not None
    points, declared = _sizes(size, len(data), file, most_faces)
    if len(lines) < 1 + points + declared:
        if len(kind.groups()) and not (kind.group(2) or kind.group(3)):
            return _read_free(b" ".join(lines), file, most_faces, False)
        raise _too_short(file, points, declared)
    rows = _rows(lines[1 : 1 + points])
    vertices = None if rows is None else rows[:, :3]
    if vertices is None:
        return _read_free(b" ".join(lines), file, most_faces, False)
    corners, sides = _face_lines(lines[1 + points : 1 + points + declared], file)
    return _soup(vertices, corners, sides, file, most_faces)


def _sizes(size: FloatArray, length: int, file: str, most_faces: int) -> tuple[int, int]:
    if not (np.isfinite(size).all() and (size[:2] >= 0).all() and (size[:2] == np.round(size[:2])).all()):
        raise damaged(file, "its counts of vertices and faces are no whole numbers")
    points, declared = int(size[0]), int(size[1])
    if points > length or declared > length:  # each needs more than one byte
        raise _too_short(file, points, declared)
    check_faces(file, declared, most_faces)
    return points, declared


def _too_short(file: str, points: int, declared: int) -> BadInput:
    return damaged(file, f"declares {points} vertices and {counts(declared, 'face')} but holds fewer")


def _rows(lines: list[bytes]) -> FloatArray | None:
    """(n, >= 3) numbers of lines that all have as many; None where they do not."""
    if not lines:
        return np.zeros((0, 3))
    columns = len(lines[0].split())
    numbers = read_numbers(b" ".join(lines))
    if numbers is None or columns < 3 or len(numbers) != columns * len(lines):
        return None
    return numbers.reshape(-1, columns)


def _face_lines(lines: list[bytes], file: str) -> tuple[IntArray, IntArray]:
    corners: list[int] = []
    sides = np.zeros(len(lines), dtype=np.int64)
    for k, line in enumerate(lines):
        words = line.split()
        try:
            count = int(words[0])
            found = [int(word) for word in words[1 : 1 + max(count, 0)]]
        except ValueError as error:
            raise damaged(file, f"face {k + 1} is not made of whole numbers") from error
        if len(found) != count:
            raise damaged(file, f"face {k + 1} declares {count} corners but holds {len(found)}")
        corners += found
        sides[k] = count
    return np.array(corners, dtype=np.int64), sides


def _read_free(text: bytes, file: str, most_faces: int, coloured: bool) -> Soup:
    """Numbers one after the other, wherever the lines break; no colours then."""
    numbers = read_numbers(text)
    if numbers is None or coloured or len(numbers) < 3:
        raise damaged(file, "is damaged or cut off, or mixes words among its numbers")
    points, declared = _sizes(numbers[:3], len(text), file, most_faces)
    at = 3 + 3 * points
    if at > len(numbers):
        raise _too_short(file, points, declared)
    vertices = numbers[3:at].reshape(-1, 3)
    rest = numbers[at:]
    if not (np.abs(rest) < 2**31).all() or (rest != np.round(rest)).any():
        raise damaged(file, "has faces that are not made of whole numbers")
    whole = rest.astype(np.int64)
    sides = np.zeros(declared, dtype=np.int64)
    first = np.zeros(declared, dtype=np.int64)
    position = 0
    for face in range(declared):
        if position >= len(whole) or whole[position] < 0 or position + 1 + whole[position] > len(whole):
            raise _too_short(file, points, declared)
        sides[face], first[face] = whole[position], position + 1
        position += 1 + int(whole[position])
    pick = np.repeat(first - np.concatenate([[0], np.cumsum(sides)[:-1]]), sides) + np.arange(sides.sum())
    return _soup(vertices, whole[pick] if declared else whole[:0], sides, file, most_faces)


def _soup(vertices: FloatArray, corners: IntArray, sides: IntArray, file: str, most_faces: int) -> Soup:
    if len(corners) and (corners.min() < 0 or corners.max() >= len(vertices)):
        raise damaged(file, f"a face names a vertex that is not among its {len(vertices)}")
    return soup_of_polygons(vertices, corners, sides, file, most_faces)
