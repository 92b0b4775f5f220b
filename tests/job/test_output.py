"""Results are written all at once or not at all."""

from pathlib import Path

import pytest

from unwrap.errors import BadInput
from unwrap.output import all_at_once


def contents(folder: Path) -> dict[str, str]:
    return {p.relative_to(folder).as_posix(): p.read_text() for p in folder.rglob("*") if p.is_file()}


def write(folder: Path, **files: str) -> None:
    for name, text in files.items():
        (folder / f"{name}.svg").write_text(text)


def test_a_new_folder_gets_the_files(tmp_path: Path) -> None:
    out = tmp_path / "a" / "out"
    with all_at_once(out) as staging:
        write(staging, one="1", two="2")
    assert contents(out) == {"one.svg": "1", "two.svg": "2"}


def test_older_results_go_and_other_files_stay(tmp_path: Path) -> None:
    write(tmp_path, sheet_1="old", sheet_2="old", mine="kept")
    with all_at_once(tmp_path, stale=("sheet_*.svg",)) as staging:
        write(staging, sheet_1="new")
    assert contents(tmp_path) == {"sheet_1.svg": "new", "mine.svg": "kept"}


@pytest.mark.parametrize("fault", [RuntimeError, KeyboardInterrupt, OSError])
def test_a_failure_while_making_changes_nothing(tmp_path: Path, fault: type[BaseException]) -> None:
    write(tmp_path, sheet_1="old")
    with pytest.raises((fault, BadInput)), all_at_once(tmp_path, stale=("*.svg",)) as staging:
        write(staging, sheet_1="half")
        raise fault()
    assert contents(tmp_path) == {"sheet_1.svg": "old"}
    assert [p.name for p in tmp_path.iterdir()] == ["sheet_1.svg"]


def test_a_failure_leaves_no_folder_behind(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), all_at_once(tmp_path / "new" / "out"):
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("step", range(5))
def test_a_failure_while_replacing_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    write(tmp_path, one="old", two="old")
    real, calls = Path.replace, []

    def breaks(source, target):
        calls.append(source)
        if len(calls) == step + 1:
            raise OSError(28, "No space left on device")
        return real(source, target)

    monkeypatch.setattr("pathlib.Path.replace", breaks)
    with pytest.raises(BadInput, match="No space left"), all_at_once(tmp_path) as staging:
        write(staging, one="new", two="new", three="new")
    assert contents(tmp_path) == {"one.svg": "old", "two.svg": "old"}


def test_a_run_killed_while_replacing_is_put_right_by_the_next(tmp_path: Path) -> None:
    # As a kill leaves it: the old files set aside, one of two new ones in place.
    kept = tmp_path / ".unwrap-old"
    kept.mkdir()
    write(kept, one="old")
    (kept / ".new").write_text("one.svg\ntwo.svg")
    write(tmp_path, two="new")
    with pytest.raises(RuntimeError), all_at_once(tmp_path):
        raise RuntimeError
    assert contents(tmp_path) == {"one.svg": "old"}


def test_a_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with pytest.raises(BadInput, match="this is a file"), all_at_once(tmp_path / "out"):
        pass
