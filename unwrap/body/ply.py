"""PLY files, ASCII and binary."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.obj import soup_of_polygons
from unwrap.body.soup import Soup, check_faces, cut_off, damaged, read_numbers
from unwrap.errors import BadInput

TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2",
    "ushort": "u2", "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
LONGEST_HEADER = 100_000


@dataclass
class Element:
    """One kind of thing in the file, with its properties: (name, type, type of its list's length or None)."""

    name: str
    count: int
    properties: list[tuple[str, str, str | None]] = field(default_factory=list)


def read_ply(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of a PLY file; polygons are cut truly.

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
        Where its counts and its content differ, it has points only, or it is no PLY.
    """
    order, elements, start = _header(data, file)
    found = {element.name: element for element in elements}
    if "vertex" not in found or not {"x", "y", "z"} <= {p[0] for p in found["vertex"].properties}:
        raise BadInput(f"{file}: has no vertices with x, y and z; export the body as a mesh")
    if "tristrips" in found:
        raise BadInput(f"{file}: holds triangle strips; export it as single faces")
    if "face" not in found or found["face"].count == 0:
        raise BadInput(f"{file}: holds points but no faces; export the body as a mesh with faces")
    check_faces(file, found["face"].count, most_faces)
    if order is None:
        columns = _read_ascii(data[start:], elements, file)
    else:
        columns = _read_binary(data, start, order, elements, file)
    vertices = np.stack([columns["vertex", axis][0].astype(np.float64) for axis in "xyz"], axis=1)
    names = [p[0] for p in found["face"].properties if p[0] in ("vertex_indices", "vertex_index")]
    if not names:
        raise BadInput(f"{file}: its faces do not name their vertices; export the body again")
    corners, sides = columns["face", names[0]]
    index = corners.astype(np.int64)
    if len(index) and (index.min() < 0 or index.max() >= len(vertices)):
        raise damaged(file, f"a face names a vertex that is not among its {len(vertices)}")
    return soup_of_polygons(vertices, index, sides, file, most_faces)


def _header(data: bytes, file: str) -> tuple[str | None, list[Element], int]:
    """Byte order ("<", ">" or None for text), the elements and where the content starts."""
    head = data[:LONGEST_HEADER]
    end = head.find(b"end_header")
    if not head.startswith(b"ply") or end < 0:
        raise damaged(file, "has no PLY header")
    start = end + len(b"end_header")
    start += 2 if data[start : start + 2] == b"\r\n" else 1
    orders = {"ascii": None, "binary_little_endian": "<", "binary_big_endian": ">"}
    order: str | None = ""
    elements: list[Element] = []
    try:
        for line in head[:end].decode("ascii", "replace").splitlines()[1:]:
            words = line.split()
            if not words or words[0] in ("comment", "obj_info"):
                continue
            if words[0] == "format":
                order = orders[words[1]]
            elif words[0] == "element":
                elements.append(Element(words[1], int(words[2])))
                if elements[-1].count < 0:
                    raise ValueError
            elif words[0] == "property" and words[1] == "list":
                elements[-1].properties.append((words[4], TYPES[words[3]], TYPES[words[2]]))
            elif words[0] == "property":
                elements[-1].properties.append((words[2], TYPES[words[1]], None))
            else:
                raise ValueError
    except (KeyError, IndexError, ValueError) as error:
        raise damaged(file, "its PLY header cannot be read") from error
    if order == "":
        raise damaged(file, "its PLY header names no format")
    return order, elements, start


Columns = dict[tuple[str, str], tuple[np.ndarray, IntArray]]


def _read_binary(data: bytes, start: int, order: str, elements: list[Element], file: str) -> Columns:
    """Each property's values in a row and, for lists, how many each item has."""
    columns: Columns = {}
    at = start
    for element in elements:
        least = sum(np.dtype(length or kind).itemsize for _, kind, length in element.properties)
        if element.count * max(least, 1) > len(data) - at:
            raise cut_off(file, element.count, (len(data) - at) // max(least, 1), element.name)
        lengths = _same_lengths(data, at, order, element)
        if lengths is None:
            at = _read_items(data, at, order, element, file, columns)
            continue
        fields: list[tuple[str, str] | tuple[str, str, int]] = []
        for k, (_, kind, length) in enumerate(element.properties):
            if length is not None:
                fields.append((f"n{k}", order + length))
                fields.append((f"p{k}", order + kind, lengths[k]))
            else:
                fields.append((f"p{k}", order + kind))
        record = np.dtype(fields)
        rows = np.frombuffer(data, record, count=element.count, offset=at)
        for k, (name, _, length) in enumerate(element.properties):
            sides = rows[f"n{k}"].astype(np.int64) if length is not None else np.zeros(0, np.int64)
            columns[element.name, name] = rows[f"p{k}"].ravel(), sides
        at += element.count * record.itemsize
    return columns


def _same_lengths(data: bytes, at: int, order: str, element: Element) -> dict[int, int] | None:
    """How long each list is, where that is the same for all items; None where it is not."""
    lengths: dict[int, int] = {}
    position = at
    for k, (_, kind, length) in enumerate(element.properties):
        if length is None:
            position += np.dtype(kind).itemsize
            continue
        step = np.dtype(length).itemsize
        if element.count == 0 or position + step > len(data):
            lengths[k] = 0
            continue
        lengths[k] = int(np.frombuffer(data, order + length, 1, position)[0])
        if not 0 <= lengths[k] <= len(data):
            return None
        position += step + lengths[k] * np.dtype(kind).itemsize
    size = position - at
    if size * element.count > len(data) - at:
        return None
    offset = at
    for k, (_, kind, length) in enumerate(element.properties):
        if length is not None:
            spread = np.ndarray((element.count,), order + length, data, offset, (size,))
            if (spread != lengths[k]).any():
                return None
            offset += np.dtype(length).itemsize + lengths[k] * np.dtype(kind).itemsize
        else:
            offset += np.dtype(kind).itemsize
    return lengths


def _read_items(data: bytes, at: int, order: str, element: Element, file: str, columns: Columns) -> int:
    """Item by item, for lists of different lengths; returns where the content goes on."""
    parts: list[list[bytes]] = [[] for _ in element.properties]
    sides = [np.zeros(element.count, dtype=np.int64) for _ in element.properties]
    plan = [
        (np.dtype(kind).itemsize, np.dtype(length).itemsize if length else 0, length)
        for _, kind, length in element.properties
    ]
    byte_order = "little" if order == "<" else "big"
    for item in range(element.count):
        for k, (width, step, length) in enumerate(plan):
            count = 1
            if length is not None:
                if length[0] == "f" or at + step > len(data):
                    raise cut_off(file, element.count, item, element.name)
                count = int.from_bytes(data[at : at + step], byte_order, signed=length[0] == "i")  # type: ignore[arg-type]
                at += step
            if count < 0 or at + count * width > len(data):
                raise cut_off(file, element.count, item, element.name)
            parts[k].append(data[at : at + count * width])
            sides[k][item] = count
            at += count * width
    for k, (name, kind, _) in enumerate(element.properties):
        columns[element.name, name] = np.frombuffer(b"".join(parts[k]), order + kind), sides[k]
    return at


def _read_ascii(text: bytes, elements: list[Element], file: str) -> Columns:
    columns: Columns = {}
    lines = [line for line in text.replace(b"\r", b"\n").split(b"\n") if line.strip()]
    at = 0
    for element in elements:
        if element.count > len(lines) - at:
            raise cut_off(file, element.count, len(lines) - at, element.name)
        part = lines[at : at + element.count]
        at += element.count
        numbers = read_numbers(b" ".join(part))
        if numbers is None:
            raise damaged(file, f"has words among the numbers of its {element.name} lines")
        per_line = np.array([len(line.split()) for line in part], dtype=np.int64)
        if not any(length for _, _, length in element.properties):
            if (per_line != len(element.properties)).any():
                raise damaged(file, f"has a {element.name} line with too few or too many numbers")
            table = numbers.reshape(element.count, len(element.properties))
            for k, (name, _, _) in enumerate(element.properties):
                columns[element.name, name] = table[:, k], np.zeros(0, np.int64)
            continue
        _split_lists(numbers, per_line, element, file, columns)
    return columns


def _split_lists(
    numbers: FloatArray, per_line: IntArray, element: Element, file: str, columns: Columns
) -> None:
    """Walk all lines together, property by property: each line has its own position."""
    start = np.concatenate([[0], np.cumsum(per_line)[:-1]]).astype(np.int64) if len(per_line) else per_line
    end = start + per_line
    position = start.copy()
    for name, _, length in element.properties:
        if (position >= end).any():
            raise damaged(file, f"has a {element.name} line with too few numbers")
        if length is None:
            columns[element.name, name] = numbers[position], np.zeros(0, np.int64)
            position = position + 1
            continue
        count = numbers[position]
        if not ((count >= 0) & (count == np.round(count)) & (position + 1 + count <= end)).all():
            raise damaged(file, f"has a {element.name} line with too few numbers")
        sides = count.astype(np.int64)
        first = np.repeat(position + 1 - np.concatenate([[0], np.cumsum(sides)[:-1]]), sides)
        columns[element.name, name] = numbers[(first + np.arange(sides.sum())).astype(np.int64)], sides
        position = position + 1 + sides
