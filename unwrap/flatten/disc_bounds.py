"""How little strain any flat shape without cuts could have: what discs of the patch prove.

Let f be a flat shape without flips, s_min and s_max its least and largest principal
stretch, t = s_max / s_min, and p a point of the patch.

**Round** (domes). Let D be a disc in the patch: a closed region without opening round p.
Let every way in D from p to D's edge be at least r long, and D's edge be L long. Then

    t >= 2 pi r / L.

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
that of a hole, then for the same reason t >= 2 pi r' / l, r' being the least length from
that opening to D's edge; the least of all these bounds is the one that is proved.

**Long** (domes longer than wide). Let a and b be points of D, which has no opening, r and q the least
lengths of ways from them to D's edge, and d the least of their distance in D and of r + q. If the flat
shape does not lie over itself,

    t >= (girth of two round discs of radii r and q, d apart) / L,

the girth being that of the smallest convex region that holds both. Proof. As in Round, f(D) covers the
plane discs of radii s_min r round f(a) and s_min q round f(b). Were the places f(a) and f(b) less than
s_min d apart, the segment between them would lie in the two discs, and laid back it would be a way
from a to b that is shorter than d. The image of D's edge goes round both discs, and so is no shorter
than the girth of the two s_min d apart; farther apart the girth is larger still.

**Saddle** (flares). Let every way from p to the patch's edge or to an opening be at least r long. Let E be
a region, every point of which can be reached from p by a way of length at most R, and let no closed
line round E that stays within the length r from p be shorter than L. Then

    t >= min(r / R, L / (2 pi R)).

Proof. If s_max R > s_min r, then t > r / R. Otherwise the plane disc B of radius s_max R round
f(p) is no larger than that of Round, and the ways lifted from p to its places make a region U
that f carries onto B one to one. U holds E, since a way of length R from p ends, flat, within B.
So U's edge is a closed line round E, within the length s_max R / s_min <= r from p, and at least
L long; its image is the edge of B, 2 pi s_max R long, and at least s_min times as long as it.

All hold for meshes as they stand, f being linear on each face. The regions tried are
those that some flat shape g of the patch (the one of least work, say) carries onto round
discs of radius h round g(p), or onto all that lies within h of a segment, taken as
polygons of many sides; they do not reach the outer outline of g, and their edges meet no hole.
g is one to one on them. Any g gives true bounds; a good one gives strong ones. With the map of
each face known:

* *Ways out of a disc* (r, q): |g - g(p)| grows along a way by at most the face's stretch in the radial
  direction, so r is at least the integral of dh over the largest such stretch of the faces
  that the circle of radius h meets; here with the largest over a ring of circles. Rings that an
  opening reaches into count nothing.
* *L of Round and Long*: each side of the polygon, laid back face by face.
* *R*: the radial segments laid back, each shorter than the integral of the largest radial stretch of the
  inverse.
* *L of Saddle*: the angle round g(p) turns along a step by at most the largest such turn of the
  faces, beyond E, that lie in the same narrow sector; a line round E goes through all sectors.
* *d of Long*: at least the straight distance in space.

A flat shape of a coarse mesh varies from face to face, and the largest of a ring is what counts. So
the faces of a coarse patch are best parted into quarters, which leaves the surface as it is.
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.discs import Discs, Rings

LEVELS = 16  # discs tried round each centre
SIDES = 100  # of the polygon that stands for a circle; even


def disc_bound(discs: Discs, centre: FloatArray, fine: int = 1) -> float:
    """Largest of Round and Saddle over the discs round a place on the sheet; 1 where they say nothing.

    `fine` times as many discs are tried, with polygons of as many more sides.
    """
    sides = fine * SIDES
    room = discs.room(centre) * (1.0 - 1e-9)
    if room <= 1e-6 * discs.spacing:
        return 1.0
    rings = discs.rings(centre, room)
    levels = room * np.linspace(0.0, 1.0, fine * LEVELS + 1)[1:]
    blocked, inside = discs.blocked(centre), _inside(sides)
    levels = levels[[not any(low <= h and inside * h <= high for low, high in blocked) for h in levels]]
    if not len(levels):
        return 1.0
    circle = _circle(sides)
    lengths = _lengths(discs, [centre + h * circle for h in levels])
    out = rings.out_to(inside * levels)
    found = 2.0 * np.pi * out / lengths
    for (_, high), girth in zip(blocked, discs.girths, strict=True):
        beyond = 2.0 * np.pi * (out - rings.out_to(high)) / girth
        found = np.where(high < levels, np.minimum(found, beyond), found)
    best = float(max(1.0, found.max()))
    whole = min([low for low, _ in blocked], default=rings.room)
    flared = levels[(levels < whole) & (found < 1.0)]  # no line round a disc is shorter than its own edge
    return max(best, _saddle(discs, rings, flared, whole)) if len(flared) else best


def long_bound(discs: Discs, one: FloatArray, two: FloatArray, apart: float, fine: int = 1) -> float:
    """Largest of Long over the regions round the segment between two places on the sheet.

    Parameters
    ----------
    discs : Discs
    one, two : (2,) float64
    apart : float
        No way between the two on the surface is shorter.
    fine : int
        As in `disc_bound`.
    """
    sides = fine * SIDES
    room = discs.room(one, two) * (1.0 - 1e-9)
    if room <= 1e-6 * discs.spacing or not discs.whole(one, two, room):
        return 1.0
    levels = room * np.linspace(0.9, 1.0, 2 * fine + 1)
    lengths = _lengths(discs, [_round_both(one, two, h, sides) for h in levels])
    here, there = (discs.rings(c, room).out_to(_inside(sides) * levels) for c in (one, two))
    girths = _girth_of_two(here, there, np.minimum(apart, here + there))
    return float(max(1.0, (girths / lengths).max()))


def _saddle(discs: Discs, rings: Rings, levels: FloatArray, whole: float) -> float:
    reach = discs.reach(rings, levels)
    ways = float(rings.out_to(whole)) / reach
    girth = discs.girth(rings)
    # One of the two grows with the disc and the other falls: the best is where they meet.
    best, low, high = 1.0, 0, int((ways > 1.0).sum())
    while low < high:
        k = (low + high) // 2
        found = girth.beyond(float(levels[k])) / (2.0 * np.pi * float(reach[k]))
        best = max(best, min(float(ways[k]), found))
        low, high = (k + 1, high) if found < ways[k] else (low, k)
    return best


def _circle(sides: int) -> FloatArray:
    """(sides + 1, 2) a closed polygon on the circle of radius 1."""
    turn = 2.0 * np.pi / sides * np.arange(sides + 1)
    return np.column_stack([np.cos(turn), np.sin(turn)])


def _inside(sides: int) -> float:
    """Radius of the circle that touches that polygon's sides."""
    return float(np.cos(np.pi / sides))


