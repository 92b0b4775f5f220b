"""What a user can get wrong: one sentence, status 2, nothing written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from unwrap.cli import main
from unwrap.job import read_job

JOB = """
[job]
name = "barrel"
scale = "1:76.2"
[body]
file = "barrel.stl"
[[region]]
name = "barrel"
at = [0, 8, 0]
[[lining]]
region = "barrel"
inset = 1.0
lines = [{ width = 0.5, colour = "red" }]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    turned = trimesh.transformations.rotation_matrix(1.5707963267948966, [0, 1, 0])
    trimesh.creation.cylinder(radius=8.0, height=40.0, sections=48, transform=turned).export(
        tmp_path / "barrel.stl"
    )
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def run(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr("sys.argv", ["unwrap", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("barrel.stl", "barel.stl", "barel.stl"),
        ("at = [0, 8, 0]", "at = [0, 80, 0]", "nearest surface"),
        ("at = [0, 8, 0]", "at = [0, 8, 0]\nwithin = { x = [5, 9] }", "region"),
        ('region = "barrel"', 'region = "barell"', 'did you mean "barrel"?'),
        ("inset = 1.0", "inset = 60.0", "barrel"),
        ("0.5, colour", "0.5, color", 'did you mean "colour"?'),
        ('scale = "1:76.2"', 'scale = "1:76.2"\n[print]\nsheet = [30, 30]\nmargin = 2', "sheet"),
    ],
)
def test_one_sentence_and_nothing_written(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    old: str,
    new: str,
    said: str,
) -> None:
    (folder / "job.toml").write_text(JOB.replace(old, new, 1))
    before = sorted(folder.iterdir())
    assert run(monkeypatch, "make", folder / "job.toml", "--out", folder / "out") == 2
    error = capsys.readouterr().err
    assert said in error
    assert "Traceback" not in error
    assert sorted(folder.iterdir()) == before


def test_a_body_that_is_none(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "barrel.stl").write_bytes(b"solid nothing\nendsolid nothing\n")
    for command in ("look", "start"):
        assert run(monkeypatch, command, folder / "barrel.stl", "--out", folder / "out") == 2
        assert "barrel.stl" in capsys.readouterr().err
    assert not (folder / "out").exists()


def test_a_job_that_is_there_is_not_overwritten(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, "start", folder / "barrel.stl", "--out", folder) == 2
    assert "there is a job already" in capsys.readouterr().err
    assert (folder / "job.toml").read_text() == JOB


def test_a_failing_job_stops_no_other(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "bad.toml").write_text(JOB.replace("barrel.stl", "gone.stl"))
    words = ("make", folder / "bad.toml", folder / "job.toml", "--out", folder / "out", "--workers", "2")
    assert run(monkeypatch, *words) == 2
    assert (folder / "out" / "job" / "report.json").is_file()
    assert not (folder / "out" / "bad").exists()
    assert "gone.stl" in capsys.readouterr().err


def test_a_first_job_can_be_made_as_it_is(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(monkeypatch, "start", folder / "barrel.stl", "--out", folder / "first") == 0
    assert {p.name for p in (folder / "first").iterdir()} >= {"job.toml", "view-left.svg", "view-top.svg"}
    assert run(monkeypatch, "make", folder / "first" / "job.toml", "--out", folder / "out") in (0, 1)


def test_a_scale_that_is_none_is_named(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in ("look", "start"):
        words = (command, folder / "barrel.stl", "--out", folder / "out", "--scale", "76")
        assert run(monkeypatch, *words) == 2
        assert "--scale: '76' is no scale" in capsys.readouterr().err


def test_a_name_that_is_no_text_is_refused_where_it_would_be_written(folder: Path) -> None:
    body = folder / os.fsdecode(b"barr\xe9l.stl")
    try:
        shutil.copy(folder / "barrel.stl", body)
    except (OSError, UnicodeError):
        pytest.skip("this file system has no such names")
    before = sorted(folder.iterdir())
    for words in (("start", str(body), "--out", "first"), ("mark", str(body))):
        ended = subprocess.run(
            [sys.executable, "-m", "unwrap", *words],
            cwd=folder,
            capture_output=True,
            timeout=100,
            check=False,
        )
        assert ended.returncode == 2
        assert b"letters that are not UTF-8" in ended.stderr and b"Traceback" not in ended.stderr
        assert sorted(folder.iterdir()) == before


def test_a_name_with_signs_that_toml_escapes_can_be_read_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = 'a "small"\tbarrel.stl' if os.name != "nt" else "a 'small' barrel.stl"
    shutil.copy(folder / "barrel.stl", folder / name)
    assert run(monkeypatch, "start", folder / name, "--out", folder / "first") == 0
    job = read_job(folder / "first" / "job.toml")
    assert job.body.file == f"../{name}"
    assert job.job.name == Path(name).stem


def test_a_screen_that_cannot_spell_everything_is_written_to_all_the_same(folder: Path) -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "unwrap", "look", "barrel.stl"],
        cwd=folder,
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii:strict"},
        timeout=100,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert b"area mm?" in ended.stdout
