from __future__ import annotations

from pathlib import Path

from unwrap.page.history import History, write_safely


def test_steps_outlive_the_program(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    before = History(path)
    for text in ("one", "two", "three"):
        before.add(text)
    assert before.move(-1) == "two"
    after = History(path)
    assert (after.text, after.can_undo, after.can_redo) == ("two", True, True)
    assert after.move(1) == "three"
    assert after.move(1) is None


def test_a_change_after_undo_forgets_what_was_undone(tmp_path: Path) -> None:
    history = History(tmp_path / "job.toml")
    for text in ("one", "two"):
        history.add(text)
    history.move(-1)
    history.add("other")
    assert history.texts == ["one", "other"] and not history.can_redo


def test_a_spoilt_file_of_steps_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / ".job.toml.steps").write_text('{"now": 9, "texts": [')
    history = History(tmp_path / "job.toml")
    assert history.text is None and not history.can_undo


def test_writing_leaves_no_other_file(tmp_path: Path) -> None:
    write_safely(tmp_path / "a.toml", "x = 1\n")
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]
    assert (tmp_path / "a.toml").read_bytes() == b"x = 1\n"
