"""What eliminating the groups of a dissection brings about: found once per patch, numbers aside."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from unwrap.arrays import IntArray
from unwrap.flatten.dissect import Dissection


class Elimination:
    """Which vertices each group is still tied to when it is eliminated, and where that goes.

    Parameters
    ----------
    dissection : Dissection
    edges : (e, 2) int64
        Pairs of vertices with an entry, each pair once; the diagonal is always there.

    Attributes
    ----------
    order, starts, place : int64 arrays
        Vertices in the order of elimination; where each group starts; each vertex's place.
    group : (n,) int64
        The group of each place.
    beyond : list of (r,) int64
        Later places that each group is tied to, rising.
    children : list of list of int
        The groups that hand their remainder to each group.
    runs : list of list of (from, to, start there, lies beyond)
        How a group's `beyond` is laid into its parent's vertices, run by run.
    """

    def __init__(self, dissection: Dissection, edges: IntArray) -> None:
        self.order, self.starts = dissection.order, dissection.starts
        n, groups = len(self.order), len(self.starts) - 1
        self.place = np.empty(n, dtype=np.int64)
        self.place[self.order] = np.arange(n)
        self.group = np.repeat(np.arange(groups), np.diff(self.starts))
        ends = np.sort(self.place[edges], axis=1)
        # Later neighbours of each group's own vertices, in one sorted list.
        owner = self.group[ends[:, 0]]
        outside = ends[:, 1] >= self.starts[owner + 1]
        key = np.unique(owner[outside] * n + ends[outside, 1])
        first = np.searchsorted(key, np.arange(groups + 1) * n).tolist()
        later = key % n
        bounds, above = self.starts.tolist(), dissection.parent.tolist()
        waiting: list[list[IntArray]] = [[] for _ in range(groups)]
        self.children: list[list[int]] = [[] for _ in range(groups)]
        self.beyond: list[IntArray] = []
        for g in range(groups):
            lists = [later[first[g] : first[g + 1]], *waiting[g]]
            waiting[g] = []
            found = lists[0] if len(lists) == 1 else np.unique(np.concatenate(lists))
            found = found[found.searchsorted(bounds[g + 1]) :]
            self.beyond.append(found)
            if len(found):
                self.children[above[g]].append(g)
                waiting[above[g]].append(found)
        lengths = np.array([len(b) for b in self.beyond])
        self.beyond_starts = np.concatenate([[0], np.cumsum(lengths)])
        self._key = np.concatenate(self.beyond) + np.repeat(np.arange(groups), lengths) * n
        self.runs = [self._runs_of(g, above[g], bounds) for g in range(groups)]

    def _runs_of(self, child: int, parent: int, bounds: list[int]) -> list[tuple[int, int, int, bool]]:
        mine = self.beyond[child]
        if len(mine) == 0:
            return []
        cut = int(mine.searchsorted(bounds[parent + 1]))
        there = np.concatenate([mine[:cut] - bounds[parent], self.beyond[parent].searchsorted(mine[cut:])])
        breaks = np.flatnonzero(there[1:] - there[:-1] != 1) + 1
        marks = sorted({0, cut, len(mine), *breaks.tolist()})
        return [(a, b, int(there[a]), a >= cut) for a, b in pairwise(marks)]

    def row_beyond(self, group: IntArray, place: IntArray) -> IntArray:
        """Which entry of its group's `beyond` each place is."""
        return np.searchsorted(self._key, group * len(self.order) + place) - self.beyond_starts[group]
