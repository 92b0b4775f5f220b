"""In which order the pieces go on, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from unwrap.guide.whereabouts import ALL_ROUND, mean_normal, side_of
from unwrap.sheet.piece import Piece

# Pieces that share more ground than this (mm^2) lap over one another.
LAP = 2.0
# Places closer than this (mm) are the same ground.
SAME_GROUND = 0.15


@dataclass(frozen=True, eq=False)
class Step:
    """One piece in its turn.

    Parameters
    ----------
    letter : str
        A, B, C, ... in the order of application.
    piece : Piece
        What is laid.
    side : str
        Where it goes.
    reason : str
        Why now.
    dry_before : bool
        Whether what was laid before must be dry first.
    under : tuple of str
        Names of the pieces that will lap over this one.
    """

    letter: str
    piece: Piece
    side: str
    reason: str
    dry_before: bool
    under: tuple[str, ...] = ()


def application_order(pieces: Sequence[Piece]) -> tuple[Step, ...]:
    """Put pieces in the order of the bench.

    What is lapped over goes before what laps over it; within that, first the
    underside, then what goes all round, the sides, the ends, the top, and last what
    needs much softening (common practice, no source).
    """
    laps = _laps(pieces)
    rank = {piece.name: _rank(piece) for piece in pieces}
    waiting = sorted(
        range(len(pieces)), key=lambda i: (*rank[pieces[i].name][:1], -pieces[i].outline.area, i)
    )
    done: list[int] = []
    while waiting:
        free = next(
            (i for i in waiting if not any((pieces[j].name, pieces[i].name) in laps for j in waiting)),
            waiting[0],
        )
        waiting.remove(free)
        done.append(free)
    steps = []
    group = None
    for count, i in enumerate(done):
        piece = pieces[i]
        number, reason = rank[piece.name]
        over = tuple(other for under, other in laps if under == piece.name)
        lies_on = [under for under, other in laps if other == piece.name]
        if lies_on:
            reason = f"laps over {_and(lies_on)}, so it follows"
        elif over:
            reason = f"{reason}; {_and(over)} will lap over it"
        steps.append(
            Step(letter_of(count), piece, side_of(piece), reason, count > 0 and number != group, over)
        )
        group = number
    return tuple(steps)


def letter_of(count: int) -> str:
    """A, B, ..., Z, AA, AB, ..."""
    letter = chr(ord("A") + count % 26)
    return letter if count < 26 else letter_of(count // 26 - 1) + letter


def _rank(piece: Piece) -> tuple[int, str]:
    flat = piece.flat
    normal = mean_normal(piece)
    asks_much = bool(flat.cuts) or not flat.within
    if asks_much:
        return 6, "asks most of the film: softening solution must not run under film that is still wet"
    if normal[2] < -0.6:
        return 0, "the underside first, while nothing can be rubbed by turning the model over"
    if np.linalg.norm(normal) < ALL_ROUND:
        return 1, "goes all round, so it comes while the model can still be held anywhere else"
    side = int(np.argmax(np.abs(normal)))
    if side == 1 and normal[1] > 0:
        return 2, "a side that can lie level on the bench while the film settles"
    if side == 1:
        return 3, "the other side, once the first is dry enough to lie on"
    if side == 0:
        return 4, "an end, with the sides dry so that the model can be stood up"
    return 5, "the top last of the plain pieces: until now the model was held by it"


def _laps(pieces: Sequence[Piece]) -> set[tuple[str, str]]:
    """(under, over) names of pieces that share ground; the smaller one lies on top."""
    samples = [_samples(piece) for piece in pieces]
    found = set()
    for i, first in enumerate(pieces):
        for j in range(i + 1, len(pieces)):
            second = pieces[j]
            if not _boxes_meet(first, second):
                continue
            (places, each), (others, _) = samples[i], samples[j]
            spacing = np.sqrt(max(each, samples[j][1]))
            away, _ = cKDTree(others).query(places, distance_upper_bound=SAME_GROUND + spacing)
            shared = float((away < SAME_GROUND + 0.6 * spacing).sum()) * each
            # Neighbours along a joint come this close too, in a strip one sample wide.
            strip = spacing * min(first.outline.length, second.outline.length)
            if shared > LAP + strip:
                over_second = first.outline.area >= second.outline.area
                found.add((first.name, second.name) if over_second else (second.name, first.name))
    return found


def _boxes_meet(first: Piece, second: Piece) -> bool:
    a, b = first.flat.surface, second.flat.surface
    return bool(
        np.all(a.min(axis=0) <= b.max(axis=0) + SAME_GROUND) and np.all(b.min(axis=0) <= a.max(axis=0))
    )


def _samples(piece: Piece, count: int = 1500) -> tuple[np.ndarray, float]:
    """Places evenly over a piece's surface, and the area that each stands for, mm^2."""
    flat = piece.flat
    rng = np.random.default_rng(7)
    face = rng.choice(len(flat.faces), size=count, p=flat.areas / flat.areas.sum())
    u, v = rng.uniform(size=(2, count))
    flip = u + v > 1
    u[flip], v[flip] = 1 - u[flip], 1 - v[flip]
    a, b, c = np.moveaxis(flat.surface[flat.faces[face]], 1, 0)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), float(flat.areas.sum()) / count


def _and(names: Sequence[str]) -> str:
    names = sorted(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
