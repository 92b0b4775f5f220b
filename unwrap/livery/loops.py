"""Edge loops of a patch or a flat piece, parted where they touch."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import IntArray


def boundary_loops(faces: IntArray) -> list[IntArray]:
    """Walk the free edges of an oriented mesh.

    Parameters
    ----------
    faces : (m, 3) int64
        Consistently oriented triangles.

    Returns
    -------
    list of (n,) int64 arrays
        Vertex loops, each with the mesh on its left and without the first vertex
        repeated; in order of their lowest vertex, starting there.

    Notes
    -----
    Where a loop meets a vertex again it is parted there, so that every loop is simple:
    two openings that touch in a corner are two loops.
    """
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    count = int(faces.max()) + 1
    free = ~np.isin(start * count + end, end * count + start, kind="sort")
    leaving: dict[int, list[int]] = {}
    for a, b in sorted(zip(start[free].tolist(), end[free].tolist(), strict=True), reverse=True):
        leaving.setdefault(a, []).append(b)

    loops = []
    for first in sorted(leaving):
        while leaving[first]:
            path, place = [first], {first: 0}
            while path and leaving.get(path[-1]):
                following = leaving[path[-1]].pop()
                if following not in place:
                    place[following] = len(path)
                    path.append(following)
                    continue
                loop = path[place[following] :]
                loops.append(np.array(loop, dtype=np.int64))
                del path[place[following] + 1 :]
                place = {vertex: k for k, vertex in enumerate(path)}
                if len(path) == 1:
                    break
    return loops
