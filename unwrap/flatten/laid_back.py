"""How long lines drawn on a flat shape are on the surface."""

from __future__ import annotations

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.metric import cross


class LaidBack:
    """Measures straight runs on the sheet by the faces that they cross.

    Parameters
    ----------
    corners : (m, 3, 2) float64
        The faces on the sheet, counter-clockwise, none over another.
    gram : (3, m) float64
        Per face the metric pulled to the sheet, entries xx, xy, yy: a step w there is
        sqrt(w . G w) long on the surface.
    """

    def __init__(self, corners: FloatArray, gram: FloatArray) -> None:
        self._corners, self._gram = corners, gram
        low, high = corners.min(axis=1), corners.max(axis=1)
        self._tree = shapely.STRtree(shapely.box(*low.T, *high.T))

    def length(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """(k,) lengths on the surface of the runs from `start` to `end`, (k, 2) each.

        What lies outside the faces counts nothing; a run along a side that two faces share counts twice.
        """
        run, face = self._tree.query(shapely.linestrings(np.stack([start, end], axis=1)))
        step = end[run] - start[run]
        corners = self._corners[face]
        enter, leave = np.zeros(len(run)), np.ones(len(run))
        for k in range(3):
            side = corners[:, (k + 1) % 3] - corners[:, k]
            inside = cross(
                side, start[run] - corners[:, k]
            )  # > 0 on the face's side; grows by `gain` along the run
            gain = cross(side, step)
            at = -inside / np.where(gain == 0.0, 1.0, gain)
            enter = np.maximum(
                enter, np.where(gain > 0.0, at, np.where((gain == 0.0) & (inside < 0.0), 1.0, 0.0))
            )
            leave = np.minimum(leave, np.where(gain < 0.0, at, 1.0))
        xx, xy, yy = self._gram[:, face]
        speed = np.sqrt(xx * step[:, 0] ** 2 + 2.0 * xy * step[:, 0] * step[:, 1] + yy * step[:, 1] ** 2)
        return np.bincount(run, np.maximum(leave - enter, 0.0) * speed, len(start)).astype(np.float64)
