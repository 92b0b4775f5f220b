"""Liveries for scale models as a few large waterslide decals, flattened true to size.

>>> import unwrap
>>> film = unwrap.Film(stretch=0.04, compression=0.01)
>>> corners = [[0, 0, 0], [10, 0, 0], [10, 5, 0], [0, 5, 2]]
>>> flat = unwrap.flatten(corners, [[0, 1, 2], [0, 2, 3]], film)
>>> flat.within
True
"""

from unwrap.bench import Result
from unwrap.body.read import load_body
from unwrap.errors import BadInput
from unwrap.film import Film
from unwrap.flatten import distortion_bound, flatten
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.make import make
from unwrap.relief import relieve

# `unwrap.flatten` and `unwrap.make` are the functions; the folder and the file of the same
# names are reached by `from unwrap.flatten.strain import ...` as everywhere in this house.
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
