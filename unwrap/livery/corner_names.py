"""What the corners of a line set are called, so that one may differ from the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.errors import BadInput
from unwrap.livery.corner import Corner
from unwrap.livery.corner_shapes import STYLES
from unwrap.livery.edges import NAMES, Edge, name_runs, outer_and_openings
from unwrap.livery.ground import Ground

OPPOSITE = dict(zip(NAMES, ("bottom", "top", "rear", "front", "right", "left"), strict=True))
# What the edge at a limit is called, per axis: at the upper one, at the lower one.
LIMITS = (("front", "rear"), ("left", "right"), ("top", "bottom"))
# Places along the body are told apart by this, mm, when corners are counted.
STEP = 0.05


def style_corners(
    where: str,
    ground: Ground,
    corners: Sequence[Corner],
    style: str,
    size: float,
    named: Mapping[str, tuple[str, float]],
    limits: Sequence[tuple[int, float, bool]] = (),
) -> list[tuple[Corner, str, float]]:
    """Each corner with its own style where one is named; see `name_corners` for the limits.

    Raises
    ------
    BadInput
        If a style is unknown, or no corner or more than one has that name.
    """
    for name, (wanted, radius) in named.items():
        if wanted not in STYLES or (wanted != "square" and not radius > 0):
            raise BadInput(
                f'{where}: the corner "{name}" is given as {wanted!r} with size {radius!r}; use '
                f"{', '.join(STYLES)} and a size above 0 mm"
            )
    if not named:
        return [(corner, style, size) for corner in corners]
    names = name_corners(ground, corners, limits)
    known = {frozenset(name.split()): i for i, name in enumerate(names)}
    wishes: dict[int, tuple[str, float]] = {}
    for name, wish in named.items():
        words = frozenset(name.split())
        if words not in known:
            raise BadInput(f"{where}: {_which(name, names, corners)}")
        wishes[known[words]] = wish
    return [(corner, *wishes.get(i, (style, size))) for i, corner in enumerate(corners)]


def name_corners(
    ground: Ground, corners: Sequence[Corner], limits: Sequence[tuple[int, float, bool]] = ()
) -> list[str]:
    """A name for each corner, no two alike.

    Parameters
    ----------
    ground : Ground
    corners : sequence of Corner
    limits : sequence of (axis, mm, bool)
        Of the panel within the ground: the plane's axis and place, and whether the panel lies above it.

    Notes
    -----
    It is made of the edges that meet there ("top front"; "opening top front" round an opening).
    Corners that would share a name are numbered from the front to the rear, then from the top
    down, then from left to right: "bottom rear 1", "bottom rear 2".
    """
    outer, openings = outer_and_openings(ground)
    sides = {False: name_runs(ground, outer), True: name_runs(ground, openings)}
    plain = [_edges_at(ground, sides[corner.opening], corner, limits) for corner in corners]
    places = [tuple(np.round(corner.place / STEP) * [-1, -1, -1]) for corner in corners]
    order = sorted(range(len(corners)), key=lambda i: (places[i][0], places[i][2], places[i][1]))
    out = list(plain)
    for name in set(plain):
        same = [i for i in order if plain[i] == name]
        for number, i in enumerate(same, start=1):
            out[i] = f"{name} {number}" if len(same) > 1 else name
    return out


def _edges_at(
    ground: Ground,
    runs: Sequence[tuple[str, list[Edge]]],
    corner: Corner,
    limits: Sequence[tuple[int, float, bool]],
) -> str:
    """Names of the two edges, or limits of the panel, nearest to a corner."""
    near = [(_distance(ground, run, corner.place), name) for name, run in runs]
    near += [(abs(float(corner.place[axis]) - limit), LIMITS[axis][above]) for axis, limit, above in limits]
    names = {name for _, name in sorted(near, key=lambda one: one[0])[:2]}
    if corner.opening:
        # An edge of the region that faces down is the top of its opening.
        return " ".join(["opening", *(name for name in NAMES if OPPOSITE[name] in names)])
    return " ".join(name for name in NAMES if name in names)


def _distance(ground: Ground, run: Sequence[Edge], place: FloatArray) -> float:
    start, end = (ground.vertices[list(ends)] for ends in zip(*run, strict=True))
    way = end - start
    share = np.einsum("nj,nj->n", place - start, way) / np.einsum("nj,nj->n", way, way)
    off = start + np.clip(share, 0, 1)[:, None] * way - place
    return float(np.linalg.norm(off, axis=1).min())


def _which(name: str, names: Sequence[str], corners: Sequence[Corner]) -> str:
    """Why a name will not do, and the names that will."""
    words = set(name.split())
    places = [", ".join(f"{v:.1f}" for v in corner.place) for corner in corners]
    told = [f'"{known}" at ({place})' for known, place in sorted(zip(names, places, strict=True))]
    alike = [i for i, known in enumerate(names) if set(known.split()[:-1]) == words and known[-1].isdigit()]
    if alike:
        mine = [f'"{names[i]}" for the one at ({places[i]})' for i in sorted(alike, key=lambda i: names[i])]
        return f'{len(alike)} corners are called "{name}"; write {", ".join(mine)}'
    return f'there is no corner "{name}"; its corners are {", ".join(told)}'
