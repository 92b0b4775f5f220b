"""Bodies with details of every kind, and the same bodies without: what bridging is measured by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from conftest import box, cylinder_x, union
from manifold3d import CrossSection, Manifold

SIDE = box((-30, 30), (-10, 10), (-15, 15))
BARREL = cylinder_x(10.0, -30.0, 30.0)
TAPERED = Manifold.cylinder(60, 12, 8, 48).rotate((0, 90, 0)).translate((-30, 0, 0))
ON_SIDE = (0.8, 10.0, 1.0)
AROUND = {"x": (-25.0, 25.0)}
WITH_OVERHANG = box((-31, 31), (-20, 20), (-20, 20))
PLANKS = tuple(float(z) for z in np.arange(-12.6, 14, 2.3))


@dataclass(frozen=True)
class Case:
    """A body, the same without its details, and a point on the region.

    Parameters
    ----------
    name : str
        What the details are.
    make : callable
        Gives the two solids.
    count : int or None
        How many details there are; None where neighbours run together.
    """

    name: str
    make: Callable[[], tuple[Manifold, Manifold]]
    count: int | None = None
    at: tuple[float, float, float] = ON_SIDE
    within: dict[str, tuple[float, float]] | None = None
    bridge: float = 1.5


def head(profile: list[tuple[float, float]], segments: int = 12) -> Manifold:
    """A rivet of the given (r, height) profile on the plane y = 10."""
    foot = [(0.0, -0.4), (profile[0][0], -0.4)]
    solid = Manifold.revolve(CrossSection([np.array([*foot, *profile])]), segments)
    return solid.rotate((-90, 0, 0)).translate((0, 10, 0))


ROUND = [(0.35 * np.cos(a), 0.3 * np.sin(a)) for a in np.linspace(0, np.pi / 2, 5)]
CONE = [(0.35, 0.0), (0.1, 0.3), (0.0, 0.3)]
DRUM = [(0.35, 0.0), (0.35, 0.3), (0.0, 0.3)]
LOW = [(0.45 * s, 0.1 * (1 - s * s)) for s in np.linspace(1, 0, 5)]
NUT = [(0.7, 0.0), (0.7, 0.12), (0.45, 0.12), (0.45, 0.5), (0.2, 0.5), (0.2, 0.7), (0.0, 0.7)]


def rows(one: Manifold, z: tuple[float, ...] = (-14.6, -12, 12, 14.8), step: float = 1.6) -> list[Manifold]:
    return [one.translate((x, 0, h)) for x in np.arange(-29.2, 29.5, step) for h in z]


def rod(height: float, width: float, z: float, length: float = 80.0) -> Manifold:
    """A bead along x with a circular profile on the plane y = 10."""
    radius = (width * width / 4 + height * height) / (2 * height)
    half = np.arcsin(min(1.0, width / 2 / radius))
    arc = [(radius * np.sin(t), radius * np.cos(t) - radius + height) for t in np.linspace(half, -half, 9)]
    solid = Manifold.extrude(CrossSection([np.array([*arc, (-width / 2, -0.3), (width / 2, -0.3)])]), length)
    return solid.transform(np.array([[0, 0, 1, -length / 2], [0, 1, 0, 10], [-1, 0, 0, z]], dtype=float))


def on_side(*details: Manifold, less: Manifold | None = None, keep: Manifold | None = None):
    """The side with details on it, with grooves out of it, trimmed to the side's length and depth."""
    solid = union([SIDE, *details]) if details else SIDE
    solid = solid - less if less is not None else solid
    return (solid ^ box((-30, 30), (-20, 20), (-20, 20)) if keep is None else solid ^ keep), SIDE


def v_groove(z: float) -> Manifold:
    """A groove along x, 0.4 mm wide at the surface."""
    profile = CrossSection([np.array([(9.75, z), (10.05, z - 0.24), (10.05, z + 0.24)])])
    return Manifold.extrude(profile, 80).transform(
        np.array([[0, 0, 1, -40], [1, 0, 0, 0], [0, 1, 0, 0]], dtype=float)
    )


def frame_round(x: tuple[float, float], z: tuple[float, float], wide: float) -> Manifold:
    """A flat frame proud of the side round a rectangle."""
    outer = box((x[0] - wide, x[1] + wide), (9, 10.3), (z[0] - wide, z[1] + wide))
    return outer - box(x, (0, 20), z)


