"""A dairy's road tanker, 7 mm to the foot (1:43.5), about 155 mm long.

An elliptical barrel with dished ends on a frame, and a cab with rounded corners. The file is
in inches with +y up and +z to the front, in groups, with quadrilaterals where two triangles
make a flat one. Coordinates here are mm in the body's frame, the road at z = 0.
"""

from __future__ import annotations

import numpy as np
from manifold3d import Manifold
from shapes import (
    along_x,
    along_y,
    along_z,
    arc,
    both_sides,
    box,
    lofted,
    rectangle,
    rounded,
    rounded_block,
    seated,
    turned,
    turned_along_x,
    union,
)

AXIS = 46.0  # the barrel's middle
WIDE, HIGH = 25.0, 19.0  # the barrel's half axes
BARREL_X = (-72.0, 36.0)  # between the ends' rims
BULGE = 7.0
HOOPS = (-70.6, -36.0, 0.0, 34.6)
CAB_X, CAB_TOP, CAB_Y, CAB_FLOOR = (42.5, 77.0), 66.0, 25.0, 15.0
FRONT_AXLE, REAR_AXLE, HUB = 59.0, -44.0, 11.0
FRAME = (19.0, 24.5)  # heights of the frame's channels
MANHOLES = (-52.0, 16.0)

PLACES = {
    "barrel, left flank": (-18.0, WIDE, AXIS),
    "barrel, crown": (-18.0, 0.0, AXIS + HIGH),
    "rear end, middle": (BARREL_X[0] - BULGE, 0.0, AXIS),
    "front end, middle": (BARREL_X[1] + BULGE, 0.0, AXIS),
    "left cab door, below the window": (52.0, CAB_Y, 37.0),
    "cab roof, middle": (58.0, 0.0, CAB_TOP),
    "raised hoops at x": HOOPS,
}


def build() -> dict[str, Manifold]:
    """The parts by the names of their groups in the file."""
    return {"barrel": _barrel(), "frame": _frame() - _shell(0.6), "cab": _cab()}


def _ellipse(x: float, scale: float, shrink: float = 0.0, around: int = 128) -> np.ndarray:
    angle = np.arange(around) * 2 * np.pi / around
    y, z = (WIDE - shrink) * scale * np.cos(angle), (HIGH - shrink) * scale * np.sin(angle)
    return np.column_stack([np.full(around, x), y, AXIS + z])


def _shell(shrink: float) -> Manifold:
    """The barrel with its dished ends: a tight knuckle, then a gentle crown."""
    share = np.linspace(0.0, 1.0, 19)[:-1]
    knuckle = [(1.0 - 0.14 * (1 - np.cos(a)), 2.6 * np.sin(a)) for a in np.radians(np.arange(0, 61, 7.5))]
    start_scale, start_out = knuckle[-1]
    slope = BULGE - shrink - start_out
    crown = [(start_scale * (1 - s), start_out + slope * (1 - (1 - s) ** 2)) for s in share[1:]]
    end = knuckle + crown
    front = [_ellipse(BARREL_X[1] - shrink + out, scale, shrink) for scale, out in end]
    rear = [_ellipse(BARREL_X[0] + shrink - out, scale, shrink) for scale, out in reversed(end)]
    return lofted(np.array(rear + front))


def _barrel() -> Manifold:
    hoops = [lofted(np.array([_ellipse(x - 0.7, 1.0, -0.35), _ellipse(x + 0.7, 1.0, -0.35)])) for x in HOOPS]
    top = AXIS + HIGH
    lid = [(0, -2.0), (6.0, -2.0), (6.0, 1.6), (6.6, 1.6), (6.6, 2.4), (6.2, 2.8), (0.0, 3.6)]
    radius = WIDE**2 / HIGH  # of the ellipse's crown
    lids = [seated(turned(lid, x, 0.0, top), top, top - radius, radius, 2.0) for x in MANHOLES]
    plank = box((MANHOLES[0] + 9, MANHOLES[1] - 9), (-4.5, 4.5), (top + 1.0, top + 1.8))
    feet = [box((x - 0.6, x + 0.6), (-3.5, 3.5), (top - 1.0, top + 1.4)) for x in (-40.0, -18.0, 4.0)]
    return union([_shell(0.0), *hoops, *lids, plank, *feet]) - _shell(1.2) - _drains()


