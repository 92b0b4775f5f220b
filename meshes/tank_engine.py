"""A small tank engine of a quarry tramway, 4 mm to the foot (1:76.2), about 110 mm long.

A body as a printer would get it: 1 mm sheets with an inside, open underneath for the
chassis. Footplate level at z = 15; the rails would lie at z = 0.
"""

from __future__ import annotations

import numpy as np
from manifold3d import Manifold
from shapes import (
    along_outline,
    along_x,
    along_y,
    along_z,
    arc,
    barrel,
    both_sides,
    box,
    drilled,
    rounded,
    seated,
    studs,
    turned,
    turned_along_x,
    union,
)

DECK = 15.0  # top of the footplate
AXIS = 29.0  # boiler's middle
BOILER, SMOKEBOX = 9.0, 9.8  # radii
TANK_Y, CAB_Y = 15.0, 14.4  # half widths
TANK_TOP = 31.5
TANK_FRONT, CAB_FRONT, CAB_BACK, REAR = 11.0, -16.0, -36.0, -51.0
SMOKEBOX_X = (33.0, 48.5)
BANDS = (3.5, 18.0, 30.5)
DOME_X, CHIMNEY_X = 10.75, 41.0
ROOF_RADIUS, ROOF_CROWN, ROOF_Y, ROOF_X = 22.9, 50.5, 16.0, (-38.5, -13.5)
KNOB_ANGLE = np.radians(28.0)

PLACES = {
    "left tank side, middle": (-3.0, TANK_Y, 23.0),
    "left cab side, below the opening": (-28.0, CAB_Y, 23.0),
    "left bunker side": (-44.0, CAB_Y, 25.0),
    "boiler, left flank": (23.0, BOILER, AXIS),
    "boiler, crown": (23.0, 0.0, AXIS + BOILER),
    "dome, top": (DOME_X, 0.0, 47.3),
    "cab roof, crown": (-26.0, 0.0, ROOF_CROWN),
    "smokebox, left flank": (41.0, SMOKEBOX, AXIS),
    "front buffer beam": (53.0, 0.0, 12.5),
    "raised boiler bands at x": BANDS,
}


def build() -> Manifold:
    body = union([_footplate(), _tanks(), _cab_and_bunker(), _boiler(), _smokebox(), _roof(), _fittings()])
    bore = barrel((CAB_FRONT - 4.0, SMOKEBOX_X[1] - 1.2), AXIS, BOILER - 1.0)
    return body - bore - _knob_holes()


def _footplate() -> Manifold:
    plate = box((-52.0, 52.0), (-16.0, 16.0), (DECK - 1.0, DECK))
    slot = box((-47.0, 32.0), (-10.5, 10.5), (DECK - 2.0, DECK + 0.5))
    valance = both_sides(box((-52.0, 52.0), (14.6, 15.6), (DECK - 3.2, DECK - 0.5)))
    beam = along_x(rounded([(-16, 8.6, 1.2), (16, 8.6, 1.2), (16, DECK, 0), (-16, DECK, 0)]), (51.5, 53.0))
    beams = union([beam, beam.mirror((1, 0, 0))])
    stock = turned_along_x([(0, 0), (2.3, 0), (2.3, 0.5), (1.6, 0.7), (1.6, 2.0), (0, 2.0)], 53.0, 11.8, 32)
    hole = turned_along_x([(0, -3), (0.8, -3), (0.8, 3), (0, 3)], 53.0, 11.8, 24)
    stocks = both_sides((stock - hole).translate((0, 10.0, 0)))
    stocks = union([stocks, stocks.mirror((1, 0, 0))])
    hook = box((-54.0, 54.0), (-0.9, 0.9), (10.4, 13.0)) - box((-52.5, 52.5), (-2.0, 2.0), (9.0, 14.0))
    steps = both_sides(union([_step(-27.0), _step(24.0)]))
    under_saddle = box((36.2, 45.8), (-5.5, 5.5), (DECK - 2.0, DECK + 0.5))
    return union([plate - slot - under_saddle, valance, beams, stocks, hook, steps])


def _step(x: float) -> Manifold:
    hanger = along_y(
        rounded([(x - 2.6, 5.2, 0.8), (x + 2.6, 5.2, 0.8), (x + 3.2, 13.5, 0), (x - 3.2, 13.5, 0)], 6),
        (14.6, 15.6),
    )
    treads = [box((x - 3.0, x + 3.0), (13.8, 17.2), (z, z + 0.8)) for z in (5.2, 9.4)]
    return union([hanger, *treads])


def _tank_plan(grow: float = 0.0) -> list[tuple[float, float]]:
    y, front, back = TANK_Y + grow, TANK_FRONT + grow, CAB_FRONT - 0.5
    return rounded([(back, -y, 0), (front, -y, 4.5 + grow), (front, y, 4.5 + grow), (back, y, 0)], 16)


