"""Corners of a line set: where they are, what they are called, whether their shapes fit."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.prepared import PreparedGeometry, prep

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.chart import lay_chart
from unwrap.livery.corner import Corner, places_at, unit
from unwrap.livery.corner_shapes import along_side
from unwrap.livery.edges import Edge, outer_and_openings, sides_of_loop
from unwrap.livery.ground import Ground
from unwrap.livery.loops import boundary_loops
from unwrap.livery.round_corners import rounded_corner, roundings

# The lining's own corner is where the region's edge turns inwards by more than this.
SHARP = np.radians(40.0)
# How far along each side (mm) its direction at a corner is taken.
ALONG = 0.4
# Styles that cut a corner off, and how much wider than its size a rounding is before it is a curved edge.
CUT = ("incurved", "canted", "notched")
WIDE = 2.5
# A corner this near to a joint or cut (mm) is where the line runs on, not a corner.
ON_OUTLINE = 2e-3


def find_corners(
    ground: Ground, panels: Sequence[shapely.Geometry], reach: float, lined: Collection[Edge] = ()
) -> list[Corner]:
    """Corners of the panel inside the lining's outer edge, in order along each outline.

    Those that point outwards, and those that point out of an opening that is lined.

    Parameters
    ----------
    ground : Ground
    panels : sequence of Polygon or MultiPolygon
        The square-cornered panel on each piece.
    reach : float
        How far round each corner the chart must reach, mm.
    lined : collection of (int, int)
        The ground's edges that the lines follow.
    """
    loops = outer_and_openings(ground)[1]
    openings = [ground.vertices[loop] for loop in loops if set(sides_of_loop(loop)) & set(lined)]
    corners = []
    for number, (carry, panel) in enumerate(zip(ground.carries, panels, strict=True)):
        edge = prep(_unlined(ground, number, lined).buffer(ON_OUTLINE))
        for part, polygon in enumerate(shapely.get_parts(panel)):
            for hole, ring in enumerate((polygon.exterior, *polygon.interiors)):
                points = np.asarray(ring.simplify(1e-3).coords)[:-1]
                if shapely.is_ccw(ring) != (hole == 0):
                    points = points[::-1]
                if len(points) > 2:
                    round_opening = hole > 0 and _is_round(carry.to_surface(points), openings, ground)
                    where = (number, part, hole)
                    corners += _corners_of_ring(ground, where, points, edge, reach, round_opening)
    return corners


def _unlined(ground: Ground, number: int, lined: Collection[Edge]) -> shapely.Geometry:
    """The part of a piece's edge that no line follows: joints, cuts, edges that were not asked for."""
    carry = ground.carries[number]
    vertex = carry.flat.vertex
    parts = []
    for loop in boundary_loops(carry.flat.faces):
        for a, b in sides_of_loop(loop):
            if vertex[a] >= 0 and vertex[b] >= 0:
                ends = ground.number[vertex[[a, b]] + ground.shift[number]]
                if (int(ends[0]), int(ends[1])) in lined:
                    continue
            parts.append(carry.flat.points[[a, b]])
    return shapely.MultiLineString(parts)


def _is_round(places: FloatArray, openings: Sequence[FloatArray], ground: Ground) -> bool:
    """Whether an outline goes round one of these openings: it is nearer to it than to the outer edge."""
    if not openings:
        return False
    outside = np.concatenate([ground.vertices[loop] for loop in outer_and_openings(ground)[0]])
    inside = np.concatenate(openings)
    nearer = np.asarray(cKDTree(inside).query(places)[0]) < cKDTree(outside).query(places)[0]
    return bool(np.mean(nearer) > 0.5)