def rounded_box(segments: int = 24) -> Manifold:
    """The side goes round into the end over a corner of 4 mm."""
    plan = CrossSection([np.array([(-30, -10), (30, -10), (30, 10), (-30, 10)], dtype=float)])
    plan = plan.offset(-4.0, circular_segments=segments).offset(4.0, circular_segments=segments)
    return Manifold.extrude(plan, 30).translate((0, 0, -15))


def wrapped_beads() -> tuple[Manifold, Manifold]:
    body = rounded_box()
    plan = CrossSection([np.array([(-30, -10), (30, -10), (30, 10), (-30, 10)], dtype=float)])
    wide = plan.offset(-4.0, circular_segments=24).offset(4.3, circular_segments=24)
    beads = [Manifold.extrude(wide, 0.6).translate((0, 0, z)) for z in (-8.0, 4.0)]
    return union([body, *beads]), body


def wrapped_grooves() -> tuple[Manifold, Manifold]:
    body = rounded_box()
    plan = CrossSection([np.array([(-30, -10), (30, -10), (30, 10), (-30, 10)], dtype=float)])
    slim = plan.offset(-4.0, circular_segments=24).offset(3.8, circular_segments=24)
    rings = [
        (Manifold.extrude(plan.offset(2.0), 0.4) - Manifold.extrude(slim, 0.4)).translate((0, 0, z))
        for z in (-8.0, -3.0, 4.0)
    ]
    return body - union(rings), body


def bands(profile: str) -> tuple[Manifold, Manifold]:
    if profile == "square":
        extra = [cylinder_x(10.3, x - 0.5, x + 0.5) for x in (-12, 5, 18)]
    else:
        arc = [(10.0 + 0.3 * np.sin(t), 0.5 * np.cos(t)) for t in np.linspace(0.0, np.pi, 9)]
        ring = Manifold.revolve(CrossSection([np.array([(9.0, -0.5), (9.0, 0.5), *arc])[::-1]]), 48)
        extra = [ring.rotate((0, 90, 0)).translate((x, 0, 0)) for x in (-12, 5, 18)]
    return union([BARREL, *extra]), BARREL


def terraces(count: int, width: float, height: float, rounded: bool) -> list[tuple[float, float]]:
    """Half widths and heights of a band drawn as steps, straight up its sides or as a half ellipse."""
    levels = np.arange(count) / count
    half = width / 2 * (np.sqrt(1 - levels**2) if rounded else 1 - levels)
    return list(zip(half.tolist(), (height * (levels + 1 / count)).tolist(), strict=True))


def stepped_bands(count: int, rounded: bool) -> tuple[Manifold, Manifold]:
    steps = terraces(count, 1.0, 0.3, rounded)
    rings = [cylinder_x(10.0 + high, x - half, x + half) for x in (-12, 5, 18) for half, high in steps]
    return union([BARREL, *rings]), BARREL


def stepped_beads(count: int) -> tuple[Manifold, Manifold]:
    steps = terraces(count, 1.0, 0.3, rounded=False)
    return on_side(
        *(box((-40, 40), (9, 10 + high), (z - half, z + half)) for z in (3, -7) for half, high in steps)
    )


def stepped_grooves(count: int) -> tuple[Manifold, Manifold]:
    steps = terraces(count, 0.8, 0.3, rounded=True)
    return on_side(
        less=union(
            [box((-40, 40), (10 - low, 12), (z - half, z + half)) for z in (3, -7) for half, low in steps]
        )
    )


def rings_of_rivets(body: Manifold, radius: Callable[[float], float]) -> tuple[Manifold, Manifold]:
    one = Manifold.cylinder(0.8, 0.35, 0.35, 10)
    rivets = [
        one.translate((0, 0, radius(x) - 0.4)).rotate((angle, 0, 0)).translate((x, 0, 0))
        for angle in np.arange(3.0, 360.0, 11.0)
        for x in (-20.0, 3.0)
    ]
    return union([body, *rivets]), body


def riveted_bands() -> tuple[Manifold, Manifold]:
    one = Manifold.cylinder(0.5, 0.3, 0.3, 10).translate((0, 0, 10.0))
    rivets = [one.rotate((a, 0, 0)).translate((x, 0, 0)) for a in np.arange(3, 360, 15) for x in (-12.0, 5.0)]
    return union([BARREL, *(cylinder_x(10.25, x - 0.6, x + 0.6) for x in (-12, 5)), *rivets]), BARREL


