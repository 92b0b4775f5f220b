"""STL files, binary and ASCII, as they are met and not only as they should be."""

from __future__ import annotations

import re

import numpy as np

from unwrap.body.soup import Soup, check_faces, counts, cut_off, damaged, read_numbers

HEADER = 84
RECORD = 50
_SOLID_LINE = re.compile(rb"^[ \t]*(?:end)?solid\b[^\n]*$", re.IGNORECASE | re.MULTILINE)
_STARTS = re.compile(rb"(?:^|\s)facet\b", re.IGNORECASE)
_ENDS = re.compile(rb"(?:^|\s)endfacet\b", re.IGNORECASE)
_LOOP = re.compile(rb"(?:^|\s)endloop\b", re.IGNORECASE)
_VERTEX = re.compile(rb"(?:^|\s)vertex\s+(\S+\s+\S+\s+\S+)", re.IGNORECASE)


def read_stl(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of an STL file.

    A binary file is known by its length (84 bytes and 50 for each facet that it declares),
    not by its first word, because many programs write `solid` into binary headers.

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
        Where the file is cut off, its count and its content differ, or it is no STL.
    """
    declared = int.from_bytes(data[80:84], "little") if len(data) >= HEADER else -1
    if declared >= 0 and len(data) == HEADER + RECORD * declared:
        return _read_binary(data, declared, file, most_faces)
    if _is_text(data):
        return _read_ascii(data, file, most_faces)
    if declared < 0:
        raise damaged(file, "is too short to be an STL file")
    return _read_binary(data, declared, file, most_faces)


def _is_text(data: bytes) -> bool:
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    return (
        head[:5].lower() == b"solid" and b"\0" not in head and (len(data) < 4096 or b"facet" in head.lower())
    )


def _read_binary(data: bytes, declared: int, file: str, most_faces: int) -> Soup:
    held, rest = divmod(len(data) - HEADER, RECORD)
    if held != declared:
        raise cut_off(file, declared, held)
    check_faces(file, declared, most_faces)
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
    corners = np.frombuffer(data, record, count=declared, offset=HEADER)["corners"]
    notes = (f"passed over {counts(rest, 'stray byte')} after the last facet",) if rest else ()
    vertices = corners.reshape(-1, 3).astype(np.float64)
    return Soup(vertices, np.arange(3 * declared).reshape(-1, 3), declared, notes)


def _read_ascii(data: bytes, file: str, most_faces: int) -> Soup:
    text = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\n" in text.strip():
        text = _SOLID_LINE.sub(b"", text)  # a name may hold any word, "facet" too
    started, ended = len(_STARTS.findall(text)), len(_ENDS.findall(text))
    check_faces(file, started, most_faces)
    if started != ended:
        raise cut_off(file, started, ended, "facet")
    if len(_LOOP.findall(text)) != started:
        raise damaged(file, "has facets without an outer loop")
    chunks = []
    held = 0
    for piece in _pieces(text):
        found = _VERTEX.findall(piece)
        numbers = read_numbers(b" ".join(found))
        if numbers is None or len(numbers) != 3 * len(found):
            raise damaged(file, f"has a vertex without three numbers at or after facet {held // 3 + 1}")
        held += len(found)
        chunks.append(numbers)
    if held != 3 * started:
        raise damaged(
            file, f"declares {counts(started, 'facet')}, which need {3 * started} corners, but holds {held}"
        )
    vertices = np.concatenate(chunks).reshape(-1, 3) if chunks else np.zeros((0, 3))
    return Soup(vertices, np.arange(held).reshape(-1, 3), started)


def _pieces(text: bytes, size: int = 1 << 22) -> list[bytes]:
    """The text in pieces that end with a facet, so that memory stays small."""
    pieces, at = [], 0
    while at < len(text):
        end = _ENDS.search(text, at + size) if at + size < len(text) else None
        stop = end.end() if end else len(text)
        pieces.append(text[at:stop])
        at = stop
    return pieces
