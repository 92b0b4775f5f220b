"""Pieces worked out for the page: what comes first, what is kept, and regions that come in parts."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import trimesh
from prism_body import APOTHEM, SIDE

from unwrap.errors import BadInput
from unwrap.page import telling, working_out
from unwrap.page.aside import Aside, Dropped, wanted_while
from unwrap.page.bench_work import BenchWork
from unwrap.page.job_text import change
from unwrap.page.session import Session, mark_named
from unwrap.page.shown import piece_bytes
from unwrap.page.working_out import Worked, WorkingOut

SIDES = f"""
[[region]]
name = "left"
at = [0, {APOTHEM}, 0]
[[region]]
name = "top"
at = [0, 0, {APOTHEM}]
[[fill]]
region = ["left", "top"]
colour = "#224466"
"""
FLARE = """
[job]
name = "Flare"
scale = "1:76.2"
[body]
file = "flare.stl"
[film]
state = "softened"
[[region]]
name = "flare"
at = [0, 0, 0]
crease = 80
[[region]]
name = "other"
mirror_of = "flare"
[[fill]]
region = "flare"
colour = "#224466"
[[lining]]
region = "flare"
inset = 2
lines = [{ width = 0.6, colour = "#e8d9a0" }]
"""


def even_saddle(size: float, depth: float, steps: int) -> trimesh.Trimesh:
    """z = depth (x^2 - y^2) / (size/2)^2 over a square, meshed alike on both sides of the middle plane."""
    half = size / 2
    x, y = (axis.ravel() for axis in np.meshgrid(*2 * [np.linspace(-half, half, steps + 1)], indexing="ij"))
    row, column = (axis.ravel() for axis in np.indices((steps, steps)))
    a = row * (steps + 1) + column
    b, c, d = a + steps + 1, a + steps + 2, a + 1
    left = (column >= steps // 2)[:, None]
    one = np.where(left, np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    two = np.where(left, np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    places = np.column_stack([x, y, depth * (x * x - y * y) / half**2])
    return trimesh.Trimesh(places, np.concatenate([one, two]), process=False)


def answers(out: WorkingOut, name: str) -> Iterator[Worked]:
    job = out.session.job()
    mark = mark_named(job, name)
    key = out.key(job, mark)
    yield from out.at_once(job, mark, key)
    yield out.whole(job, mark, key)


def worked(out: WorkingOut, name: str) -> list[Worked]:
    return list(answers(out, name))


def put(out: WorkingOut, what: str, **how: object) -> None:
    session = out.session
    session.do(session.revision, what, how)


@pytest.fixture(scope="module")
def aside() -> Iterator[Aside]:
    helper = Aside()
    yield helper
    helper.stop()


@pytest.fixture
def sides(job: Path, aside: Aside) -> WorkingOut:
    job.write_text(job.read_text() + SIDES)
    return WorkingOut(Session(job), aside)


def test_a_first_shape_comes_before_the_piece(sides: WorkingOut) -> None:
    first, full = worked(sides, "left")
    assert (first.first, full.first) == (True, False)
    assert first.pieces[0].outline.area == pytest.approx(full.pieces[0].outline.area)
    assert [paint.colour for paint in first.pieces[0].paints] == ["#224466"]
    assert full.pieces[0].flat.bound == pytest.approx(1.0)


@pytest.fixture
def flattened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the regions that were flattened."""
    names: list[str] = []
    for name in ("lay_flat_at_once", "cut_cost"):
        true = getattr(working_out, name)

        def counting(job, mark, *rest, true=true):
            names.append(mark.name)
            return true(job, mark, *rest)

        monkeypatch.setattr(working_out, name, counting)
    return names


def test_a_fitting_changes_the_piece_that_it_stands_on(sides: WorkingOut, flattened: list[str]) -> None:
    before = {name: worked(sides, name)[-1] for name in ("left", "top")}
    flattened.clear()
    put(sides, "add mark", kind="fitting", values={"at": [10, APOTHEM, 1], "diameter": 1})
    after = {name: worked(sides, name)[-1] for name in ("left", "top")}
    assert flattened == []
    assert len(after["left"].pieces[0].slits) == len(before["left"].pieces[0].slits) + 1
    assert len(after["top"].pieces[0].slits) == len(before["top"].pieces[0].slits)
    assert before["left"].pieces[0].paints[0].colour == after["left"].pieces[0].paints[0].colour


def test_the_sheet_s_settings_leave_the_pieces_as_they_are(sides: WorkingOut) -> None:
    def keys() -> list[str]:
        job = sides.session.job()
        return [sides.key(job, mark) for mark in job.region]

    before = keys()
    put(
        sides, "set section", section="print", values={"margin": 5, "inks": ["black", "white"], "sheet": "A5"}
    )
    assert keys() == before
    put(sides, "set section", section="print", values={"min_line": 0.4})
    assert keys() != before


def test_one_region_s_crease_leaves_the_other_alone(sides: WorkingOut, flattened: list[str]) -> None:
    for name in ("left", "top"):
        worked(sides, name)
    flattened.clear()
    put(sides, "set region", name="top", values={"crease": 30})
    for name in ("left", "top"):
        worked(sides, name)
    assert set(flattened) == {"top"}