def lagged() -> tuple[Manifold, Manifold]:
    slots = [
        box((-40, 40), (-0.15, 0.15), (9.8, 11)).rotate((angle, 0, 0)) for angle in np.arange(0, 360, 22.5)
    ]
    return BARREL - union(slots), BARREL


def strapped() -> tuple[Manifold, Manifold]:
    strap = (cylinder_x(10.25, -40, 40) - cylinder_x(9.0, -40, 40)) ^ box((-40, 40), (-0.6, 0.6), (0, 20))
    return union([BARREL, strap]) ^ box((-30, 30), (-20, 20), (-20, 20)), BARREL


def ringed() -> tuple[Manifold, Manifold]:
    rings = [cylinder_x(12, x - 0.2, x + 0.2) - cylinder_x(9.8, x - 1, x + 1) for x in (-12, 5, 18)]
    return BARREL - union(rings), BARREL


def framed_window() -> tuple[Manifold, Manifold]:
    window = box((8, 18), (-20, 20), (0, 8))
    return union([SIDE, frame_round((8, 18), (0, 8), 0.6)]) - window, SIDE - window


def holes() -> tuple[Manifold, Manifold]:
    def bore(radius: float, x: float, deep: float = 40.0) -> Manifold:
        return Manifold.cylinder(deep, radius, radius, 24).rotate((-90, 0, 0)).translate((x, 11 - deep, 0))

    port = bore(2.0, -9.0)
    return SIDE - bore(0.4, 0.0) - bore(0.3, 5.0, 2.0) - bore(0.6, 12.0) - port, SIDE - port


def ribbed_roof() -> tuple[Manifold, Manifold]:
    """A curved roof with rivets and a rib across."""
    roof = cylinder_x(25.0, -30, 30, 160) ^ box((-40, 40), (-12, 12), (0, 40))
    ribs = [cylinder_x(25.3, x - 0.4, x + 0.4, 160) ^ box((-40, 40), (-12, 12), (0, 40)) for x in (-10, 8)]
    one = Manifold.cylinder(0.6, 0.4, 0.3, 10).translate((0, 0, 24.7))
    heads = [one.rotate((a, 0, 0)).translate((x, 0, 0)) for a in range(-24, 25, 4) for x in (-20, 0, 20)]
    return union([roof, *ribs, *heads]), roof


def riveted(profile: list[tuple[float, float]]) -> tuple[Manifold, Manifold]:
    """Rows of rivets, the outer ones cut off by the side's own edge."""
    return on_side(*rows(head(profile)), keep=WITH_OVERHANG)


def riveted_corners() -> tuple[Manifold, Manifold]:
    places = [(x, z) for x in (-29.8, 29.8) for z in (-14.8, 14.8)]
    return on_side(*(head(DRUM).translate((x, 0, z)) for x, z in places), keep=WITH_OVERHANG)


def thousands() -> tuple[Manifold, Manifold]:
    one = head(DRUM, 8)
    places = [(x, z) for x in np.arange(-29, 29.1, 0.92) for z in np.arange(-14, 14.1, 0.9)]
    return on_side(*(one.translate((x, 0, z)) for x, z in places))


def riveted_strap() -> tuple[Manifold, Manifold]:
    strap = box((-40, 40), (9, 10.25), (-3.6, -2.4))
    return on_side(strap, *rows(head(DRUM).translate((0, 0.25, 0)), (-3.0,)))


def planked(uprights: tuple[float, ...] = ()) -> tuple[Manifold, Manifold]:
    grooves = [box((-40, 40), (9.8, 11), (z - 0.15, z + 0.15)) for z in PLANKS]
    across = [box((x - 0.15, x + 0.15), (9.8, 11), (-20, 20)) for x in uprights]
    return on_side(less=union([*grooves, *across]))


def door() -> tuple[Manifold, Manifold]:
    """Its outline as a groove 0.3 mm wide."""
    return on_side(less=box((-6, 6), (9.8, 11), (-9, 11)) - box((-5.7, 5.7), (0, 20), (-8.7, 10.7)))


def recessed() -> tuple[Manifold, Manifold]:
    """An upright groove that in its middle runs along a recess as deep."""
    groove = box((-0.5, 0), (9, 11), (-20, 20))
    return SIDE - groove - box((-0.1, 20), (9, 11), (-8, 8)), SIDE - box((-0.5, 20), (9, 11), (-8, 8))


