"""What a file reader hands on: triangles as the file has them, before anything is mended."""

from __future__ import annotations

import warnings
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.errors import BadInput


class Soup(NamedTuple):
    """Triangles as a file has them.

    Attributes
    ----------
    vertices : (n, 3) float32 or float64
        Positions in the file's own units and axes, repeated as the file repeats them.
    faces : (m, 3) int64
        Triangles into `vertices`, wound as in the file.
    declared : int
        How many faces (triangles or polygons) the file says that it has.
    notes : tuple of str
        What the reader passed over, one phrase each.
    unit : str or None
        The unit that the file itself states, where its format can.
    """

    vertices: NDArray[Any]
    faces: IntArray
    declared: int
    notes: tuple[str, ...] = ()
    unit: str | None = None


def read_numbers(text: bytes) -> FloatArray | None:
    """Numbers parted by white space; None where something else stands among them."""
    if not text.strip():
        return np.zeros(0)
    with warnings.catch_warnings():
        # NumPy reports a word among the numbers as a warning in some versions, as an error in others.
        warnings.simplefilter("error")
        try:
            return np.fromstring(text, dtype=np.float64, sep=" ")  # type: ignore[call-overload]
        except (DeprecationWarning, ValueError):
            return None


_PLURALS = {"vertex": "vertices", "patch": "patches"}


def counts(number: int, thing: str) -> str:
    """A number with its thing: 1 face, 2 faces, 12 345 faces."""
    return f"{number:,} ".replace(",", " ") + (thing if number == 1 else _PLURALS.get(thing, thing + "s"))


def cut_off(file: str, declared: int, held: int, thing: str = "face") -> BadInput:
    """The error for a file that has fewer (or more) faces than it says."""
    return damaged(file, f"declares {counts(declared, thing)} but holds {held}")


def damaged(file: str, found: str) -> BadInput:
    """The error for a file whose content contradicts itself."""
    return BadInput(f"{file}: {found}; the file is damaged or cut off, so export or download it again")


def check_faces(file: str, faces: int, most: int) -> None:
    """Refuse a file with more faces than `most`, before they are read."""
    if faces > most:
        raise BadInput(
            f"{file}: has {counts(faces, 'face')} and at most {counts(most, 'face')} can be worked on; "
            "reduce it in the program that made it"
        )
