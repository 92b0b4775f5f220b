"""STL files, binary and ASCII, as they are met and not only as they should be."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.body.soup import Soup, check_faces, counts, cut_off, damaged, read_numbers

HEADER = 84
RECORD = 50
_VERTEX = re.compile(rb"(?:^|\s)vertex\s+(\S+\s+\S+\s+\S+)")
# Text is worked through so many bytes at a time, so that memory stays small.
PIECE = 1 << 22


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
    # Columns of their own, in the file's own precision: equal places are found quickest so.
    columns = np.empty((3, declared, 3), dtype=np.float32)
    columns[:] = np.moveaxis(corners, 2, 0)
    return Soup(columns.reshape(3, -1).T, np.arange(3 * declared).reshape(-1, 3), declared, notes)


def _read_ascii(data: bytes, file: str, most_faces: int) -> Soup:
    text = _without_names(data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"))
    started = ended = loops = held = 0
    chunks = []
    for piece in _pieces(text):
        ends = piece.count(b"endfacet")
        started += piece.count(b"facet") - ends
        ended += ends
        loops += piece.count(b"endloop")
        check_faces(file, started, most_faces)
        numbers = _corners(piece)
        if numbers is None:
            raise damaged(file, f"has a vertex without three numbers at or after facet {held // 3 + 1}")
        held += len(numbers) // 3
        chunks.append(numbers)
    if started != ended:
        raise cut_off(file, started, ended, "facet")
    if loops != started:
        raise damaged(file, "has facets without an outer loop")
    if held != 3 * started:
        raise damaged(
            file, f"declares {counts(started, 'facet')} but holds {held} corners instead of {3 * started}"
        )
    vertices = np.concatenate(chunks).reshape(-1, 3) if chunks else np.zeros((0, 3))
    return Soup(vertices, np.arange(held).reshape(-1, 3), started)


def _corners(piece: bytes) -> FloatArray | None:
    """The numbers after each `vertex`, three for each; None where there are not three."""
    lines = [part.split(b"\n", 1)[0] for part in piece.split(b"vertex")[1:]]
    numbers = read_numbers(b" ".join(lines))
    if numbers is None or len(numbers) != 3 * len(lines):  # or the lines break elsewhere
        lines = _VERTEX.findall(piece)
        numbers = read_numbers(b" ".join(lines))
    return None if numbers is None or len(numbers) != 3 * len(lines) else numbers


def _without_names(text: bytes) -> bytes:
    """The text without its `solid` and `endsolid` lines: a name may hold any word, "facet" too."""
    if b"\n" not in text.strip():
        return text
    kept, at = [], 0
    lower = text.lower()
    found = lower.find(b"solid")
    while found >= 0:
        start = text.rfind(b"\n", 0, found) + 1
        end = text.find(b"\n", found)
        end = len(text) if end < 0 else end
        if lower[start:found].strip() in (b"", b"end"):
            kept.append(text[at:start])
            at = end
        found = lower.find(b"solid", end)
    return b"".join([*kept, text[at:]])


def _pieces(text: bytes) -> Iterator[bytes]:
    """The text in lower case, in pieces that end with a facet."""
    rest = b""
    for at in range(0, len(text), PIECE):
        piece = rest + text[at : at + PIECE].lower()
        cut = piece.rfind(b"endfacet")
        cut = cut + len(b"endfacet") if cut >= 0 else 0
        yield piece[:cut]
        rest = piece[cut:]
    yield rest
