"""GLB files: the binary form of glTF 2.0, geometry only."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.soup import Soup, check_faces, cut_off, damaged
from unwrap.errors import BadInput

_COMPONENT = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTH = {"SCALAR": 1, "VEC3": 3}
_STRIP, _FAN, _TRIANGLES = 5, 6, 4
MOST_NODES = 10_000


def read_glb(data: bytes, file: str, most_faces: int) -> Soup:
    """Triangles of the scene of a GLB file, with its nodes' places.

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
        Where its counts and its content differ, its geometry is packed in a way that is
        not read (draco, sparse, other files), or it holds no triangles.

    Notes
    -----
    Written after the Khronos Group's glTF 2.0 specification, section 4 (GLB) and 3.6, 3.7
    (accessors, meshes). Buffers outside the file are not opened.
    """
    try:
        return _read(data, file, most_faces)
    except (
        KeyError,
        IndexError,
        TypeError,
        ValueError,
        AttributeError,
        OverflowError,
        RecursionError,
    ) as error:
        if isinstance(error, BadInput):
            raise
        raise damaged(file, "is no sound GLB file") from error


def _read(data: bytes, file: str, most_faces: int) -> Soup:
    head = np.frombuffer(data[:20], "<u4")
    if len(head) < 5 or data[:4] != b"glTF" or head[1] != 2:
        raise BadInput(f"{file}: is no GLB file of version 2; export the body again")
    if head[2] > len(data):
        raise damaged(file, f"declares {head[2]} bytes but holds {len(data)}")
    length = int(head[3])
    tree = json.loads(data[20 : 20 + length])
    if tree.get("extensionsRequired"):
        raise BadInput(f"{file}: needs {str(tree['extensionsRequired'])[:80]} to be read; export it plain")
    content = data[20 + length + 8 :] if len(data) > 20 + length + 8 else b""
    nodes = tree.get("nodes", [])
    scene = (
        tree.get("scenes", [{}])[tree.get("scene", 0)] if tree.get("scenes") else {"nodes": range(len(nodes))}
    )
    stack = [(k, np.eye(4)) for k in scene.get("nodes", [])]
    parts: list[tuple[FloatArray, IntArray]] = []
    total = declared = visits = 0
    while stack:
        index, matrix = stack.pop()
        visits += 1
        if visits > MOST_NODES or index < 0:
            raise damaged(file, "has nodes that contain themselves")
        node = nodes[index]
        matrix = matrix @ _place(node)
        stack += [(child, matrix) for child in node.get("children", [])]
        if "mesh" not in node:
            continue
        for primitive in tree["meshes"][node["mesh"]]["primitives"]:
            if primitive.get("mode", _TRIANGLES) not in (_TRIANGLES, _STRIP, _FAN):
                continue
            points = _accessor(tree, content, primitive["attributes"]["POSITION"], file).astype(np.float64)
            if "indices" in primitive:
                order = _accessor(tree, content, primitive["indices"], file)[:, 0].astype(np.int64)
            else:
                order = np.arange(len(points))
            faces = _faces(order, primitive.get("mode", _TRIANGLES), file)
            declared += len(faces)
            check_faces(file, declared, most_faces)
            if len(faces) and faces.max() >= len(points):
                raise damaged(file, "a face names a vertex that is not there")
            moved = points @ matrix[:3, :3].T + matrix[:3, 3]
            if np.linalg.det(matrix[:3, :3]) < 0:
                faces = faces[:, ::-1]
            parts.append((moved, faces + total))
            total += len(points)
    if not declared:
        raise BadInput(f"{file}: holds no triangles; export the body as a mesh with faces")
    return Soup(np.concatenate([p for p, _ in parts]), np.concatenate([f for _, f in parts]), declared)


def _accessor(tree: dict[str, Any], content: bytes, index: int, file: str) -> np.ndarray:
    about = tree["accessors"][index]
    if "sparse" in about or "bufferView" not in about:
        raise damaged(file, "stores its vertices sparsely, which is not read")
    view = tree["bufferViews"][about["bufferView"]]
    if "uri" in tree["buffers"][view["buffer"]]:
        raise BadInput(f"{file}: keeps its geometry in another file; export it as one GLB file")
    kind = np.dtype(_COMPONENT[about["componentType"]])
    width = _WIDTH[about["type"]]
    count, step = int(about["count"]), int(view.get("byteStride", kind.itemsize * width))
    start = int(view.get("byteOffset", 0)) + int(about.get("byteOffset", 0))
    end = start + step * (count - 1) + kind.itemsize * width
    if min(count, step, start) < 0 or step == 0 or (count and end > len(content)):
        raise cut_off(file, count, max(0, (len(content) - start) // max(step, 1)), "value")
    return (
        np.ndarray((count, width), kind, content, start, (step, kind.itemsize))
        if count
        else np.zeros((0, width))
    )


def _faces(order: IntArray, mode: int, file: str) -> IntArray:
    if mode == _TRIANGLES:
        if len(order) % 3:
            raise damaged(file, f"has {len(order)} corners, which make no whole triangles")
        return order.reshape(-1, 3)
    if len(order) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    if mode == _FAN:
        return np.stack([np.full(len(order) - 2, order[0]), order[1:-1], order[2:]], axis=1)
    strip = np.stack([order[:-2], order[1:-1], order[2:]], axis=1)
    strip[1::2] = strip[1::2][:, [1, 0, 2]]
    return strip


def _place(node: dict[str, Any]) -> FloatArray:
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    x, y, z, w = np.array(node.get("rotation", [0, 0, 0, 1]), dtype=np.float64)
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    matrix = np.eye(4)
    matrix[:3, :3] = turn * np.array(node.get("scale", [1, 1, 1]), dtype=np.float64)
    matrix[:3, 3] = np.array(node.get("translation", [0, 0, 0]), dtype=np.float64)
    return matrix
