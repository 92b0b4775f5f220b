"""Files that are dropped on the page: bounded, and never outside the job's folder."""

from __future__ import annotations

import re
from pathlib import Path

from unwrap.body.read import load_body
from unwrap.errors import BadInput
from unwrap.livery.svg_read import read_drawing

LARGEST_BODY_BYTES = 400_000_000
LARGEST_DRAWING_BYTES = 20_000_000
BODY_ENDINGS = {".stl", ".obj", ".3mf", ".ply", ".off", ".glb"}


def safe_name(name: str, endings: set[str]) -> str:
    """A file name that stays in its folder on every system.

    Raises
    ------
    BadInput
        If nothing is left of the name or its ending is none of those allowed.
    """
    last = re.split(r"[\\/]", name)[-1]
    stem, _, ending = last.rpartition(".")
    stem = re.sub(r"[^\w-]+", "_", stem).strip("_")[:80]
    ending = f".{ending.lower()}"
    if not stem or ending not in endings:
        raise BadInput(f"{last or 'the file'}: drop a file that ends in {', '.join(sorted(endings))}.")
    return stem + ending


def keep_body(folder: Path, name: str, data: bytes, units: str, front: str, up: str) -> str:
    """Save a body in the job's folder once it is known to be one; its name there.

    Raises
    ------
    BadInput
        If it cannot be used as a body.
    """
    name = free_name(folder, safe_name(name, BODY_ENDINGS), data)
    staged = folder / f".new-{name}"
    staged.write_bytes(data)
    try:
        load_body(staged, units=units, front=front, up=up)
        staged.replace(folder / name)
    except BadInput as error:
        raise BadInput(str(error).replace(str(staged), name).replace(staged.name, name)) from None
    finally:
        staged.unlink(missing_ok=True)
    return name


def keep_drawing(folder: Path, name: str, data: bytes) -> str:
    """Save a view drawing in the job's folder once it is known to be one; its name there.

    It is read by the program alone and never shown by the browser, so nothing in it runs.

    Raises
    ------
    BadInput
        If it is no SVG drawing, has no livery group, or refers to anything outside itself.
    """
    name = safe_name(name, {".svg"})
    name = free_name(folder, name, data)
    staged = folder / f".new-{name}"
    staged.write_bytes(data)
    try:
        read_drawing(staged)
        staged.replace(folder / name)
    except BadInput as error:
        raise BadInput(str(error).replace(str(staged), name).replace(staged.name, name)) from None
    finally:
        staged.unlink(missing_ok=True)
    return name


def free_name(folder: Path, name: str, data: bytes) -> str:
    """The name itself, or with a number where another file has it: nothing is overwritten."""
    stem, _, ending = name.rpartition(".")
    for number in range(1, 1000):
        tried = name if number == 1 else f"{stem}-{number}.{ending}"
        path = folder / tried
        if not path.exists() or path.read_bytes() == data:
            return tried
    raise BadInput(f"{name}: the folder is full of files of this name; rename it.")
