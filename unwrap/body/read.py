"""Read a body from a file: units, axes, welding, and a refusal of what cannot be used."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.body.glb import read_glb
from unwrap.body.mend import mend_mesh
from unwrap.body.obj import not_finite, read_obj
from unwrap.body.off import read_off
from unwrap.body.ply import read_ply
from unwrap.body.soup import Soup, counts, damaged
from unwrap.body.stl import read_stl
from unwrap.body.threemf import read_3mf
from unwrap.body.weld import drop_empty_faces, drop_unused, join_equal, weld, weld_tolerance
from unwrap.body.winding import wind_outward
from unwrap.errors import BadInput

MAX_BYTES = 300_000_000
MAX_FACES = 2_000_000
# A kilometre: a body this far out has lost the digits that a decal needs.
FARTHEST = 1e6

MM_PER_UNIT = {"um": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
UNITS = ("mm", "cm", "m", "in")
READERS: dict[str, Callable[[bytes, str, int], Soup]] = {
    ".stl": read_stl,
    ".obj": read_obj,
    ".3mf": read_3mf,
    ".ply": read_ply,
    ".off": read_off,
    ".glb": read_glb,
}


def load_body(
    path: str | os.PathLike[str],
    units: str = "mm",
    front: str = "+x",
    up: str = "+z",
    *,
    max_bytes: int = MAX_BYTES,
    max_faces: int = MAX_FACES,
) -> Body:
    """Read a body, in mm at model size, +x to the front, +y to the left, +z up.

    Parameters
    ----------
    path : str or path
        An STL, OBJ, 3MF, PLY, OFF or GLB file.
    units : str
        What one unit of the file is: "mm", "cm", "m" or "in". A 3MF file states its own
        unit, which holds unless `units` is something else than "mm".
    front, up : str
        The file's axes that point to the body's front and up: "+x", "-x", "+y", "-y",
        "+z" or "-z".
    max_bytes, max_faces : int
        Refuse a larger file, or one of more faces.

    Returns
    -------
    Body
        Welded (see `weld_tolerance`), without repeated, doubled or empty faces, wound
        outward patch by patch; `Body.repairs` lists what was mended.

    Raises
    ------
    BadInput
        Where the file cannot be used, or `units`, `front` or `up` make no sense.
    """
    path = Path(path)
    file = os.fsencode(path.name).decode("utf-8", "replace")
    turn = turn_axes(front, up)
    if units not in UNITS:
        raise BadInput(f'units = "{units}": give one of {", ".join(UNITS)}')
    soup = _read(path, file, max_bytes, max_faces)
    if len(soup.faces) == 0:
        raise damaged(file, f"declares {counts(soup.declared, 'face')} and holds none that has an area")
    with np.errstate(invalid="ignore"):  # a NaN among them is told below
        vertices, faces = drop_unused(*join_equal(soup.vertices, soup.faces))
    if not np.isfinite(vertices).all():
        raise not_finite(file)
    scale = MM_PER_UNIT[soup.unit if soup.unit and units == "mm" else units]
    notes = list(soup.notes)
    if soup.unit and units == "mm" and soup.unit != "mm":
        notes.append(f"took the file's own unit ({soup.unit}): 1 {soup.unit} = {scale:g} mm")
    with np.errstate(over="ignore", invalid="ignore"):
        vertices = vertices @ turn.T if np.any(turn != np.eye(3)) else vertices
        vertices *= scale
        vertices += 0.0  # makes -0.0 equal to 0.0
    if not (np.abs(vertices) <= FARTHEST).all():
        raise BadInput(
            f"{file}: has coordinates beyond {FARTHEST / 1e6:g} km, more than a body can have; "
            f'check units (now "{units}") and export the mesh again'
        )
    tolerance = weld_tolerance(vertices)
    vertices, faces, moved = weld(vertices, faces, tolerance)
    if moved:
        notes.append(f"welded {moved} vertices that lay within {tolerance:.2g} mm of others")
    faces, dropped = drop_empty_faces(faces)
    if len(faces) == 0:
        raise BadInput(f"{file}: all its faces are without area; check units and export the mesh again")
    faces, mended = mend_mesh(vertices, faces, float(np.linalg.norm(np.ptp(vertices, axis=0))))
    if mended:  # two slivers back to back leave a pair of faces behind
        faces, again = drop_empty_faces(faces)
        mended += again
        vertices, faces = drop_unused(vertices, faces)
    name = os.fsencode(path.stem).decode("utf-8", "replace")
    return wind_outward(Body(vertices, faces, name, path, (*notes, *dropped, *mended)))


def turn_axes(front: str, up: str) -> FloatArray:
    """(3, 3) matrix whose rows are the file's directions of front, left and up.

    Raises
    ------
    BadInput
        Where an axis is not one of the six, or both lie along the same line.
    """
    rows = []
    for key, axis in (("front", front), ("up", up)):
        text = axis.strip().lower() if isinstance(axis, str) else ""
        text = text if text[:1] in ("+", "-") else "+" + text
        if text not in ("+x", "-x", "+y", "-y", "+z", "-z"):
            raise BadInput(f'{key} = "{axis}": give one of "+x", "-x", "+y", "-y", "+z", "-z"')
        row = np.zeros(3)
        row["xyz".index(text[1])] = -1.0 if text[0] == "-" else 1.0
        rows.append(row)
    ahead, above = rows
    if abs(float(ahead @ above)) > 0.5:
        raise BadInput(f'front = "{front}" and up = "{up}" lie along the same axis; change one of them')
    return np.stack([ahead, np.cross(above, ahead), above])


def _read(path: Path, file: str, max_bytes: int, max_faces: int) -> Soup:
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        known = ", ".join(sorted(suffix[1:].upper() for suffix in READERS))
        raise BadInput(
            f"{file}: is none of the kinds of file that can be read ({known}); export the body as STL"
        )
    try:
        if not path.is_file():
            raise BadInput(f"{file}: there is no such file at {str(path.parent)!r}")
        size = path.stat().st_size
        if size > max_bytes:
            raise BadInput(
                f"{file}: is {size / 1e6:.0f} MB, more than the {max_bytes / 1e6:.0f} MB that are read; "
                "reduce its faces, or save it in a binary format"
            )
        with path.open("rb") as stream:
            data = stream.read(max_bytes + 1)
    except OSError as error:
        raise BadInput(f"{file}: cannot be read ({error.strerror or error})") from error
    except ValueError as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput("the body's file name has a character that no file can have") from error
    if len(data) == 0:
        raise BadInput(f"{file}: is empty; export or download it again")
    with np.errstate(all="ignore"):  # what is no finite number is refused once all is read
        return reader(data, file, max_faces)