def _tanks() -> Manifold:
    block = along_z(_tank_plan(), (DECK - 0.5, TANK_TOP))
    inside = along_z(_tank_plan(-1.1), (DECK - 2.0, TANK_TOP - 1.1))
    beading = along_z(_tank_plan(0.25), (TANK_TOP - 0.55, TANK_TOP))
    outline = [point for point in _tank_plan() if point[1] > 9.5]
    places, out = along_outline(outline, 1.6)
    rows = [_on_tank(places, out, z) for z in (DECK + 1.3, TANK_TOP - 1.6)]
    upright = np.arange(DECK + 2.9, TANK_TOP - 2.4, 1.55)
    column = np.column_stack([np.full_like(upright, CAB_FRONT + 1.0), np.full_like(upright, TANK_Y), upright])
    rows.append(studs(column, np.tile((0.0, 1.0, 0.0), (len(column), 1))))
    filler = turned(
        [(0, -0.5), (2.4, -0.5), (2.4, 1.0), (2.1, 1.3), (2.1, 2.0), (0, 2.3)], -8.0, 11.9, TANK_TOP, 32
    )
    return union([(block - inside), beading, both_sides(union([*rows, filler]))])


def _on_tank(places: np.ndarray, out: np.ndarray, z: float) -> Manifold:
    high = np.full(len(places), z)
    return studs(np.column_stack([places, high]), np.column_stack([out, np.zeros(len(out))]))


def _bunker_plan(grow: float) -> list[tuple[float, float]]:
    """From the bunker's rounded rear corners forward to the cab's front sheet."""
    back, y, radius = REAR - grow, CAB_Y + grow, 3.2 + grow
    return rounded([(back, -y, radius), (CAB_FRONT, -y, 0), (CAB_FRONT, y, 0), (back, y, radius)], 14)


def _cab_and_bunker() -> Manifold:
    side = [(REAR, DECK - 0.5, 0), (CAB_FRONT, DECK - 0.5, 0), (CAB_FRONT, 52, 0), (CAB_BACK, 52, 0)]
    side += [(CAB_BACK, 42.0, 8.0), (CAB_BACK - 3.2, 36.5, 3.0), (REAR, 36.5, 0)]
    under_roof = barrel((-60.0, 0.0), ROOF_CROWN - ROOF_RADIUS, ROOF_RADIUS - 0.4, 192)
    block = (
        along_y(rounded(side, 14), (-CAB_Y, CAB_Y)) ^ along_z(_bunker_plan(0.0), (DECK - 1, 60))
    ) ^ under_roof
    wide = (-CAB_Y, CAB_Y)
    inside = along_z(_bunker_plan(-1.0), (0.0, 60.0))
    cab = inside ^ box((CAB_BACK + 1.0, CAB_FRONT - 1.0), wide, (DECK - 2, 60))
    coal = inside ^ box((REAR, CAB_BACK - 0.6), wide, (34.2, 60))
    below_coal = inside ^ box((REAR, CAB_BACK - 0.6), wide, (DECK - 2, 33.0))
    shell = block - cab - coal - below_coal - _windows()

    beading = along_z(_bunker_plan(0.25), (36.0, 36.5)) ^ box((REAR - 1, -39.6), (-20, 20), (30, 40))
    return union([shell, both_sides(_opening_rim()), beading - coal])


def _side_opening(grow: float) -> list[tuple[float, float]]:
    low, high = (-33.0 - grow, 29.2 - grow), (-22.0 + grow, 40.2 + grow)
    lower, upper = 2.5 + grow, 2.0 + grow
    corners = [
        (low[0], low[1], lower),
        (high[0], low[1], lower),
        (high[0], high[1], upper),
        (low[0], high[1], upper),
    ]
    return rounded(corners, 10)


def _opening_rim() -> Manifold:
    """The half-round edging round the side opening, left side."""
    frame = along_y(_side_opening(0.5), (CAB_Y - 0.4, CAB_Y + 0.25))
    return frame - along_y(_side_opening(0.0), (0.0, 20.0))


def _windows() -> Manifold:
    front = barrel((CAB_FRONT - 3, CAB_FRONT + 3), 43.2, 2.5, 40).translate((0, 7.8, 0))
    back = barrel((CAB_BACK - 3, CAB_BACK + 3), 43.2, 2.3, 40).translate((0, 7.2, 0))
    return union([along_y(_side_opening(0.0), (-20.0, 20.0)), both_sides(front), both_sides(back)])


def _boiler() -> Manifold:
    shell = barrel((CAB_FRONT - 1.5, SMOKEBOX_X[0] + 0.5), AXIS, BOILER)
    return union([shell, *(barrel((x - 0.5, x + 0.5), AXIS, BOILER + 0.2) for x in BANDS)])


def _smokebox() -> Manifold:
    drum = barrel(SMOKEBOX_X, AXIS, SMOKEBOX)
    front = barrel((SMOKEBOX_X[1] - 0.2, SMOKEBOX_X[1] + 0.3), AXIS, SMOKEBOX - 0.6)
    angle = np.radians(np.arange(-45.0, 226.0, 9.0))
    ring = np.column_stack([np.zeros_like(angle), np.cos(angle), np.sin(angle)])
    ends = (SMOKEBOX_X[0] + 0.9, SMOKEBOX_X[1] - 0.9)
    rivets = union(studs(ring * SMOKEBOX + (x, 0.0, AXIS), ring) for x in ends)
    return union([drum, front, _door(SMOKEBOX_X[1] + 0.3), _saddle(), rivets])


