"""How little strain any flat shape without cuts could have: a bound with its proof.

Let D be a closed disc in the patch (a region of faces and parts of faces without
opening), p a point of D, r a length that is not above the straight distance from p
to any point of D's edge, L the length of D's edge. For every flat shape without
flips, with principal stretches between s_min and s_max on D::

    s_max / s_min >= 2 pi r / L

Proof. Let f be the map. It is locally one-to-one on the disc D. Lift the straight
segment that leaves f(p) in any direction: as long as the lift has not met D's edge
it can be continued, and the part lifted so far has a length of at most its flat
length / s_min. A lift that reaches D's edge has a length of at least r (no way on the
surface is shorter than the straight one), so every segment of flat length s_min r
lifts inside D, to one sheet over the plane disc of radius s_min r round f(p). Hence the flat
image of D's edge stays outside that disc, and goes round it at least once
(the degree of f over f(p) is the number of points over it, at least 1). Such a
closed curve is not shorter than 2 pi s_min r; but its length is at most
s_max L. QED. The same for a mesh: f is linear on faces, s_min and s_max are
taken over the faces that D touches.

The stretches over D are some of the patch's, so each disc bounds the whole patch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from unwrap.flatten.check import check_patch
from unwrap.flatten.edges import boundary_loops
from unwrap.flatten.flat_piece import FloatArray, IntArray


def distortion_bound(vertices: ArrayLike, faces: ArrayLike) -> float:
    """Proven lower bound on largest over smallest stretch of any flat shape without cuts.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        mm.
    faces : (m, 3) array_like of int

    Returns
    -------
    float
        >= 1.

    Raises
    ------
    ValueError
        If the patch cannot be flattened; names the face or the edge.
    """
    v, f = check_patch(vertices, faces)
    used = np.unique(f)
    new = np.full(len(v), -1)
    new[used] = np.arange(len(used))
    return bound_of(v[used], new[f])


def bound_of(vertices: FloatArray, faces: IntArray) -> float:
    """`distortion_bound` of arrays that have been checked: the whole patch as the disc."""
    loops = boundary_loops(faces)
    if len(loops) > 1:
        return 1.0
    ring = vertices[loops[0]]
    following = np.roll(ring, -1, axis=0)
    length = float(np.linalg.norm(following - ring, axis=1).sum())
    rng = np.random.default_rng(0)
    inside = vertices if len(vertices) <= 500 else vertices[rng.choice(len(vertices), 500, replace=False)]
    best = 0.0
    for p in inside:
        best = max(best, float(_distance(p, ring, following)))
    return max(1.0, 2.0 * np.pi * best / length * (1.0 - 1e-12))


def _distance(p: FloatArray, start: FloatArray, end: FloatArray) -> float:
    along = end - start
    t = np.clip(np.einsum("ij,ij->i", p - start, along) / np.einsum("ij,ij->i", along, along), 0.0, 1.0)
    return float(np.linalg.norm(start + t[:, None] * along - p, axis=1).min())
