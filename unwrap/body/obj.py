"""OBJ files: groups, quadrilaterals and polygons; material lines are never followed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.polygons import MOST_CORNERS, triangulate_polygons
from unwrap.body.soup import Soup, check_faces, counts, damaged, read_numbers
from unwrap.errors import BadInput

_AFTER_SLASH = re.compile(rb"/\S*")
_FREE_FORM = re.compile(rb"^(?:curv|curv2|surf)\s", re.MULTILINE)


def read_obj(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of an OBJ file, all groups and objects together.

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
        Where a face names a vertex that is not there, a line has no numbers where it
        should, or there are no faces.

    Notes
    -----
    Only `v` and `f` lines are read. Textures, normals, materials (and the files that they
    name), points and lines are passed over without opening anything.
    """
    text = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\\\n" in text:
        text = text.replace(b"\\\n", b" ")
    points: list[FloatArray] = []
    corners: list[IntArray] = []
    sides: list[IntArray] = []
    before = 0  # vertices in the pieces read so far
    declared = 0
    for lines in _pieces(text):
        point_lines = [line for line in lines if line[:2] in (b"v ", b"v\t")]
        face_lines = [line for line in lines if line[:2] in (b"f ", b"f\t")]
        declared += len(face_lines)
        check_faces(file, declared, most_faces)
        points.append(_read_points(point_lines, file))
        if face_lines:
            joined = b"\n".join(face_lines)
            known = _known_before(lines, before) if b"-" in joined else None
            numbers, per_line = _read_face_lines(face_lines, joined, file, known)
            corners.append(numbers)
            sides.append(per_line)
        before += len(points[-1])
    if not declared:
        what = "free-form curves only" if _FREE_FORM.search(text) else "no faces"
        raise BadInput(f"{file}: holds {what}; export the body as a mesh with faces")
    vertices = np.concatenate(points)
    all_corners, all_sides = np.concatenate(corners), np.concatenate(sides)
    if len(all_corners) and (all_corners.min() < 0 or all_corners.max() >= len(vertices)):
        wrong = np.flatnonzero((all_corners < 0) | (all_corners >= len(vertices)))[0]
        face = int(np.searchsorted(np.cumsum(all_sides), wrong, side="right")) + 1
        raise damaged(
            file, f"face {face} names a vertex that is not among its {counts(len(vertices), 'vertex line')}"
        )
    soup = soup_of_polygons(vertices, all_corners, all_sides, file, most_faces)
    if text.endswith(b"\n"):
        return soup
    return soup._replace(notes=(*soup.notes, "the file ends in the middle of a line, so it may be cut off"))


def soup_of_polygons(
    vertices: FloatArray,
    corners: IntArray,
    sides: IntArray,
    file: str,
    most_faces: int,
    unit: str | None = None,
) -> Soup:
    """Triangles of a file of polygons, with a note on those that could not be cut truly."""
    if len(sides) and sides.max() > MOST_CORNERS:
        raise BadInput(
            f"{file}: has a face of {int(sides.max())} corners, which no model needs; export it as triangles"
        )
    check_faces(file, int(np.maximum(sides - 2, 0).sum()), most_faces)
    if not np.isfinite(vertices[corners]).all():
        raise not_finite(file)
    faces, polygon, crossing = triangulate_polygons(vertices, corners, sides)
    notes = []
    lost = len(sides) - len(np.unique(polygon))
    if lost:
        notes.append(f"dropped {counts(lost, 'face')} without area")
    if len(crossing):
        notes.append(f"{counts(len(crossing), 'polygon')} with crossing edges filled as well as can be")
    return Soup(vertices, faces, len(sides), tuple(notes), unit)


def not_finite(file: str) -> BadInput:
    """The error for coordinates that are no numbers or have no end."""
    return BadInput(
        f"{file}: has coordinates that are not finite numbers (NaN or infinity); "
        "mend the mesh in the program that made it and export it again"
    )


def _pieces(text: bytes, size: int = 1 << 23) -> Iterator[list[bytes]]:
    """The lines, stripped, some megabytes at a time, so that memory stays small."""
    at = 0
    while at < len(text):
        end = text.find(b"\n", at + size)
        end = len(text) if end < 0 else end + 1
        yield [line.strip() for line in text[at:end].split(b"\n")]
        at = end


def _read_points(lines: list[bytes], file: str) -> FloatArray:
    if not lines:
        return np.zeros((0, 3))
    numbers = read_numbers(b" ".join(line[2:] for line in lines))
    columns = len(lines[0].split()) - 1
    if numbers is not None and columns >= 3 and len(numbers) == columns * len(lines):
        return numbers.reshape(-1, columns)[:, :3]  # colours or a weight may follow the place
    rows = [read_numbers(line[2:]) for line in lines]
    for line, row in zip(lines, rows, strict=True):
        if row is None or len(row) < 3:
            shown = line[:40].decode("ascii", "replace")
            raise damaged(file, f'the line "{shown}" should hold three numbers')
    return np.array([row[:3] for row in rows if row is not None])


def _read_face_lines(
    lines: list[bytes], joined: bytes, file: str, known: IntArray | None
) -> tuple[IntArray, IntArray]:
    plain = _AFTER_SLASH.sub(b"", joined)
    numbers = read_numbers(plain.replace(b"\nf", b"\n")[1:])
    per_line = np.array([len(line.split()) for line in plain.split(b"\n")], dtype=np.int64) - 1
    if numbers is None or len(numbers) != per_line.sum() or not (np.abs(numbers) < 2**53).all():
        raise damaged(file, "has a face line with something else than vertex numbers")
    index = numbers.astype(np.int64)
    if (index == 0).any() or (index != numbers).any():
        raise damaged(file, "has a face with the vertex number 0 or a fraction")
    if known is None:
        return index - 1, per_line
    # A negative number counts back from the last vertex above the line.
    return np.where(index < 0, np.repeat(known, per_line) + index, index - 1), per_line


def _known_before(lines: list[bytes], before: int) -> IntArray:
    """Vertices above each face line."""
    is_point = np.array([line[:2] in (b"v ", b"v\t") for line in lines])
    is_face = np.array([line[:2] in (b"f ", b"f\t") for line in lines])
    return (before + np.cumsum(is_point))[is_face]