def _drains() -> Manifold:
    """Two holes underneath, through which the resin drains."""
    bit = Manifold.cylinder(8.0, 2.0, 2.0, 24).translate((0.0, 0.0, AXIS - HIGH - 4.0))
    return union([bit.translate((x, 0.0, 0.0)) for x in (-54.0, 18.0)])


def _frame() -> Manifold:
    channel = rounded([(7.6, FRAME[0], 0), (10.4, FRAME[0], 0), (10.4, FRAME[1], 0), (7.6, FRAME[1], 0)])
    rails = both_sides(along_x(channel, (-76.0, 72.0)))
    members = [box((x - 1.2, x + 1.2), (-9.0, 9.0), FRAME) for x in (-74.8, -30.0, 30.0, 68.0)]
    cradle = [(-15.0, FRAME[1] - 1.0), (15.0, FRAME[1] - 1.0), (19.0, AXIS - 10.0), (-19.0, AXIS - 10.0)]
    cradles = [along_x(cradle, (x - 1.5, x + 1.5)) for x in (-60.0, -26.0, 22.0)]
    return union([rails, *members, *cradles, both_sides(_guard()), both_sides(_locker()), _valve_box()])


def _guard() -> Manifold:
    """A rear mudguard, left side."""
    half_ring = arc((REAR_AXLE, HUB), 15.0, -5, 185, 36) + arc((REAR_AXLE, HUB), 13.9, 185, -5, 36)
    guard = along_y(half_ring, (14.0, 25.0))
    cheek = along_y([*arc((REAR_AXLE, HUB), 15.0, 20, 160, 28)], (14.0, 15.0))
    stay = box((REAR_AXLE - 1.5, REAR_AXLE + 1.5), (9.0, 15.5), (20.5, 23.5))
    return union([guard, cheek, stay])


def _locker() -> Manifold:
    """The hose locker between the axles, left side, with a recessed lid."""
    block = along_y(
        rounded([(-14.0, 12.0, 1.5), (18.0, 12.0, 1.5), (18.0, 24.0, 1.5), (-14.0, 24.0, 1.5)]), (9.0, 24.0)
    )
    inside = box((-12.8, 16.8), (10.4, 22.8), (11.0, 22.8))
    lid = along_y(
        rounded([(-11.0, 14.2, 1.0), (15.0, 14.2, 1.0), (15.0, 21.8, 1.0), (-11.0, 21.8, 1.0)]), (23.6, 26.0)
    )
    return block - inside - lid


def _valve_box() -> Manifold:
    outline = rectangle((-17.0, 17.0), (13.0, 25.5), 1.5)
    block = along_x(outline, (-79.0, -66.0))
    inside = box((-77.8, -67.2), (-15.8, 15.8), (12.0, 24.3))
    lamp = Manifold.cylinder(1.2, 1.6, 1.4, 24).rotate((0, -90, 0)).translate((-78.8, 13.0, 17.0))
    return union([block - inside, both_sides(lamp)])


def _cab_block(shrink: float) -> Manifold:
    """A rounded block with a raked front; the lower part runs down straight."""
    front, top, side = CAB_X[1] - shrink, CAB_TOP - shrink, CAB_Y - shrink
    rear = CAB_X[0] + shrink
    big, small = 9.0 - shrink, 3.0 - 0.6 * shrink
    corners = []
    for sign in (1, -1):
        corners += [(front - 5.0 - big, sign * (side - big), top - big, big)]
        corners += [
            (front - big, sign * (side - big), 36.0, big),
            (front - big, sign * (side - big), 0.0, big),
        ]
        corners += [(rear + small, sign * (side - small), top - 6.0 - small, small)]
        corners += [(rear + 6.0, sign * (side - 9.0), top - 6.0, 6.0 - 0.6 * shrink)]
        corners += [(rear + small, sign * (side - small), 0.0, small)]
    return rounded_block(corners) ^ box((0, 100), (-30, 30), (CAB_FLOOR, 80))


