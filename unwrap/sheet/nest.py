"""Place true shapes close together in a strip; runs as a process of its own.

The nesting library stops by the clock, which would make the result depend on how
busy the machine is. Its search itself is seeded and repeats exactly, so this
process listens to the search and ends it after a counted amount of work.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

SEED = 20
# Reports of the search that are heard before it is ended, and how many may pass in a
# row that bring no gain worth having.
MOST_REPORTS = 450
PATIENCE = 24
GAIN = 0.004
# Only so that a hopeless search ends; the counts above end every ordinary one first.
SECONDS = 60


@dataclass(frozen=True)
class StripPlace:
    """Where one copy of a shape lies in the strip: turned (degrees) about its origin, then moved."""

    name: str
    turn: float
    x: float
    y: float


def nest_in_strip(
    shapes: dict[str, list[tuple[float, float]]],
    height: float,
    turns: list[float] | None,
    effort: float = 1.0,
) -> tuple[float, list[StripPlace]]:
    """Place every shape once in a strip of fixed height, as short as can be.

    Parameters
    ----------
    shapes : dict of str to list of (x, y)
        Closed outlines, mm, without holes.
    height : float
        Height of the strip, mm; every shape must fit it in one of the turns.
    turns : list of float or None
        Allowed turns in degrees; None lets shapes turn freely.
    effort : float
        How much work to spend, 1.0 = ordinary.

    Returns
    -------
    length : float
        The length of strip used, mm.
    places : list of StripPlace
        One per shape, in the order of `shapes`.

    Raises
    ------
    RuntimeError
        If the nesting library fails.

    Notes
    -----
    The search is that of the `spyrrow` library (guided local search over collisions,
    J. Gardeyn, G. Vanden Berghe, T. Wauters, 2025).
    """
    question = {"shapes": shapes, "height": height, "turns": turns, "effort": effort}
    done = subprocess.run(
        [sys.executable, "-P", str(Path(__file__).resolve())],
        input=json.dumps(question),
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise RuntimeError(f"nesting failed: {done.stderr.strip()[-400:]}")
    answer = json.loads(done.stdout)
    by_name = {row[0]: StripPlace(*row) for row in answer["places"]}
    return float(answer["length"]), [by_name[name] for name in shapes]


def _search(question: dict) -> dict:
    import spyrrow

    items = [
        spyrrow.Item(name, [(x, y) for x, y in shape], demand=1, allowed_orientations=question["turns"])
        for name, shape in question["shapes"].items()
    ]
    strip = spyrrow.StripPackingInstance("sheet", strip_height=question["height"], items=items)
    config = spyrrow.StripPackingConfig(
        early_termination=True, total_computation_time=SECONDS, num_workers=1, seed=SEED
    )
    reports = spyrrow.ProgressQueue()
    ended: list[object] = []

    def work() -> None:
        try:
            ended.append(strip.solve(config, progress=reports))
        except BaseException as error:
            ended.append(error)

    threading.Thread(target=work, daemon=True).start()
    best = None
    heard = idle = 0
    mark = float("inf")
    while True:
        over = bool(ended)
        for kind, found in reports.drain():
            if kind == spyrrow.ReportType.Final:
                continue
            heard, idle = heard + 1, idle + 1
            feasible = kind in (spyrrow.ReportType.ExplFeas, spyrrow.ReportType.CmprFeas)
            if feasible and (best is None or found.width < best.width):
                best = found
                if found.width < mark * (1.0 - GAIN):
                    mark, idle = found.width, 0
            if best and (heard >= MOST_REPORTS * question["effort"] or idle >= PATIENCE * question["effort"]):
                over = True
                break
        if over:
            break
        time.sleep(0.01)
    if best is None:
        raise RuntimeError(str(ended[0]))
    return {
        "length": best.width,
        "places": [[p.id, p.rotation, *p.translation] for p in best.placed_items],
    }


if __name__ == "__main__":
    print(json.dumps(_search(json.load(sys.stdin))), flush=True)
    # The search goes on in its thread until its clock runs out; nothing more is wanted of it.
    os._exit(0)