def _lengths(discs: Discs, lines: list[FloatArray]) -> FloatArray:
    """Lengths on the surface of lines on the sheet, (k, 2) each."""
    start, end = np.concatenate([x[:-1] for x in lines]), np.concatenate([x[1:] for x in lines])
    found = discs.laid_back.length(start, end)
    return np.add.reduceat(found, np.cumsum([0, *[len(x) - 1 for x in lines[:-1]]]))


def _round_both(one: FloatArray, two: FloatArray, radius: float, sides: int) -> FloatArray:
    """The closed line at a distance round a segment, as a polygon of many sides."""
    along = (two - one) / np.linalg.norm(two - one)
    half = _circle(sides)[: sides // 2 + 1] @ np.array([[along[1], -along[0]], along])
    return np.concatenate([two + radius * half, one - radius * half, [two + radius * half[0]]])


def _girth_of_two(r: FloatArray, q: FloatArray, apart: FloatArray) -> FloatArray:
    """Length of the closed line drawn tight round two round discs."""
    gap = np.clip((r - q) / np.maximum(apart, 1e-300), -1.0, 1.0)
    lean = np.arcsin(gap)
    return 2.0 * apart * np.sqrt(1.0 - gap**2) + np.pi * (r + q) + 2.0 * lean * (r - q)
