"""A board to try slits on, as `relieve` makes it but for ground of one price throughout."""

from __future__ import annotations

import numpy as np

from unwrap.relief.board import Board
from unwrap.relief.chart import chart_of
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.field import Field
from unwrap.relief.ground import Ground


def board_of(uncut, film, count=450, middling=4000):
    """The board of an uncut piece, with trial meshes of `count` faces, and the real mesh."""
    ground = Ground(uncut.surface, chart_of(uncut), uncut.faces, uncut.face, uncut.vertex)
    copy = coarse_copy(ground, middling)[0]
    field = Field.of(copy, np.ones(len(copy.chart)), np.zeros(len(copy.chart), bool))
    return Board(field, film, count), ground
