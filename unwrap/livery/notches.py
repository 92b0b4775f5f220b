"""Small notches of a region's edge, which a line beside it passes as a ruler would.

A limit that runs through a bolt hole, or a hole for a handrail, leaves a bite in the
region's edge. Lines that kept their distance from it would bend round it.
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.livery.ground import Ground

# A notch no wider and no deeper than this (mm) is passed: a handrail's hole, a hinge, a rivet cut
# through. A slit is not.
WIDEST = 1.6
# The edge turns into the ground at a notch's corners by more than this, radians.
TURNS_IN = np.radians(25.0)
# The edge goes on beyond a notch in line with its mouth, but for this, radians.
IN_LINE = np.radians(12.0)


def without_notches(ground: Ground, widest: float = WIDEST) -> Ground:
    """The ground with the small notches of its edge closed by faces that belong to no piece.

    Parameters
    ----------
    ground : Ground
    widest : float
        Of a notch's mouth, mm; no deeper either.

    Returns
    -------
    Ground
        The same one where there is no notch.
    """
    return ground.bridged([run for loop in ground.loops for run in find_notches(ground, loop, widest)])


def find_notches(ground: Ground, loop: IntArray, widest: float = WIDEST) -> list[IntArray]:
    """Runs of a loop, each from one corner of a notch to the other.

    At both corners the edge turns into the ground, and before and after them it runs in
    line with the mouth between them. A bend, a step or the corner of a panel does not.
    """
    n = len(loop)
    places = ground.vertices[loop]
    before = _unit(places - np.roll(places, 1, axis=0))
    after = np.roll(before, -1, axis=0)
    corner = np.flatnonzero(ground.angle_sum[loop] < np.pi - TURNS_IN)
    runs: list[IntArray] = []
    reached = -1
    for i in corner.tolist():
        if i < reached:
            continue
        for j in corner[np.argsort((corner - i) % n)][1:].tolist():
            mouth = places[j] - places[i]
            size = float(np.linalg.norm(mouth))
            steps = (j - i) % n
            if size > widest or steps < 2 or steps > n - 2:
                continue
            run = (i + np.arange(steps + 1)) % n
            lined = min(float(before[i] @ mouth), float(after[j] @ mouth)) / max(size, 1e-300)
            if lined > np.cos(IN_LINE) and _depth(places[run]) <= widest:
                runs.append(loop[run])
                reached = i + steps
                break
    return runs


def _depth(run: FloatArray) -> float:
    """How far a run goes from the chord between its ends."""
    away = run - run[0]
    along = away[-1] / max(float(np.linalg.norm(away[-1])), 1e-300)
    return float(np.linalg.norm(away - (away @ along)[:, None] * along, axis=1).max())


def _unit(ways: FloatArray) -> FloatArray:
    return ways / np.maximum(np.linalg.norm(ways, axis=1, keepdims=True), 1e-300)