def _corners_of_ring(
    ground: Ground,
    where: tuple[int, int, int],
    points: FloatArray,
    edge: PreparedGeometry,
    reach: float,
    opening: bool,
) -> list[Corner]:
    """Corners of one ring with the panel on its left."""
    number = where[0]
    carry = ground.carries[number]
    ahead, behind = np.roll(points, -1, axis=0) - points, np.roll(points, 1, axis=0) - points
    turn = np.arctan2(ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0], (ahead * behind).sum(axis=1))
    turn = -turn if opening else turn
    sharp = [
        i
        for i in np.flatnonzero((turn > 0) & (turn < np.pi - SHARP))
        if not edge.contains(shapely.Point(points[i]))
    ]
    step = np.linalg.norm(ahead, axis=1)
    found: dict[int, tuple[int, Corner]] = {}
    for i in map(int, sharp):
        sides = np.stack([unit(behind[i]), unit(ahead[i])])
        sides *= np.minimum(ALONG, 0.5 * np.linalg.norm([behind[i], ahead[i]], axis=1))[:, None]
        seen = np.vstack([points[i], points[i] + sides])
        face, on_face, place, part = places_at(ground, number, carry, seen)
        chart = lay_chart(ground, face, on_face[0], reach, place[2] - place[0])
        drawn = np.einsum("nw,nwj->nj", on_face, chart[ground.owner == number][carry.flat.face[part]])
        if not np.isfinite(drawn).all():
            continue
        ways = np.stack([unit(drawn[1] - drawn[0]), unit(drawn[2] - drawn[0])])
        interior = float(np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0)))
        found[i] = i, Corner(number, where, points[i], place[0], interior, 0.0, chart, ways, opening)
    # `turn` is the angle inside; a rounding is told by how the outline turns.
    for first, last in roundings(np.where(turn > 0, np.pi, -np.pi) - turn, step):
        if not any(edge.contains(shapely.Point(points[i])) for i in (first, last)):
            corner = rounded_corner(ground, carry, where, points, (first, last), reach, opening)
            if corner is not None:
                found[first] = last, corner
    order = sorted(found)
    out = []
    for i, j in zip(order, [*order[1:], *order[:1]], strict=True):
        last, corner = found[i]
        between = [k % len(points) for k in range(last, j if j > last else j + len(points))]
        side = float(step[between].sum()) + corner.rounded + found[j][1].rounded
        out.append(replace(corner, side=side))
    return out


def corners_that_fit(
    where: str, corners: Sequence[tuple[Corner, str, float]]
) -> tuple[list[tuple[Corner, str, float]], tuple[str, ...]]:
    """The corners that have room for their style.

    One that the region's own edge has rounded by more than its size keeps its rounding and
    is named, unless its edge is no more than a wide curve.

    A jog in the outline, a side with less than half of the length that its corners ask
    for, keeps square corners and is named; a panel that is too small is refused.

    Raises
    ------
    BadInput
        Naming `where`.
    """
    kept = [each for each in corners if not _lost_in_rounding(*each)]
    named = tuple(
        f"{where}: the corner at ({', '.join(f'{v:.1f}' for v in corner.place)}) is rounded by the region's "
        f"own edge; {_a(style)} corner needs a size of {corner.rounded:.2g} mm or more there, and keeps the "
        "rounding."
        for corner, style, size in corners
        if style in CUT and _lost_in_rounding(corner, style, size) and corner.rounded < WIDE * size
    )
    corners = kept
    lacking: set[int] = set()
    for i, (corner, style, size) in enumerate(corners):
        j = _following(corners, i)
        asked = along_side(corner.interior, style, size) + along_side(corners[j][0].interior, *corners[j][1:])
        if corner.side < 0.5 * asked:
            lacking |= {i, j}
    fit = [each for i, each in enumerate(corners) if i not in lacking and each[1] != "square"]
    for i, (corner, style, size) in enumerate(corners):
        j = _following(corners, i)
        asked = sum(
            along_side(c.interior, s, r)
            for k, (c, s, r) in ((i, corners[i]), (j, corners[j]))
            if k not in lacking
        )
        none_left = i in lacking and not fit and style != "square"
        if asked > corner.side + 1e-3 or none_left:
            raise BadInput(
                f"{where}: {_a(style)} corner of {size:.3g} mm does not fit a side {corner.side:.3g} mm "
                "long; use a smaller radius"
            )
    said = tuple(
        f"{where}: the corner at ({', '.join(f'{v:.1f}' for v in corners[i][0].place)}) stands at a jog of "
        f"the outline that is too short for {_a(corners[i][1])} corner and stays square."
        for i in sorted(lacking)
        if corners[i][1] != "square"
    )
    return fit, named + said


def _lost_in_rounding(corner: Corner, style: str, size: float) -> bool:
    """Whether a corner's shape would lie within what the region's own edge has rounded away."""
    return corner.rounded > 0 and (style == "square" or size < corner.rounded * (1.0 - 1e-3))


def _a(style: str) -> str:
    return f"an {style}" if style[0] in "aeiou" else f"a {style}"


def _following(corners: Sequence[tuple[Corner, str, float]], i: int) -> int:
    """The next corner of the same ring."""
    ring = [k for k, each in enumerate(corners) if each[0].ring == corners[i][0].ring]
    return ring[(ring.index(i) + 1) % len(ring)]
