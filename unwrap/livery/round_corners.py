"""Corners of a panel that its region's own edge has rounded: a door's, a window's.

Their corner is where the straight sides beside the rounding would meet.
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.livery.carry import Carry
from unwrap.livery.chart import lay_chart
from unwrap.livery.corner import Corner, places_at, unit
from unwrap.livery.ground import Ground

# A rounding turns by no less and no more than this in all, radians.
LEAST, MOST = np.radians(40.0), np.radians(150.0)
# One turn of it is smaller than this, radians; a sharper one is a corner of its own.
SHARP = np.radians(40.0)
# The sides beside it are straight for this many times its longest facet, and this share of what it
# takes of them.
FACETS, SHARE = 2.5, 0.4


def roundings(turn: FloatArray, step: FloatArray) -> list[tuple[int, int]]:
    """First and last vertex of each rounding between two straight sides of a ring.

    Parameters
    ----------
    turn : (n,) float64
        Turn at each vertex, radians; above 0 where the panel has a corner.
    step : (n,) float64
        Length of the side that follows each vertex, mm.
    """
    n = len(turn)
    bends = (turn > 0) & (turn < SHARP)
    out = []
    for first in np.flatnonzero(bends & ~_rounding_goes_on(bends, step)):
        last, total, longest = int(first), float(turn[first]), 0.0
        while bends[(last + 1) % n] and last - first < n:
            facet = step[last % n]
            if longest and facet > FACETS * longest:
                break
            longest = max(longest, float(facet))
            last += 1
            total += float(turn[last % n])
        if last == first or not LEAST < total < MOST:
            continue
        taken = 0.5 * float(step[np.arange(first, last) % n].sum())
        beside = min(step[(first - 1) % n], step[last % n])
        if beside > FACETS * longest and beside > SHARE * taken:
            out.append((int(first), last % n))
    return out


def _rounding_goes_on(bends: np.ndarray, step: FloatArray) -> np.ndarray:
    """(n,) True where a vertex goes on with the rounding of the one before it."""
    before, after = np.roll(step, 1), step
    return np.roll(bends, 1) & (before <= FACETS * after)


def rounded_corner(
    ground: Ground,
    carry: Carry,
    where: tuple[int, int, int],
    points: FloatArray,
    ends: tuple[int, int],
    reach: float,
    opening: bool,
) -> Corner | None:
    """The corner that stands for a rounding of a ring; None where its chart does not reach.

    Parameters
    ----------
    ground : Ground
    carry : Carry
        The piece that the ring is on.
    where : (int, int, int)
        Piece, part, ring.
    points : (n, 2) float64
        The ring, mm.
    ends : (int, int)
        First and last vertex of the rounding.
    reach : float
        How far round it the chart must reach, mm.
    opening : bool
        Whether the line set goes round an opening here.
    """
    first, last = ends
    n = len(points)
    run = points[np.arange(first, last + 1 if last >= first else last + n + 1) % n]
    ahead, behind = points[(last + 1) % n] - run[-1], points[(first - 1) % n] - run[0]
    beside = [
        end + unit(way) * min(1.0, 0.5 * float(np.linalg.norm(way)))
        for end, way in ((run[0], behind), (run[-1], ahead))
    ]
    seen = np.vstack([run[len(run) // 2], run[0], beside[0], run[-1], beside[1]])
    face, on_face, place, part = places_at(ground, where[0], carry, seen)
    long = reach + float(np.linalg.norm(seen - seen[0], axis=1).max())
    chart = lay_chart(ground, face, on_face[0], 1.5 * long, place[2] - place[1])
    drawn = np.einsum("nw,nwj->nj", on_face, chart[ground.owner == where[0]][carry.flat.face[part]])
    if not np.isfinite(drawn).all():
        return None
    (one, one_on), (two, two_on) = drawn[1:3], drawn[3:5]
    ways = np.stack([unit(one_on - one), unit(two_on - two)])
    # Where the sides meet: one - s w1 = two - t w2.
    across = ways[0, 0] * ways[1, 1] - ways[0, 1] * ways[1, 0]
    if abs(across) < 1e-6:
        return None
    gap = one - two
    s = (gap[0] * ways[1, 1] - gap[1] * ways[1, 0]) / across
    t = (gap[0] * ways[0, 1] - gap[1] * ways[0, 0]) / across
    corner = one - s * ways[0]
    if min(s, t) <= 0:
        return None
    interior = float(np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0)))
    return Corner(
        where[0], where, run[len(run) // 2], place[0], interior, 0.0, chart - corner, ways, opening, max(s, t)
    )
