"""In which order the pieces go on, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from unwrap.guide.whereabouts import side_of
from unwrap.livery.carry import Carry
from unwrap.livery.overlaps import Plan, Turn, plan_overlaps, turn_of
from unwrap.sheet.piece import Piece


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


REASONS = {
    Turn.UNDERSIDE: "the underside first, while nothing can be rubbed by turning the model over",
    Turn.ALL_ROUND: "goes all round, so it comes while the model can still be held anywhere else",
    Turn.SIDE: "a side that can lie level on the bench while the film settles",
    Turn.OTHER_SIDE: "the other side, once the first is dry enough to lie on",
    Turn.END: "an end, with the sides dry so that the model can be stood up",
    Turn.TOP: "the top last of the plain pieces: until now the model was held by it",
    Turn.SOFTENED: "asks most of the film: softening solution must not run under film that is still wet",
}


def application_order(pieces: Sequence[Piece], plan: Plan | None = None) -> tuple[Step, ...]:
    """Put pieces in the order of the bench, as their overlaps are planned (`unwrap.livery.overlaps`).

    Parameters
    ----------
    pieces : sequence of Piece
        What was made.
    plan : Plan, optional
        How they lie over one another, when that is known.
    """
    carries = {piece.name: Carry(replace(piece.patch, name=piece.name), piece.flat) for piece in pieces}
    given = [(piece.name, over) for piece in pieces for over in piece.under if over in carries]
    plan = plan or plan_overlaps(list(carries.values()), given)
    laps = {(lap.under, lap.over) for lap in plan.overlaps if lap.under != lap.over} | set(given)
    by_name = {piece.name: piece for piece in pieces}
    steps: list[Step] = []
    group = None
    for count, name in enumerate(plan.order):
        piece = by_name[name]
        turn = turn_of(carries[name])
        over = tuple(sorted(top for below, top in laps if below == name))
        lies_on = sorted(below for below, top in laps if top == name)
        reason = REASONS[turn]
        if lies_on:
            reason = f"laps over {_and(lies_on)}, so it follows"
        elif over:
            reason = f"{reason}; {_and(over)} will lap over it"
        dry = count > 0 and (turn != group or bool(lies_on))
        steps.append(Step(letter_of(count), piece, side_of(piece), reason, dry, over))
        group = turn
    return tuple(steps)


def letter_of(count: int) -> str:
    """A, B, ..., Z, AA, AB, ..."""
    letter = chr(ord("A") + count % 26)
    return letter if count < 26 else letter_of(count // 26 - 1) + letter


def _and(names: Sequence[str]) -> str:
    names = sorted(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