def _cab() -> Manifold:
    floor = box((CAB_X[0] + 2, 72.0), (-22.0, 22.0), (FRAME[1] - 0.5, FRAME[1] + 1.0))
    shell = union([_cab_block(0.0) - _cab_block(1.2).translate((0, 0, -0.02)), floor ^ _cab_block(0.5)])
    arch = along_y(arc((FRONT_AXLE, HUB), 13.5, 0, 360, 64)[:-1], (-30.0, 30.0))
    lip = along_y(arc((FRONT_AXLE, HUB), 14.6, 0, 360, 64)[:-1], (-30.0, 30.0)) - arch
    lip = lip ^ (_cab_block(-0.5) - _cab_block(0.6)) ^ box((0, 100), (-30, 30), (CAB_FLOOR, 80))
    front = union([both_sides(_headlamp()), _grille()])
    return union([shell - arch, lip, front]) - _cab_windows() - both_sides(_door_gap())


def _cab_windows() -> Manifold:
    screen = along_x(
        rounded([(1.0, 43.5, 1.5), (19.0, 43.5, 3.0), (17.0, 58.0, 3.0), (1.0, 58.0, 1.5)]), (64.0, 80.0)
    )
    door = along_y(
        rounded([(48.0, 43.5, 1.5), (61.5, 43.5, 1.5), (60.0, 57.0, 2.5), (48.0, 57.0, 2.5)]), (-30.0, 30.0)
    )
    back = along_x(
        rounded([(3.0, 47.0, 2.0), (14.0, 47.0, 2.0), (14.0, 56.0, 2.0), (3.0, 56.0, 2.0)]), (40.0, 47.0)
    )
    return union([both_sides(screen), door, both_sides(back)])


def _door_gap() -> Manifold:
    """The line round the left door, and the hole for its handle."""
    outer = [(46.2, 27.0, 1.5), (63.0, 27.0, 3.0), (63.4, 45.0, 0), (61.6, 58.8, 3.0), (46.2, 58.8, 3.0)]
    line = along_y(rounded(outer, 10), (CAB_Y - 0.3, CAB_Y + 1.0))
    inner = [(46.5, 27.3, 1.2), (62.7, 27.3, 2.7), (63.1, 45.0, 0), (61.3, 58.5, 2.7), (46.5, 58.5, 2.7)]
    handle = Manifold.cylinder(6.0, 0.5, 0.5, 16).rotate((90, 0, 0)).translate((48.5, CAB_Y + 3.0, 40.0))
    return (line - along_y(rounded(inner, 10), (0.0, 30.0))) + handle


def _headlamp() -> Manifold:
    profile = [(0.0, -4.0), (2.6, -4.0), (2.6, 0.6), (2.3, 1.0), (0.0, 1.3)]
    return turned_along_x(profile, 76.0, 27.0, 40).translate((0.0, 17.5, 0.0))


def _grille() -> Manifold:
    frame = rounded([(-9.5, 21.0, 2.0), (9.5, 21.0, 2.0), (8.0, 39.5, 5.0), (-8.0, 39.5, 5.0)])
    hole = rounded([(-8.3, 22.2, 1.2), (8.3, 22.2, 1.2), (6.9, 38.3, 4.0), (-6.9, 38.3, 4.0)])
    surround = along_x(frame, (75.0, 77.9)) - along_x(hole, (70.0, 80.0))
    bars = [box((75.0, 77.6), (-8.4, 8.4), (z, z + 0.7)) for z in np.arange(23.8, 37.5, 1.75)]
    bars = union(bars) ^ along_x(frame, (70.0, 80.0))
    badge = Manifold.cylinder(2.6, 1.6, 1.6, 32).rotate((0, 90, 0)).translate((75.0, 0.0, 41.6))
    bumper = along_z(
        rounded([(74.0, -24.0, 0), (79.5, -22.0, 3.0), (79.5, 22.0, 3.0), (74.0, 24.0, 0)]), (16.0, 19.0)
    )
    return union([surround, bars, badge, bumper])
