from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from prism_body import JOB, prism
from visiting import CHROMIUM, QUIET, Visit, playwright

from unwrap.page.server import Serving


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "prism.stl").write_bytes(prism().export(file_type="stl"))
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    return path


@pytest.fixture
def serving(job: Path):
    with Serving(job) as running:
        yield running


@pytest.fixture(scope="session")
def browser() -> Iterator[playwright.Browser]:
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, headless=True, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def visit(browser: playwright.Browser, serving: Serving) -> Iterator[Visit]:
    visit = Visit(browser, serving)
    yield visit
    assert not visit.faults
    assert visit.asked and all(url.startswith((serving.address, "blob:")) for url in visit.asked)
    visit.context.close()
