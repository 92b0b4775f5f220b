"""What the page keeps: files made, bodies dropped, other windows, and a program that was stopped."""

from __future__ import annotations

import re
from functools import partial
from pathlib import Path

import pytest
from prism_body import APOTHEM, LENGTH, prism
from visiting import PATIENCE, Visit, needs_chromium, playwright

import unwrap.results
from unwrap.make import make
from unwrap.page.server import Serving

pytestmark = needs_chromium


def test_make_gives_what_the_command_gives(
    visit: Visit, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, width in (("draw_proof", 200), ("lettered_views", 120)):  # small pictures are soon drawn
        monkeypatch.setattr(unwrap.results, name, partial(getattr(unwrap.results, name), width=width))
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Add fill")
    visit.until("window.markingPage.state().fill.length === 1")
    visit.press("Make the sheets")
    picture = visit.page.get_by_role("img", name=re.compile("sheet-1.svg"))
    picture.wait_for(timeout=4 * PATIENCE)  # the proof is drawn meanwhile
    visit.until("document.querySelector('#made img').naturalWidth > 0")
    policy = visit.page.request.get(visit.serving.address + "made/sheet-1.svg").headers[
        "content-security-policy"
    ]
    assert "sandbox" in policy and "'self'" not in policy.split(",")[0]
    made = job.with_name("job-sheets")
    make(job, tmp_path / "again")
    assert (made / "sheet-1.svg").read_bytes() == (tmp_path / "again" / "sheet-1.svg").read_bytes()
    visit.press("Next")
    assert "2 of" in visit.page.locator("#made").inner_text()
    visit.look_for_faults()
    visit.press("Back to the body")
    assert visit.page.locator("#body").is_visible() and not visit.page.locator("#made").is_visible()


def test_a_body_is_loaded_by_upload(visit: Visit, job: Path, tmp_path: Path) -> None:
    bigger = tmp_path / "elsewhere" / "bigger.stl"
    bigger.parent.mkdir()
    bigger.write_bytes(prism().apply_scale(1.5).export(file_type="stl"))
    visit.page.locator("details[data-key=body] summary").click()
    visit.page.locator("#body-file").set_input_files(bigger)
    visit.until("window.markingPage.state().source.file === 'bigger.stl'")
    assert visit.state()["body"]["high"][0] == pytest.approx(0.75 * LENGTH)
    assert (job.parent / "bigger.stl").exists()


def test_what_is_no_body_is_a_sentence(visit: Visit, tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"solid nothing here")
    visit.page.locator("details[data-key=body] summary").click()
    visit.page.locator("#body-file").set_input_files(broken)
    alert = visit.page.get_by_role("alert")
    alert.wait_for()
    assert "broken.stl" in alert.inner_text() and "Traceback" not in alert.inner_text()


def test_two_windows_show_the_same(browser: playwright.Browser, visit: Visit) -> None:
    other = Visit(browser, visit.serving)
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    other.wait_for_regions(1)
    other.context.close()


def test_a_page_that_is_behind_changes_nothing(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    text = job.read_text()
    visit.page.evaluate("window.markingPage.state().revision -= 1")  # as if news had not come yet
    visit.press("Remove this region")
    alert = visit.page.get_by_role("alert")
    alert.wait_for()
    assert "Another window" in alert.inner_text()
    assert job.read_text() == text and len(visit.state()["regions"]) == 1


def test_nothing_is_lost_when_the_program_is_stopped(browser: playwright.Browser, job: Path) -> None:
    with Serving(job) as serving:
        visit = Visit(browser, serving)
        visit.mark("Left", (0.0, APOTHEM, 0.0))
    alert = visit.page.get_by_role("alert")
    alert.wait_for()
    assert "start it again" in alert.inner_text()
    visit.context.close()
    with Serving(job) as serving:
        visit = Visit(browser, serving)
        assert len(visit.state()["regions"]) == 1
        visit.press("Undo")  # a step of the former program
        visit.wait_for_regions(0)
        visit.press("Redo")
        visit.wait_for_regions(1)
        visit.context.close()
