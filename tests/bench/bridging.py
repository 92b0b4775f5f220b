"""How close bridged regions come to the same body without its details: python tests/bench/bridging.py."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "regions"))

from bridged_bodies import CASES
from bridging_truth import compare


def main() -> None:
    print(f"{'':44} {'details':>9} {'outline mm':>10} {'area %':>8} {'stretch %':>9} {'CPU s':>6}")
    for case in CASES:
        if len(sys.argv) > 1 and not any(word in case.name for word in sys.argv[1:]):
            continue
        start = time.process_time()
        found = compare(case)
        wanted = "" if case.count is None else f"/{case.count}"
        good = found.holds and case.count in (None, found.count)
        print(
            f"{case.name:44} {str(found.count) + wanted:>9} {found.outline:10.4f} {100 * found.area:8.4f} "
            f"{100 * found.stretch:9.5f} {time.process_time() - start:6.2f}{'' if good else '   SHORT'}"
        )


if __name__ == "__main__":
    main()
