"""A run that is stopped, killed, or finds no room leaves the folder as it was."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import trimesh

JOB = """
[job]
name = "barrel"
scale = "1:76.2"
[body]
file = "barrel.stl"
[[region]]
name = "barrel"
at = [0, 8, 0]
"""
MAKE = [sys.executable, "-m", "unwrap.cli", "make"]
OLD = {
    "report.json": "the old report",
    "sheet-1.svg": "the old sheet",
    "sheet-7.svg": "one more",
    "mine.txt": "x",
}

pytestmark = pytest.mark.skipif(os.name == "nt", reason="sends signals")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    turned = trimesh.transformations.rotation_matrix(1.5707963267948966, [0, 1, 0])
    body = trimesh.creation.cylinder(radius=8.0, height=40.0, sections=48, transform=turned)
    body.export(tmp_path / "barrel.stl")
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "out").mkdir()
    for name, text in OLD.items():
        (tmp_path / "out" / name).write_text(text)
    return tmp_path / "job.toml"


def left(out: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in out.iterdir() if path.is_file()}


def begin(job: Path, **more: object) -> subprocess.Popen[str]:
    command = [*MAKE, str(job), "--out", str(job.parent / "out")]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)


def wait_for(out: Path, pattern: str, process: subprocess.Popen[str]) -> None:
    while not list(out.glob(pattern)):
        assert process.poll() is None, process.communicate()
        time.sleep(0.01)


@pytest.mark.parametrize(
    ("sent", "moment"), [(signal.SIGINT, ".unwrap-new-*/trial-1.svg"), (signal.SIGTERM, ".unwrap-new-*")]
)
def test_a_stopped_run_says_so_and_changes_nothing(job: Path, sent: signal.Signals, moment: str) -> None:
    out = job.parent / "out"
    process = begin(job)
    wait_for(out, moment, process)
    process.send_signal(sent)
    said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert said == ("", "Stopped; nothing was changed.\n")
    assert left(out) == OLD
    assert [path.name for path in out.iterdir() if path.is_dir()] == []


def test_a_run_stopped_while_it_begins_says_the_same(job: Path) -> None:
    # The signal comes in the first import that the command does.
    code = (
        "import os, signal, sys, unwrap.cli\n"
        "class Sender:\n"
        "    def find_spec(self, name, *rest):\n"
        "        if name == 'typer': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Sender())\n"
        "unwrap.cli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", code, "--help"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (130, "Stopped; nothing was changed.\n")


def test_a_killed_run_changes_nothing_and_the_next_one_is_whole(job: Path) -> None:
    out = job.parent / "out"
    process = begin(job)
    wait_for(out, ".unwrap-new-*/sheet-1.svg", process)
    process.kill()
    process.communicate(timeout=60)
    assert left(out) == OLD
    process = begin(job)
    process.communicate(timeout=120)
    assert process.returncode == 0
    found = {path.name for path in out.iterdir() if path.is_file()}
    assert {"report.json", "sheet-1.svg", "proof.png", "guide.html", "mine.txt"} <= found
    assert "sheet-7.svg" not in found


def test_a_full_disk_is_one_sentence_and_changes_nothing(job: Path) -> None:
    import resource

    def no_room() -> None:  # a file may grow to 20 kB: the proof finds no room
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    process = begin(job, preexec_fn=no_room)
    _, complaint = process.communicate(timeout=120)
    assert process.returncode == 2
    assert "writing failed" in complaint
    assert len(complaint.strip().splitlines()) == 1
    assert left(job.parent / "out") == OLD