def _door(x: float) -> Manifold:
    """The dished smokebox door with its clamps and handle, standing on the front plate at x."""
    dish = arc((0.0, -20.4), 22.0, 67.8, 90, 12)  # meets the plate at a radius of 8.3 mm
    door = turned_along_x([(0.0, -0.5), (8.3, -0.5), *dish], x, AXIS, 96)
    boss = turned_along_x([(0, -1), (0.9, -1), (0.9, 2.3), (0.5, 2.6), (0, 2.6)], x, AXIS, 24)
    handle = box((x + 1.8, x + 2.4), (-0.35, 0.35), (AXIS - 3.2, AXIS))
    clamp = box((x - 0.3, x + 0.6), (-0.5, 0.5), (7.4, 9.0))
    clamps = [clamp.rotate((turn, 0, 0)).translate((0, 0, AXIS)) for turn in np.arange(30.0, 390.0, 60.0)]
    return union([door, boss, handle, *clamps])


def _saddle() -> Manifold:
    half = [(8.0, DECK - 0.5, 0), (6.2, 19.0, 4.0), (6.8, 24.0, 0)]
    block = along_x(rounded(half + [(-y, z, radius) for y, z, radius in reversed(half)]), (35.0, 47.0))
    inside = along_x([(-6.0, DECK - 2), (6.0, DECK - 2), (4.6, 19.0), (-4.6, 19.0)], (36.2, 45.8))
    return block - inside - barrel((30, 50), AXIS, BOILER - 0.5)


def _roof() -> Manifold:
    centre = (0.0, ROOF_CROWN - ROOF_RADIUS)
    half = np.degrees(np.arcsin(ROOF_Y / ROOF_RADIUS))
    outer = arc(centre, ROOF_RADIUS, 90 - half, 90 + half, 64)
    inner = arc(centre, ROOF_RADIUS - 0.9, 90 + half, 90 - half, 64)
    sheet = along_x(outer + inner, ROOF_X)
    angle = np.degrees(np.arcsin(12.2 / ROOF_RADIUS))
    strip = along_x(
        arc(centre, ROOF_RADIUS + 0.3, 90 - angle, 90 - angle + 1.2, 2)
        + arc(centre, ROOF_RADIUS - 0.4, 90 - angle + 1.2, 90 - angle, 2),
        (ROOF_X[0] + 1.0, ROOF_X[1] - 1.0),
    )
    return union([sheet, both_sides(strip)])


def _fittings() -> Manifold:
    return union([_chimney(), _dome(), _safety_valve()])


def _chimney() -> Manifold:
    base = AXIS + SMOKEBOX
    flare = [(r, 0.35 + h) for r, h in arc((6.4, 3.4), 3.4, 270, 180, 14)]
    profile = [(0.0, -1.2), (6.4, -1.2), *flare]
    profile += [(3.35, 9.0), (3.7, 9.2), (4.2, 9.8), (4.3, 10.6), (4.1, 11.4), (3.6, 11.9)]
    profile += [(2.5, 12.0), (2.5, 3.0), (0.0, 3.0)]
    return seated(turned(profile, CHIMNEY_X, 0.0, base), base, AXIS, SMOKEBOX, 5.0)


def _dome() -> Manifold:
    base = AXIS + BOILER
    flare = [(r, 0.3 + h) for r, h in arc((6.2, 1.7), 1.7, 270, 180, 12)]
    crown = [(4.5 * np.cos(a), 4.6 + 4.7 * np.sin(a)) for a in np.radians(np.linspace(0, 90, 25))]
    profile = [(0.0, -1.2), (6.2, -1.2), *flare, *crown]
    return seated(turned(profile, DOME_X, 0.0, base, 96), base, AXIS, BOILER, 4.0)


def _safety_valve() -> Manifold:
    base = AXIS + BOILER
    flare = [(r, 0.2 + h) for r, h in arc((3.6, 1.6), 1.6, 270, 180, 8)]
    profile = [(0.0, -1.0), (3.6, -1.0), *flare, (1.7, 4.6), (2.1, 4.9), (2.1, 5.4), (1.5, 5.5), (1.5, 5.0)]
    profile += [(0.7, 5.0), (0.7, 6.4), (0.0, 6.4)]
    return seated(turned(profile, -8.5, 0.0, base, 48), base, AXIS, BOILER, 3.0)


def _knob_holes() -> Manifold:
    out = np.array([0.0, np.cos(KNOB_ANGLE), np.sin(KNOB_ANGLE)])
    boiler = [np.array([x, 0.0, AXIS]) + out * BOILER for x in (13.5, 31.0)]
    smokebox = [np.array([46.5, 0.0, AXIS]) + out * SMOKEBOX]
    cab = [np.array([x, CAB_Y, z]) for x in (-34.6, -20.0) for z in (21.0, 28.5)]
    directions = [out] * 3 + [np.array([0.0, 1.0, 0.0])] * 4
    return both_sides(drilled(np.array(boiler + smokebox + cab), np.array(directions)))
