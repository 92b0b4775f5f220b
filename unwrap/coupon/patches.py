"""Numbered colours round a target, in small even steps along three axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.coupon.lab import colour_of, lab_of

# Three blocks (darker, as is, lighter) of 5 x 5 (green to red, blue to yellow).
STEPS_AB = (-2, -1, 0, 1, 2)
STEPS_L = (-1, 0, 1)
STEP_AB, STEP_L = 4.0, 6.0


@dataclass(frozen=True)
class PatchColour:
    """One numbered patch: its place in the blocks and its colour."""

    number: int
    block: int
    row: int
    column: int
    colour: str
    reachable: bool


def patches_round(target: str) -> tuple[PatchColour, ...]:
    """The 75 patches round a target "#rrggbb"; number 38 is the target itself.

    Within a block b* grows upward and a* to the right; blocks go from darker to lighter.
    """
    middle = lab_of(target)
    found: list[PatchColour] = []
    for block, l_step in enumerate(STEPS_L):
        for row, b_step in enumerate(STEPS_AB):
            for column, a_step in enumerate(STEPS_AB):
                lab = middle + np.array([STEP_L * l_step, STEP_AB * a_step, STEP_AB * b_step])
                colour, reachable = colour_of(lab)
                if (l_step, a_step, b_step) == (0, 0, 0):
                    colour = target.lower()
                found.append(PatchColour(len(found) + 1, block, row, column, colour, reachable))
    return tuple(found)
