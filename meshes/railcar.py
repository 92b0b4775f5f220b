"""A valley railcar, 4 mm to the foot (1:76.2), about 170 mm long.

A shell with a streamlined nose at either end that curves strongly both ways, rows of windows,
a recessed door on each side, and a bead along the waist. The rails would lie at z = 0.
"""

from __future__ import annotations

import numpy as np
from manifold3d import Manifold
from shapes import (
    along_x,
    along_y,
    arc,
    both_sides,
    box,
    lofted,
    rectangle,
    rounded,
    turned_along_x,
    union,
)

SKIRT, SHOULDER, TOP = 8.0, 21.0, 46.0  # heights: lower edge, where the sides start to lean in, crown
HALF_WIDTH = 17.0
STRAIGHT = 48.0  # the sides run straight from -48 to 48
NOSE = 37.0
FULLNESS = 0.93  # 1 for an ellipse in plan and profile, less for a blunter nose
WAIST = 26.0
WINDOWS = np.arange(-44.0, 31.0, 10.5)  # middles
DOOR_X = 41.0

PLACES = {
    "left side, below the windows": (-10.0, HALF_WIDTH, 18.0),
    "left side, above the windows": (-10.0, 15.2, 38.5),
    "roof, crown": (0.0, 0.0, TOP),
    "front nose, tip": (STRAIGHT + NOSE, 0.0, SHOULDER),
    "left door": (DOOR_X, HALF_WIDTH - 0.5, 18.0),
    "waist bead at z": (WAIST,),
}


def build() -> Manifold:
    outer, inner = _block(0.0), _block(1.1, SKIRT - 2.0)
    door, frame = both_sides(_doorway(0.0)), both_sides(_doorway(1.0))
    body = union([outer - inner, frame ^ (outer - _block(1.7, SKIRT - 2.0)), *_beads(), *_fittings()])
    return body - (door ^ (_block(-1.0) - _block(0.6))) - _windows() - _axle_arches()


def _section(shrink: float, low: float, points: int) -> np.ndarray:
    """The cross-section from the left lower edge over the roof to the right, (y, z)."""
    angle = np.linspace(0.0, np.pi / 2, 400)
    exponent = 2 / 3.3
    quarter = np.column_stack(
        [
            (HALF_WIDTH - shrink) * np.cos(angle) ** exponent,
            SHOULDER + (TOP - SHOULDER - shrink) * np.sin(angle) ** exponent,
        ]
    )
    quarter[-1, 0] = 0.0
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(quarter, axis=0), axis=1))])
    even = np.linspace(0.0, length[-1], points)
    quarter = np.column_stack([np.interp(even, length, quarter[:, k]) for k in (0, 1)])
    wall = np.column_stack([np.full(5, HALF_WIDTH - shrink), np.linspace(low, SHOULDER, 6)[:-1]])
    left = np.concatenate([wall, quarter])
    return np.concatenate([left, left[-2::-1] * (-1, 1)])


def _block(shrink: float, low: float = SKIRT) -> Manifold:
    """The whole body, solid, drawn in by `shrink`: straight sides, and noses rounded both ways.

    Towards the tip the section draws in on the middle plane, and its part above the
    shoulder on the shoulder's height as well.
    """
    fine = shrink == 0.0
    section = _section(shrink, low, 40 if fine else 28)
    turn = np.radians(np.linspace(0.0, 89.2, 33 if fine else 22))
    above = section[:, 1] > SHOULDER
    rings = []
    for angle in turn:
        x = STRAIGHT + (NOSE - shrink) * np.sin(angle) ** FULLNESS
        share = np.cos(angle) ** FULLNESS
        height = np.where(above, SHOULDER + (section[:, 1] - SHOULDER) * share, section[:, 1])
        rings.append(np.column_stack([np.full(len(section), x), section[:, 0] * share, height]))
    front = np.array(rings)
    return lofted(np.concatenate([front[::-1] * (-1, 1, 1), front]))


def _doorway(grow: float) -> Manifold:
    """The left door's outline as a prism, wider by `grow` all round."""
    spans = (DOOR_X - 4.4 - grow, DOOR_X + 4.4 + grow), (10.0 - grow, 39.0 + grow)
    return along_y(rectangle(*spans, 0.6 + grow, 2.5 + grow), (5.0, 30.0))


def _beads() -> list[Manifold]:
    hollow = _block(0.5, SKIRT - 2.0)
    between_doors = box((-49.0, DOOR_X - 5.4), (-30, 30), (0, 60)) + box(
        (DOOR_X + 5.4, 49.0), (-30, 30), (0, 60)
    )
    waist = _block(-0.25) ^ box((-90, 90), (-30, 30), (WAIST - 0.3, WAIST + 0.3))
    waist ^= between_doors
    gutter = _block(-0.35) ^ box((-49.0, 49.0), (-30, 30), (40.2, 40.7))
    return [waist - hollow, gutter - hollow]


def _windows() -> Manifold:
    cuts = [along_y(rectangle((x - 4.1, x + 4.1), (28.5, 37.5), 1.4), (-30, 30)) for x in WINDOWS]
    cuts.append(along_y(rectangle((DOOR_X - 2.8, DOOR_X + 2.8), (28.5, 36.5), 1.2), (-30, 30)))
    cab = rounded([(50.5, 28.5, 1.4), (59.5, 28.5, 2.0), (57.0, 36.0, 2.5), (50.5, 36.0, 1.4)])
    cuts += [along_y(cab, (-30, 30)), along_y([(-x, z) for x, z in reversed(cab)], (-30, 30))]
    screen = rounded([(0.8, 28.5, 1.2), (9.6, 28.5, 2.0), (8.4, 36.5, 2.5), (0.8, 36.5, 1.2)])
    front = both_sides(along_x(screen, (58.0, 90.0)))
    handles = [(x, z) for x in (DOOR_X - 5.2, DOOR_X + 5.2) for z in (15.0, 24.0)]
    holes = [along_y(arc((x, z), 0.35, 0, 360, 16)[:-1], (-30, 30)) for x, z in handles]
    return union([*cuts, front, front.mirror((1, 0, 0)), *holes])


def _axle_arches() -> Manifold:
    return union(along_y(arc((x, 3.0), 11.0, 0, 360, 64)[:-1], (-30, 30)) for x in (-34.0, 26.0))


def _fittings() -> list[Manifold]:
    """Vents along the roof, and the lamp in each nose."""
    vent = rounded([(-3.4, 0.0, 0), (3.4, 0.0, 0), (2.6, 1.8, 0.8), (-2.6, 1.8, 0.8)], 6)
    vents = [along_y(vent, (-1.6, 1.6)).translate((x, 0.0, TOP - 0.4)) for x in np.arange(-36.0, 37.0, 18.0)]
    lens = turned_along_x(
        [(0.0, -4.0), (2.1, -4.0), (2.1, 0.8), (1.7, 1.2), (0.0, 1.5)], STRAIGHT + NOSE - 0.6, 17.0, 40
    )
    return [*vents, lens, lens.mirror((1, 0, 0))]
