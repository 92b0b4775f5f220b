"""How little strain any flat shape without cuts could have: the search for the strongest proven bound."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.flatten.check import check_patch
from unwrap.flatten.disc_bounds import disc_bound, long_bound
from unwrap.flatten.discs import Discs
from unwrap.flatten.energy import stretches
from unwrap.flatten.metric import metric_of
from unwrap.flatten.quarter import quartered
from unwrap.flatten.relax import relax

SAFE = 1.0 - 1e-9  # rounding must never lift a bound above what it proves
NOTHING = 1e-6
LITTLE = 1e-3  # a flat shape that comes so near to no strain at all is not searched for long
CENTRES = 48
FINALISTS = 4
FINE = 4  # how much finer the discs of the place found are looked at
WAYS = 18  # directions that a longer region is begun in
ENOUGH_FACES = 8000  # the faces of a patch with fewer are parted in quarters
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
        itself; the proofs stand at the top of `disc_bounds.py`.

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
    attained = np.inf
    for points in shapes:
        s1, s2 = stretches(metric, points)
        attained = min(attained, float(s1.max() / s2.min()))
        if attained <= 1.0 + NOTHING:
            return 1.0  # no bound is above what a flat shape attains
        discs = Discs(vertices, faces, points)
        if discs.overlap:
            continue
        centres = discs.centres(CENTRES)
        guesses = np.array([discs.guess(p) for p in centres])
        likely = centres[np.argsort(-guesses)[:FINALISTS]]
        found += [(disc_bound(discs, p), p, discs) for p in np.concatenate([centres[-2:], likely])]
    if not found:
        return 1.0
    value, centre, discs = max(found, key=lambda entry: entry[0])
    if attained <= 1.0 + LITTLE:
        return max(1.0, value * SAFE)
    # What can be afforded falls with the number of faces; a bound is true wherever the search ends.
    tries = int(np.clip(MOST_FACES / len(faces), 2, 16))
    _, centre = _climb(lambda place: disc_bound(discs, place), centre, value, discs.spacing, tries)
    return max(1.0, disc_bound(discs, centre, FINE) * SAFE, _longest(discs, centre, tries) * SAFE)


def _longest(discs: Discs, centre: FloatArray, tries: int) -> float:
    """The best bound of regions round a segment, begun along the longest way through a place."""

    def bound(places: FloatArray, fine: int = 1) -> float:
        one, two = places[:2], places[2:]
        apart = float(np.linalg.norm(discs.on_surface(one) - discs.on_surface(two)))
        return long_bound(discs, one, two, apart, fine)

    # Bounds grow with the curvature inside: the widest region to begin with.
    room = discs.room(centre)
    widest, best = 0.0, None
    for turn in np.pi * np.arange(WAYS) / WAYS:
        way = np.array([np.cos(turn), np.sin(turn)])
        low, high = discs.chord(centre, way)
        for short in (0.9, 1.1, 1.3):
            one, two = low + short * room * way, high - short * room * way
            long = float((two - one) @ way)
            around = discs.room(one, two) if long > 0.0 else 0.0
            area = around * (np.pi * around + 2.0 * min(long, 2.0 * around))
            if area > widest:
                widest, best = area, np.concatenate([one, two])
    if best is None or widest <= 1.1 * np.pi * room**2:
        return 1.0
    return bound(_climb(bound, best, bound(best), discs.spacing, 4 * tries)[1], FINE)


def _climb(
    bound: Callable[[FloatArray], float], place: FloatArray, value: float, spacing: float, tries: int
) -> tuple[float, FloatArray]:
    """Move a place, one coordinate at a time, while its bound grows; the bound and the place at the end."""
    step = 0.5 * spacing
    ways = np.concatenate([np.eye(len(place)), -np.eye(len(place))])
    while tries > 0 and step > 0.01 * spacing:
        for way in ways:
            tries -= 1
            there = bound(place + step * way)
            if there > value:
                place, value = place + step * way, there
                break
        else:
            step *= 0.5
    return value, place
