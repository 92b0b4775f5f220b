"""3MF files: meshes and components in any part of the package."""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from array import array
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.soup import Soup, check_faces, damaged, read_numbers
from unwrap.errors import BadInput

# The XML of a triangle takes some 40 bytes, so this is more than the largest body needs.
MOST_UNPACKED = 400_000_000
MOST_PARTS = 10_000
DEEPEST = 32
UNITS = {
    "micron": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "in",
    "foot": "ft",
    "meter": "m",
}
Key = tuple[str, str]


@dataclass
class Thing:
    """A resource: a mesh, components, or both empty."""

    points: array[float] = field(default_factory=lambda: array("d"))
    corners: array[int] = field(default_factory=lambda: array("q"))
    parts: list[tuple[Key, FloatArray]] = field(default_factory=list)


@dataclass
class Model:
    """All that the package's model parts hold."""

    things: dict[Key, Thing] = field(default_factory=dict)
    items: list[tuple[Key, FloatArray]] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)


def read_3mf(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of what a 3MF file builds.

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
        In the unit that the package states.

    Raises
    ------
    BadInput
        Where it is no 3MF package, unpacks to too much, declares entities, or lacks a
        mesh that it refers to.
    """
    model = Model()
    for name, part in _model_parts(data, file):
        _parse(part, name, model, file)
    if not any(thing.corners or thing.parts for thing in model.things.values()):
        raise BadInput(f"{file}: holds no mesh; export the body again")
    root = min(model.units, key=lambda name: (name != "3D/3dmodel.model", name))
    items = model.items or [(key, _IDENTITY) for key, thing in model.things.items() if thing.corners]
    meshes: dict[Key, tuple[FloatArray, IntArray]] = {}
    placed: list[tuple[FloatArray, IntArray]] = []
    total = visits = 0
    queue = [(key, matrix, 0) for key, matrix in reversed(items)]
    while queue:
        key, matrix, depth = queue.pop()
        thing = model.things.get(key)
        if thing is None:
            raise damaged(file, f"builds object {key[1]}, which is not in it")
        if depth > DEEPEST:
            raise damaged(file, "has an object that contains itself")
        if thing.corners:
            if key not in meshes:
                meshes[key] = _mesh(thing, key, file)
            vertices, faces = meshes[key]
            total += len(faces)
            check_faces(file, total, most_faces)
            moved = vertices @ matrix[:3] + matrix[3]
            turned = faces[:, ::-1] if np.linalg.det(matrix[:3]) < 0 else faces
            placed.append((moved, turned))
        queue += [(child, _chain(inner, matrix), depth + 1) for child, inner in thing.parts]
        visits += 1
        if visits > MOST_PARTS or len(queue) > MOST_PARTS:
            raise BadInput(
                f"{file}: repeats its parts more than {MOST_PARTS} times; export the body as one mesh"
            )
    if not total:
        raise BadInput(f"{file}: builds no mesh; export the body again")
    offset = np.cumsum([0] + [len(v) for v, _ in placed[:-1]])
    faces_all = np.concatenate([f + o for (_, f), o in zip(placed, offset, strict=True)])
    unit = UNITS.get(model.units[root])
    if unit is None:
        raise damaged(file, f'states the unit "{model.units[root]}", which 3MF does not have')
    return Soup(np.concatenate([v for v, _ in placed]), faces_all, total, (), unit)


_IDENTITY = np.vstack([np.eye(3), np.zeros((1, 3))])


def _chain(inner: FloatArray, outer: FloatArray) -> FloatArray:
    """First `inner`, then `outer`; both (4, 3), applied to rows."""
    return np.vstack([inner[:3] @ outer[:3], inner[3] @ outer[:3] + outer[3]])


def _model_parts(data: bytes, file: str) -> list[tuple[str, bytes]]:
    """Every part of the package that ends in `.model`, unpacked, with a limit on the sum."""
    parts: list[tuple[str, bytes]] = []
    left = MOST_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            names = [info for info in package.infolist() if info.filename.lower().endswith(".model")]
            if len(names) > MOST_PARTS:
                raise BadInput(f"{file}: has more than {MOST_PARTS} parts; export the body as one mesh")
            for info in names:
                with package.open(info) as stream:
                    content = stream.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise BadInput(
                        f"{file}: unpacks to more than {MOST_UNPACKED // 1_000_000} MB, which no body needs; "
                        "export it again with fewer faces"
                    )
                parts.append((info.filename.lstrip("/"), content))
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        RuntimeError,
        NotImplementedError,
        ValueError,
    ) as error:
        if isinstance(error, BadInput):
            raise
        raise damaged(file, "is no sound 3MF package") from error
    if not parts:
        raise BadInput(f"{file}: is a package without a model in it; export the body as 3MF again")
    return parts


def _parse(content: bytes, part: str, model: Model, file: str) -> None:
    """Read one part; XML entities and document types are refused, since no 3MF needs them."""
    thing = Thing()
    unit = "millimeter"

    def start(tag: str, has: dict[str, Any]) -> None:
        nonlocal thing, unit
        space, _, name = tag.rpartition("|")
        if space and "/core/" not in space:  # slices and beams have vertices of their own
            return
        if name == "vertex":
            thing.points.extend((float(has["x"]), float(has["y"]), float(has["z"])))
        elif name == "triangle":
            thing.corners.extend((int(has["v1"]), int(has["v2"]), int(has["v3"])))
        elif name == "object":
            thing = model.things.setdefault((part, has["id"]), Thing())
        elif name == "component":
            thing.parts.append((refer(has), _matrix(has.get("transform"))))
        elif name == "item":
            model.items.append((refer(has), _matrix(has.get("transform"))))
        elif name == "model":
            unit = has.get("unit", unit)

    def refer(has: dict[str, Any]) -> Key:
        other = next((value for key, value in has.items() if key.endswith("|path")), None)
        return (posixpath.normpath(other).lstrip("/") if other else part, has["objectid"])

    def refuse(*_: Any) -> None:
        raise damaged(file, "declares XML entities, which a 3MF body has no use for")

    parser = expat.ParserCreate(namespace_separator="|")
    parser.StartElementHandler = start
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(content, True)
    except (expat.ExpatError, KeyError, ValueError, LookupError, OverflowError) as error:
        if isinstance(error, BadInput):
            raise
        raise damaged(file, f"its part {part} is not sound XML of a 3MF model") from error
    model.units[part] = unit


def _matrix(text: str | None) -> FloatArray:
    if text is None:
        return _IDENTITY
    numbers = read_numbers(text.encode("ascii", "replace"))
    if numbers is None or len(numbers) != 12 or not np.isfinite(numbers).all():
        raise ValueError(text)
    return numbers.reshape(4, 3)


def _mesh(thing: Thing, key: Key, file: str) -> tuple[FloatArray, IntArray]:
    points = np.array(thing.points, dtype=np.float64).reshape(-1, 3)
    corners = np.array(thing.corners, dtype=np.int64).reshape(-1, 3)
    if corners.min() < 0 or corners.max() >= len(points):
        raise damaged(file, f"object {key[1]} names a vertex that is not among its {len(points)}")
    return points, corners
