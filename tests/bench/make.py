"""How long a job of ten regions takes on a half-million-face shell, stage by stage, and how much memory.

Run as ``python tests/bench/make.py [faces]``. The shell is the sample tank engine, refined without
changing its shape; the job is its example with three regions more.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from look import SAMPLE, refined

from unwrap.body import load_body
from unwrap.make import make

EXAMPLE = SAMPLE.parents[1] / "examples" / "tank_engine" / "job.toml"
MORE = """
[[region]]
name = "beam"
at = [53.0, 1.13, 11.81]

[[region]]
name = "bunker_rear"
at = [-51.0, -0.4, 26.9]
within = { x = [-60, -47.6] }

[[region]]
name = "cab_front"
at = [-16.0, 0.37, 41.12]

[[fill]]
region = ["beam", "bunker_rear", "cab_front"]
colour = "#7a1f2b"
"""


def main() -> None:
    """Measure and print."""
    faces = int(float(sys.argv[1])) if len(sys.argv) > 1 else 500_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        mesh = refined(load_body(SAMPLE), faces)
        (folder / "shell.stl").write_bytes(mesh.export(file_type="stl"))
        text = EXAMPLE.read_text().replace("../../meshes/tank_engine.stl", "shell.stl")
        text = text.replace('sheet = "A5"', 'sheet = "A4"')
        (folder / "job.toml").write_text(text + MORE)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        wall, cpu = time.perf_counter(), _processor()
        result = make(folder / "job.toml", folder / "out", tell=_told)
        wall, cpu = time.perf_counter() - wall, _processor() - cpu
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{len(mesh.faces)} faces, {len(result.pieces)} pieces")
        print(f"make: {wall:.1f} s ({cpu:.1f} s of processor), peak {peak:.0f} MB; before it {before:.0f} MB")
        for stage, seconds in result.report["seconds"].items():
            print(f"  {stage:10s} {seconds:6.2f} s {100 * seconds / wall:5.1f} %")


def _processor() -> float:
    """Seconds of processor that this process and its helpers have used."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _told(text: str, share: float) -> None:
    print(f"{time.process_time():7.1f} {share:4.2f} {text}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