@pytest.fixture(scope="module")
def flare(tmp_path_factory: pytest.TempPathFactory, aside: Aside) -> WorkingOut:
    folder = tmp_path_factory.mktemp("flare")
    even_saddle(60.0, 12.0, 8).export(folder / "flare.stl")
    (folder / "job.toml").write_text(FLARE)
    return WorkingOut(Session(folder / "job.toml"), aside)


def test_a_parted_region_is_shown_in_its_parts(flare: WorkingOut) -> None:
    *_, full = worked(flare, "flare")
    assert [piece.name for piece in full.pieces] == ["flare 1 of 2", "flare 2 of 2"]
    area = flare.session.on_bench().body.areas.sum()
    assert sum(piece.flat.areas.sum() for piece in full.pieces) == pytest.approx(area, rel=1e-6)
    for one, other in pairwise(full.pieces):
        assert one.outline.bounds[2] < other.outline.bounds[0]  # side by side
    shown = telling.pieces(full)
    assert shown["high"][0] == pytest.approx(full.pieces[-1].outline.bounds[2])
    counts = np.frombuffer(piece_bytes([piece.flat for piece in full.pieces])[:16], "<u4")
    assert counts[2] == sum(len(piece.flat.faces) for piece in full.pieces)
    # the line goes round the whole: on each part it is there, and not along the parting
    lines = [sum(p.kind == "line" for p in piece.paints) for piece in full.pieces]
    assert lines == [1, 1]


def test_the_reflection_of_a_parted_region_comes_in_as_many(flare: WorkingOut) -> None:
    original = worked(flare, "flare")[-1]
    reflected = worked(flare, "other")[-1]
    assert reflected.error is None
    assert [piece.name for piece in reflected.pieces] == ["other 1 of 2", "other 2 of 2"]
    for one, other in zip(original.pieces, reflected.pieces, strict=True):
        assert other.outline.area == pytest.approx(one.outline.area, rel=1e-6)


def test_former_cuts_are_shown_at_once_where_livery_moves_them(flare: WorkingOut) -> None:
    worked(flare, "flare")
    text = change(
        flare.session.text,
        "add mark",
        kind="lining",
        values={"region": "flare", "inset": 5, "lines": [{"width": 0.5, "colour": "#ff0000"}]},
    )
    flare.session.path.write_text(text)
    flare.session.follow_file()
    first = next(answers(flare, "flare"))
    assert first.first and len(first.pieces) == 2
    assert any(paint.colour == "#ff0000" for piece in first.pieces for paint in piece.paints)


def test_what_is_wanted_no_more_is_not_waited_for(sides: WorkingOut, monkeypatch: pytest.MonkeyPatch) -> None:
    begun = threading.Event()
    whole = WorkingOut.whole

    def first_without_end(out: WorkingOut, *task) -> Worked:
        if not begun.is_set():
            begun.set()
            out.aside.call(time.sleep, 3600)
        return whole(out, *task)

    monkeypatch.setattr(WorkingOut, "whole", first_without_end)
    session, work = sides.session, BenchWork(sides.session)
    work.get_ready()
    assert begun.wait(60)
    busy = work.busy
    session.do(session.revision, "set region", {"name": busy, "values": {"within": {"x": [-10, 10]}}})
    work.wake()
    full = wait_for(work, busy, work.out.key(session.job(), mark_named(session.job(), busy)))
    assert full.pieces[0].flat.areas.sum() == pytest.approx(20 * SIDE, rel=1e-3)
    work.stop()


def test_a_helper_is_ended_in_the_middle_of_its_work(aside: Aside) -> None:
    first = aside.call(os.getpid)
    assert first != os.getpid()
    threading.Timer(0.3, aside.drop).start()
    with pytest.raises(Dropped):
        aside.call(time.sleep, 3600)
    assert aside.call(os.getpid) != first
    aside.drop()  # nothing is worked out: nothing happens
    with pytest.raises(BadInput, match="memory"):
        aside.call(os.abort)  # as where a helper is ended for want of memory
    with pytest.raises(Dropped), wanted_while(lambda: False):
        aside.call(os.getpid)
    with pytest.raises(ValueError, match="invalid literal"):
        aside.call(int, "one")


def wait_for(work: BenchWork, name: str, key: str) -> Worked:
    for _ in range(600):
        found = work.result(name)
        if found is not None and found.key == key:
            return found
        work.wait_for_news(work.events, 0.1)
    raise AssertionError("this never came")


def test_a_change_shows_though_the_former_piece_is_still_worked_out(
    sides: WorkingOut, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()
    whole = WorkingOut.whole

    def slow(out: WorkingOut, *task) -> Worked:
        begun.set()
        assert go_on.wait(60)
        return whole(out, *task)

    monkeypatch.setattr(WorkingOut, "whole", slow)
    session, work = sides.session, BenchWork(sides.session)
    work.get_ready()
    assert begun.wait(60)
    session.do(session.revision, "set region", {"name": "left", "values": {"within": {"x": [-10, 10]}}})
    work.wake()

    def key_of(name: str) -> str:
        return work.out.key(session.job(), mark_named(session.job(), name))

    first = wait_for(work, "left", f"first of {key_of('left')}")
    assert first.pieces[0].outline.area == pytest.approx(20 * SIDE, rel=1e-3)
    go_on.set()  # what was worked out for the former state is not taken for the present one
    full = wait_for(work, "left", key_of("left"))
    assert full.pieces[0].flat.areas.sum() == pytest.approx(20 * SIDE, rel=1e-3)
    work.stop()
