"""Liveries for scale models as a few large waterslide decals, flattened true to size.

>>> import unwrap
>>> film = unwrap.Film(stretch=0.04, compression=0.01)
>>> corners = [[0, 0, 0], [10, 0, 0], [10, 5, 0], [0, 5, 2]]
>>> flat = unwrap.flatten(corners, [[0, 1, 2], [0, 2, 3]], film)
>>> flat.within
True
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from unwrap.bench import Result
    from unwrap.body.read import load_body
    from unwrap.errors import BadInput
    from unwrap.film import Film
    from unwrap.flatten import distortion_bound, flatten
    from unwrap.flatten.flat_piece import FlatPiece
    from unwrap.make import make
    from unwrap.relief import relieve

__all__ = [
    "BadInput",
    "Film",
    "FlatPiece",
    "Result",
    "distortion_bound",
    "flatten",
    "load_body",
    "make",
    "relieve",
]

# Each is imported when it is first asked for: the command's help, or the flattening alone, does
# not wait for the libraries that draw and write.
_HOMES = {
    "BadInput": "unwrap.errors",
    "Film": "unwrap.film",
    "FlatPiece": "unwrap.flatten.flat_piece",
    "Result": "unwrap.bench",
    "distortion_bound": "unwrap.flatten",
    "flatten": "unwrap.flatten",
    "load_body": "unwrap.body.read",
    "make": "unwrap.make",
    "relieve": "unwrap.relief",
}


class _Package(ModuleType):
    """The package, in which `unwrap.flatten` and `unwrap.make` are the functions.

    The folder and the file of the same names are reached by `from unwrap.flatten.strain import
    ...` as everywhere in this house; importing them would put them in the functions' place.
    """

    def __getattr__(self, name: str) -> Any:
        if name not in _HOMES:
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r}")
        found = getattr(import_module(_HOMES[name]), name)
        setattr(self, name, found)
        return found

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *__all__})


sys.modules[__name__].__class__ = _Package