def louvres(lean: float) -> tuple[Manifold, Manifold]:
    """Square slats, or such as come out at the top by so much."""
    if not lean:
        return on_side(*(box((-4, 4), (9.6, 10.4), (z - 0.5, z + 0.5)) for z in np.arange(-9, -1, 2.0)))
    section = CrossSection([[(9.5, 0.0), (10.0 + lean, 0.0), (10.0, 1.2), (9.5, 1.2)]])
    slat = Manifold.extrude(section, 12).rotate((90, 0, 90)).translate((-6, 0, 0))
    return on_side(*(slat.translate((0, 0, z)) for z in np.arange(-6, 6, 1.3)))


CLEAR, ON_TOP, ON_PLANK = (-20.0, 10.0, 0.0), (0.0, 0.0, 10.0), (0.0, 1.95, 9.8)
HALF = {"x": (-25.0, 25.0), "z": (2.0, 20.0)}
ROUND_THE_CORNER = {"x": (-20.0, 40.0), "y": (0.0, 20.0)}

CASES = (
    Case("round rivets in rows to the edge", lambda: riveted(ROUND), 148),
    Case("conical rivets in rows to the edge", lambda: riveted(CONE), 148),
    Case("sharp-sided rivets in rows to the edge", lambda: riveted(DRUM), 148),
    Case("low domed rivets in rows to the edge", lambda: riveted(LOW), 148),
    Case("rivets over the corners", riveted_corners, 4),
    Case("2,000 rivets", thousands, 2048, (0.46, 10, 0.45)),
    Case("nuts on washers in rows", lambda: on_side(*rows(head(NUT, 6), (-13, 13), 2.4)), 50, bridge=1.6),
    Case("bead across", lambda: on_side(rod(0.3, 0.6, 3)), 1),
    Case("bead that ends", lambda: on_side(rod(0.3, 0.6, 3, 40)), 1),
    Case("weld line", lambda: on_side(rod(0.1, 0.6, -7)), 1),
    Case("half-round edging at the top", lambda: on_side(rod(0.3, 0.6, 14.7)), 1),
    Case("strap with rivets on it", riveted_strap, 1),
    Case("planks, square grooves", planked, 12),
    Case("planks, V grooves", lambda: on_side(less=union([v_groove(z) for z in PLANKS])), 12),
    Case("planks with uprights", lambda: planked((-12.0, 9.0))),
    Case("door outline as a groove, the side", door, 1, CLEAR),
    Case("door outline as a groove, from the door", door, 1, (0, 10, 0)),
    Case("groove that runs into a recess", recessed, 2, CLEAR),
    Case("louvres, square slats", lambda: louvres(0.0), 4),
    Case("louvres that lean out", lambda: louvres(0.7), 10, CLEAR),
    Case("small holes beside a port", holes, 3),
    Case("frame round a window", framed_window, 1, CLEAR),
    Case("three square bands on a barrel", lambda: bands("square"), 3, ON_TOP, AROUND),
    Case("three half-round bands on a barrel", lambda: bands("round"), 3, ON_TOP, AROUND),
    Case("bands of three steps on a barrel", lambda: stepped_bands(3, False), 3, ON_TOP, AROUND),
    Case("bands drawn as eight small steps", lambda: stepped_bands(8, False), 3, ON_TOP, AROUND),
    Case("half-round bands as twenty steps", lambda: stepped_bands(20, True), 3, ON_TOP, AROUND),
    Case("beads of eight steps", lambda: stepped_beads(8), 2),
    Case("grooves of ten steps", lambda: stepped_grooves(10), 2),
    Case("bands on half a barrel", lambda: bands("square"), 3, ON_TOP, HALF),
    Case("riveted bands on a barrel", riveted_bands, 2, ON_TOP, AROUND),
    Case("rings of rivets on a barrel", lambda: rings_of_rivets(BARREL, lambda x: 10.0), 66, ON_TOP, AROUND),
    Case("rivets on a taper", lambda: rings_of_rivets(TAPERED, lambda x: 10 - x / 15), 66, ON_TOP, AROUND),
    Case("rings sunk in a barrel", ringed, 3, ON_TOP, AROUND),
    Case("lagged barrel", lagged, 16, ON_PLANK, AROUND),
    Case("strap along a barrel", strapped, 1, (0, 3.5, 9.2), AROUND),
    Case("beads round a corner", wrapped_beads, 2, ON_SIDE, ROUND_THE_CORNER),
    Case("grooves round a corner", wrapped_grooves, 3, ON_SIDE, ROUND_THE_CORNER),
    Case("roof with ribs and rivets", ribbed_roof, 41, (4, 0, 25), AROUND),
)
