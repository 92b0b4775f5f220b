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
# Reports of the search that are heard before it is ended, and how many failures in a row.
MOST_REPORTS = 400
PATIENCE = 6
# Only so that a hopeless search ends; the counts above end every ordinary one first.
SECONDS = 120


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
    enough: float = 0.0,
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
    enough : float
        A length that needs no shortening, mm: the search ends once it is reached.

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
    The search is that of the `spyrrow` library, which wraps the heuristic of "An
    open-source heuristic to reboot 2D nesting research" (2025, arXiv:2509.13329).
    """
    question = {"shapes": shapes, "height": height, "turns": turns, "effort": effort, "enough": enough}
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
    heard = failed = 0
    most, patience = MOST_REPORTS * question["effort"], PATIENCE * question["effort"]
    while True:
        over = bool(ended)
        for kind, found in reports.drain():
            if kind == spyrrow.ReportType.Final:
                continue
            heard += 1
            if kind in (spyrrow.ReportType.ExplFeas, spyrrow.ReportType.CmprFeas):
                failed = 0
                if best is None or found.width < best.width:
                    best = found
            else:
                failed += 1
            if best is None:
                continue
            if heard >= most or failed >= patience or best.width <= question["enough"]:
                over = True
                break
        if over:
            break
        time.sleep(0.005)
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
