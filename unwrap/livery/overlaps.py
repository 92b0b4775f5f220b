"""Which piece lies on top where two meet, and in which order they go on.

What lies below is left a little full along the joint and its colour runs on under the
other, so that a slip of a few tenths of a millimetre shows no bare model.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import combinations

import numpy as np
import shapely

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.carry import Carry, nearest_on
from unwrap.livery.meetings import find_meetings

# Pieces that share more ground than this (mm^2) lie over one another.
LEAST_SHARED = 2.0
# Places closer than this (mm) are the same ground.
SAME_GROUND = 0.05
# A piece whose normals nearly cancel goes all round.
ALL_ROUND = 0.35
# Places on a piece at which it is asked whether it shares ground.
PLACES = 400


class Turn(IntEnum):
    """The order of the bench (common practice, no source)."""

    UNDERSIDE = 0
    ALL_ROUND = 1
    SIDE = 2
    OTHER_SIDE = 3
    END = 4
    TOP = 5
    SOFTENED = 6


@dataclass(frozen=True, eq=False)
class Overlap:
    """Two pieces, or two edges of one, that meet or share ground.

    Parameters
    ----------
    under, over : str
        The piece that goes on first and the one that lies on it; the same name twice
        where a piece meets itself.
    kind : str
        "joint", or "ground" where the one lies on the other.
    length_mm : float
        Of the joint; 0 for ground.
    area_mm2 : float
        Of the ground that both cover; 0 for a joint.
    edges : (k, 2) int64
        Edges of the flat piece below that are left full, its ground on their left.
    """

    under: str
    over: str
    kind: str
    length_mm: float
    area_mm2: float
    edges: IntArray


@dataclass(frozen=True, eq=False)
class Plan:
    """The pieces in the order in which they go on, and how they lie over one another."""

    order: tuple[str, ...]
    overlaps: tuple[Overlap, ...]

    def edges_under(self, name: str) -> IntArray:
        """(k, 2) edges of a flat piece that another edge lies over."""
        mine = [lap.edges for lap in self.overlaps if lap.under == name]
        return np.concatenate(mine) if mine else np.zeros((0, 2), dtype=np.int64)


def plan_overlaps(carries: Sequence[Carry], given: Iterable[tuple[str, str]] = ()) -> Plan:
    """Decide what goes on first, and so what lies on top at every joint.

    Parameters
    ----------
    carries : sequence of Carry
        All pieces of a body, named differently.
    given : iterable of (under, over)
        What is settled already.

    Returns
    -------
    Plan
        A piece that lies on another's ground comes after it. Apart from that: the
        underside, what goes all round, the sides, the ends, the top, and last what asks
        most of the film; of two alike the larger first, so that the smaller can still be shifted.
    """
    shared = _shared_ground(carries)
    before = {(lap.under, lap.over) for lap in shared} | set(given)
    rank = {carry.name: (turn_of(carry), -carry.outline.area) for carry in carries}
    waiting = sorted(rank, key=lambda name: rank[name])
    order: list[str] = []
    while waiting:
        free = (name for name in waiting if not any((other, name) in before for other in waiting))
        following = next(free, waiting[0])
        waiting.remove(following)
        order.append(following)
    place = {name: k for k, name in enumerate(order)}
    joints = []
    for meeting in find_meetings(carries):
        if meeting.kind == "joint":
            one, two = meeting.between
            side = 1 if place[two] < place[one] else 0
            names = meeting.between[side], meeting.between[1 - side]
            joints.append(Overlap(*names, "joint", meeting.length, 0.0, meeting.edges(side)))
    return Plan(tuple(order), (*shared, *joints))


def turn_of(carry: Carry) -> Turn:
    """When a piece's turn comes, for what it is by itself."""
    if carry.flat.cuts or not carry.flat.within:
        return Turn.SOFTENED
    normal = _mean_normal(carry)
    if normal[2] < -0.6:
        return Turn.UNDERSIDE
    if np.linalg.norm(normal) < ALL_ROUND:
        return Turn.ALL_ROUND
    axis = int(np.argmax(np.abs(normal)))
    if axis == 1:
        return Turn.SIDE if normal[1] > 0 else Turn.OTHER_SIDE
    return Turn.END if axis == 0 else Turn.TOP


def _mean_normal(carry: Carry) -> FloatArray:
    """(3,) area-weighted mean of the unit normals."""
    a, b, c = np.moveaxis(carry.patch.vertices[carry.patch.faces], 1, 0)
    weighted = np.cross(b - a, c - a)
    return weighted.sum(axis=0) / np.linalg.norm(weighted, axis=1).sum()


def _shared_ground(carries: Sequence[Carry]) -> list[Overlap]:
    """Pieces that cover the same ground: the smaller lies on the larger."""
    out = []
    for pair in combinations(carries, 2):
        over, under = sorted(pair, key=lambda carry: carry.outline.area)
        if not _boxes_meet(over, under):
            continue
        places = _places(over)
        ground = under.flat.surface
        could = np.all(
            (places > ground.min(axis=0) - SAME_GROUND) & (places < ground.max(axis=0) + SAME_GROUND), axis=1
        )
        face, shares, off = nearest_on(under.on_surface, places[could])
        on_sheet = np.einsum("ij,ijk->ik", shares, under.flat.points[under.flat.faces[face]])
        # Beside an edge that both have, a place is near the other piece and yet not on it.
        inside = shapely.distance(under.outline.boundary, shapely.points(on_sheet)) > SAME_GROUND
        area = float(np.count_nonzero(inside & (off < SAME_GROUND)) / len(places) * over.flat.areas.sum())
        if area > LEAST_SHARED:
            nothing = np.zeros((0, 2), dtype=np.int64)
            out.append(Overlap(under.name, over.name, "ground", 0.0, area, nothing))
    return out


def _boxes_meet(first: Carry, second: Carry) -> bool:
    a, b = first.flat.surface, second.flat.surface
    return bool(
        np.all(a.min(axis=0) <= b.max(axis=0) + SAME_GROUND)
        and np.all(b.min(axis=0) <= a.max(axis=0) + SAME_GROUND)
    )


def _places(carry: Carry) -> FloatArray:
    """Places spread evenly over a piece's surface, the same ones every time.

    Along the faces, area by area, a place every so often; within a face by the golden
    ratio's multiples (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018).
    """
    areas = carry.flat.areas
    at = (np.arange(PLACES) + 0.5) / PLACES * areas.sum()
    face = np.minimum(np.searchsorted(np.cumsum(areas), at), len(areas) - 1)
    u, v = np.modf(np.outer(np.arange(PLACES) + 1, [0.7548776662466927, 0.5698402909980532]))[0].T
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    a, b, c = np.moveaxis(carry.on_surface[face], 1, 0)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a)
