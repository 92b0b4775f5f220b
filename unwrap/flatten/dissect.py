"""In which order to eliminate the vertices: nested dissection of the patch in space.

A patch is cut in two by a plane across its longest direction, the vertices along the cut
come last, and both halves are cut again. The thin cuts of a surface keep the work
of a direct solver near n^1.5 and its memory near n log n [1]_.

References
----------
.. [1] A. George, "Nested dissection of a regular finite element mesh", SIAM J. Numer.
   Anal. 10, 1973 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray, IntArray

LEAF = 64  # vertices; parts no larger than this are eliminated at once


@dataclass(frozen=True, eq=False)
class Dissection:
    """A tree of vertex groups; children are eliminated before their parent.

    Parameters
    ----------
    order : (n,) int64
        Vertices in the order of elimination; each group is a run of it.
    starts : (g + 1,) int64
        Where each group's run starts.
    parent : (g,) int64
        The group that a group's remainder is handed to; -1 at a root. parent > child.
    """

    order: IntArray
    starts: IntArray
    parent: IntArray


def dissect(vertices: FloatArray, edges: IntArray) -> Dissection:
    """Order of elimination of a patch's vertices.

    Parameters
    ----------
    vertices : (n, d) float64
        Places; only how they lie to each other matters.
    edges : (e, 2) int64
        Pairs of neighbours, each pair once.
    """
    n = len(vertices)
    part = np.ones(n, dtype=np.int64)
    node = np.zeros(n, dtype=np.int64)
    active = np.arange(n)
    links = edges
    while True:
        count = np.bincount(part[active])
        small = count[part[active]] <= LEAF
        node[active[small]] = part[active[small]]
        active = active[~small]
        if len(active) == 0:
            break
        side = _halves(vertices[active], part[active])
        half = np.full(n, -1, dtype=np.int8)
        half[active] = side
        links = links[
            (half[links[:, 0]] >= 0) & (half[links[:, 1]] >= 0) & (part[links[:, 0]] == part[links[:, 1]])
        ]
        across = half[links[:, 0]] != half[links[:, 1]]
        one, two = links[across].T
        lower = np.where(half[one] == 0, one, two)
        upper = np.where(half[one] == 0, two, one)
        most = int(part[active].max()) + 1
        # Each side's rim parts the other from it; the smaller one is taken.
        rims = [np.unique(lower), np.unique(upper)]
        size = [np.bincount(part[rim], minlength=most) for rim in rims]
        take_lower = size[0] <= size[1]
        chosen = np.concatenate([rims[0][take_lower[part[rims[0]]]], rims[1][~take_lower[part[rims[1]]]]])
        node[chosen] = part[chosen]
        half[chosen] = -1
        part[active] = 2 * part[active] + side
        active = active[half[active] >= 0]
    return _tree(vertices, node)


def _halves(places: FloatArray, part: IntArray) -> IntArray:
    """0 or 1 per vertex: each part cut at its median across its longest direction."""
    label, inverse, count = np.unique(part, return_inverse=True, return_counts=True)
    order = np.lexsort((_along(places, inverse, len(label)), inverse))
    starts = np.concatenate([[0], np.cumsum(count)])
    rank = np.empty(len(part), dtype=np.int64)
    rank[order] = np.arange(len(part)) - np.repeat(starts[:-1], count)
    return (rank >= (count // 2)[inverse]).astype(np.int8)


def _along(places: FloatArray, group: IntArray, k: int) -> FloatArray:
    """How far each vertex lies along its group's longest direction."""
    count = np.bincount(group, minlength=k)
    d = places.shape[1]
    middle = np.column_stack([np.bincount(group, places[:, i], minlength=k) for i in range(d)])
    offset = places - (middle / count[:, None])[group]
    spread = np.empty((k, d, d))
    for i in range(d):
        for j in range(i, d):
            spread[:, i, j] = spread[:, j, i] = np.bincount(group, offset[:, i] * offset[:, j], minlength=k)
    longest = np.linalg.eigh(spread)[1][:, :, -1]
    return np.einsum("ij,ij->i", offset, longest[group])


def _tree(vertices: FloatArray, node: IntArray) -> Dissection:
    label, inverse = np.unique(node, return_inverse=True)
    known = {int(name): i for i, name in enumerate(label)}
    above = []
    for name in label.tolist():
        name >>= 1
        while name and name not in known:
            name >>= 1
        above.append(known.get(name, -1))
    # Children stand before their parent, and a whole subtree together: what a group
    # hands up is used while it is still at hand.
    children: list[list[int]] = [[] for _ in label]
    roots: list[int] = []
    for i, up in enumerate(above):
        (children[up] if up >= 0 else roots).append(i)
    after: list[int] = []
    stack = roots
    while stack:
        at = stack.pop()
        after.append(at)
        stack.extend(children[at])
    after.reverse()
    place = np.empty(len(label), dtype=np.int64)
    place[after] = np.arange(len(label))
    parent = np.full(len(label), -1, dtype=np.int64)
    over = np.array(above)
    parent[place] = np.where(over >= 0, place[over], -1)
    # Along a cut the vertices follow each other, so that what a part touches is a run.
    group = place[inverse]
    order = np.lexsort((_along(vertices, group, len(label)), group))
    starts = np.concatenate([[0], np.cumsum(np.bincount(group, minlength=len(label)))])
    return Dissection(order, starts, parent)
