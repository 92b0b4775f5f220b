"""How little strain any flat shape without cuts could have: two bounds with their proofs.

Let f be a flat shape without flips, s_min and s_max its least and largest principal
stretch, p a point of the patch.

**Round** (domes). Let D be a disc in the patch: a closed region without opening round p.
Let every way in D from p to D's edge be at least r long, and D's edge be L long. Then

    s_max / s_min >= 2 pi r / L.

Proof. Lift the straight segment that leaves f(p) in some direction to a way in D from p, as
far as it goes. It can be continued until it meets D's edge, and what has been lifted is at
most its flat length / s_min long, so it does not meet the edge before the flat length
s_min r. So every place of the plane disc of radius s_min r round f(p) is covered from inside
D: the image of D's edge stays outside that disc and winds round its middle as many
times as f covers it, at least once. Such a curve is at least 2 pi s_min r long, and it is
at most s_max L long.

**Round, with openings in D.** If the flat shape does not lie over itself, the same holds with r
the least length that any way from p to D's edge has inside D when crossing an opening counts
nothing, D's edge being the outer one; p may lie in an opening. Proof. Each opening becomes a hole
of the flat shape. The straight segment from f(p) (or a place in the hole) to the image of D's edge
runs through f(D) and through holes; its parts in f(D) laid back, with jumps over the openings
between, are such a way. So the image of the edge stays s_min r away, and winds round once.
That takes D's edge to be the outer edge of f(D). Were it an opening's edge, of length l, and D's edge
that of a hole, then for the same reason s_max / s_min >= 2 pi r' / l, r' being the least length from
that opening to D's edge; the least of all these bounds is the one that is proved.

**Saddle** (flares). Let E be a region, every point of which can be reached from p by a way
of length at most r, and A its area. If the flat shape does not lie over itself, then

    s_max / s_min >= sqrt(A / (pi r^2)).

Proof. f carries E into the plane disc of radius s_max r round f(p), one to one, so that
s_min^2 A <= area of f(E) <= pi s_max^2 r^2.

Both hold for meshes as they stand, f being linear on each face. The regions tried are
those that some flat shape g of the patch (the one of least work, say) carries onto round
discs B of radius t round g(p) (less the holes in it) that do not reach the outer outline of g and whose
circle meets no hole: g is one to one from the region onto B. Any g gives true bounds; a good one
gives strong ones. With the map of each face known, the numbers are had to rounding:

* *r of Round*: |g - g(p)| grows along a way by at most the face's stretch in the radial
  direction, so r is at least the integral of dt over the largest such stretch of the faces
  that the circle of radius t meets; here with the largest over a ring of circles. Rings that an
  opening reaches into count nothing.
* *L*: the circle's arc in each face, laid back on the surface. Between two crossings of edges the
  root mean square of the speed (closed form) is at least its mean, so L is never too small.
* *r of Saddle* (discs without openings): the radial segments laid back, each shorter than the
  integral of the largest radial stretch of the inverse.
* *A*: the faces' shares in B, cut by the circle; to rounding.

A flat shape of a coarse mesh varies from face to face, and the largest of a ring is what counts. So
the faces of a coarse patch are first parted into quarters, which leaves the surface as it is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.check import check_patch
from unwrap.flatten.discs import Discs
from unwrap.flatten.energy import stretches
from unwrap.flatten.metric import metric_of
from unwrap.flatten.quarter import quartered
from unwrap.flatten.relax import relax

SAFE = 1.0 - 1e-9  # rounding must never lift a bound above what it proves
NOTHING = 1e-6
CENTRES = 48
FINALISTS = 4
ENOUGH_FACES = 5000  # the faces of a patch with fewer are parted in quarters
MOST_FACES = 100_000  # faces looked at in all while a centre is moved


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
        >= 1. It holds for every flat shape that has no flipped face and does not lie over
        itself; proofs stand at the top of this module.

    Raises
    ------
    ValueError
        If the patch cannot be flattened; names the face or the edge.
    """
    v, f = check_patch(vertices, faces)
    used = np.unique(f)
    new = np.full(len(v), -1)
    new[used] = np.arange(len(used))
    surface, triangles = v[used], new[f]
    if len(triangles) < ENOUGH_FACES:
        surface, triangles = quartered(surface, triangles)
    rest = relax(surface, triangles, Film(0.001, 0.001))
    return bound_of(surface, triangles, rest.least, rest.points)


def bound_of(vertices: FloatArray, faces: IntArray, *shapes: FloatArray) -> float:
    """`distortion_bound` of arrays that have been checked, found with the flat shapes at hand.

    Parameters
    ----------
    vertices : (n, 3) float64
        Every vertex is used.
    faces : (m, 3) int64
    shapes : (n, 2) float64 each
        Flat shapes of the patch to find the regions with; the one of least work if none is given.
    """
    if not shapes:
        shapes = (relax(vertices, faces, Film(0.5, 0.5), thorough=False).points,)
    metric = metric_of(vertices, faces)
    found: list[tuple[float, FloatArray, Discs]] = []
    for points in shapes:
        s1, s2 = stretches(metric, points)
        if s1.max() <= s2.min() * (1.0 + NOTHING):
            return 1.0  # no bound is above what this flat shape attains
        discs = Discs(vertices, faces, points)
        if discs.overlap:
            continue
        centres = discs.centres(CENTRES)
        guesses = np.array([discs.guess(p) for p in centres])
        likely = centres[np.argsort(-guesses)[:FINALISTS]]
        found += [(discs.bound(p), p, discs) for p in np.concatenate([centres[-2:], likely])]
    if not found:
        return 1.0
    value, centre, discs = max(found, key=lambda entry: entry[0])
    # What can be afforded falls with the number of faces; a bound is true wherever the search ends.
    tries = int(np.clip(MOST_FACES / len(faces), 2, 16))
    return max(1.0, _climb(discs, centre, value, tries) * SAFE)


def _climb(discs: Discs, centre: FloatArray, value: float, tries: int) -> float:
    """Move a centre while its bound grows; the bound at the end."""
    step = 0.5 * discs.spacing
    while tries > 0 and step > 0.01 * discs.spacing:
        for way in np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]):
            tries -= 1
            there = discs.bound(centre + step * way)
            if there > value:
                centre, value = centre + step * way, there
                break
        else:
            step *= 0.5
    return value
