"""Nobody overwrites anybody silently, nothing that is sent harms, and no stranger gets in."""

from __future__ import annotations

import http.server
import json
import os
import threading
import tomllib
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from urllib.parse import quote, urlsplit

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from prism_body import APOTHEM, prism
from visiting import CHROMIUM, QUIET, Visit, needs_chromium, playwright

from unwrap.body.read import load_body
from unwrap.body.views import draw_view, write_view_svg
from unwrap.page import uploads
from unwrap.page.job_text import change
from unwrap.page.server import Serving
from unwrap.page.session import Session, Stale


def speaking_to(serving: Serving) -> httpx.Client:
    parts = urlsplit(serving.address)
    return httpx.Client(
        base_url=serving.address, headers={"Origin": f"{parts.scheme}://{parts.netloc}"}, timeout=30
    )


@pytest.fixture
def page(serving: Serving) -> Iterator[httpx.Client]:
    with speaking_to(serving) as client:
        yield client


def state(page: httpx.Client) -> dict:
    return page.get("state").json()


def names(job: Path) -> list[str]:
    return [region["name"] for region in tomllib.loads(job.read_text()).get("region", [])]


# ------------------------------------------------------------------ two at once


def add(page: httpx.Client, revision: int, name: str) -> httpx.Response:
    asked = {"revision": revision, "what": "add region", "name": name, "values": {"at": [0, APOTHEM, 0]}}
    return page.post("change", json=asked)


def test_two_programs_on_one_job_overwrite_nothing(job: Path) -> None:
    with Serving(job) as one, Serving(job) as two, speaking_to(one) as first, speaking_to(two) as second:
        seen = state(second)["revision"]
        assert add(first, state(first)["revision"], "mine").status_code == 200
        refused = add(second, seen, "other")
        assert refused.status_code == 409 and "Another program" in refused.json()["error"]
        assert names(job) == ["mine"]
        now = state(second)
        assert [region["name"] for region in now["regions"]] == ["mine"]
        assert add(second, now["revision"], "other").status_code == 200
        assert names(job) == ["mine", "other"]
        # The steps of both are there for both.
        revision = state(first)["revision"]
        for left in (["mine"], []):
            revision = first.post("step", json={"revision": revision, "steps": -1}).json()["revision"]
            assert names(job) == left


def test_many_changes_at_once_are_all_there(job: Path) -> None:
    def insist(session: Session, name: str) -> None:
        while True:
            try:
                session.do(session.revision, "add region", {"name": name, "values": {"at": [0, 0, 0]}})
                return
            except Stale:
                continue

    def work(who: str) -> None:
        session = Session(job)
        for number in range(8):
            insist(session, f"{who} {number}")

    workers = [threading.Thread(target=work, args=(who,)) for who in "abc"]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(names(job)) == sorted(f"{who} {number}" for who in "abc" for number in range(8))
    assert not list(job.parent.glob(".*.held"))


def test_a_program_that_was_stopped_while_writing_keeps_nobody_out(job: Path) -> None:
    held = job.with_name(f".{job.name}.held")
    held.touch()
    os.utime(held, (0, 0))
    session = Session(job)
    session.do(session.revision, "add region", {"name": "side", "values": {"at": [0, 0, 0]}})
    assert names(job) == ["side"] and not held.exists()


def test_news_tell_of_a_file_that_was_changed_by_hand(page: httpx.Client, job: Path) -> None:
    before = state(page)
    job.write_text(change(job.read_text(), "set section", section="job", values={"name": "by hand"}))
    news = page.get(f"news?after={before['events'] + 100}").json()
    assert news["revision"] > before["revision"]
    assert state(page)["name"] == "by hand"


@needs_chromium
def test_windows_of_two_programs_show_the_same(browser: playwright.Browser, job: Path) -> None:
    with Serving(job) as one, Serving(job) as two:
        mine, other = Visit(browser, one), Visit(browser, two)
        mine.mark("Left", (0.0, APOTHEM, 0.0))
        other.wait_for_regions(1)
        other.press("Remove this region")
        mine.wait_for_regions(0)
        for visit in (mine, other):
            assert not visit.faults
            visit.context.close()


@needs_chromium
def test_a_page_that_hears_nothing_overwrites_nothing(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.page.route("**/news*", lambda route: None)  # as on a computer that was asleep
    visit.page.reload()
    visit.ready()
    job.write_text(job.read_text().replace('name = "prism"', 'name = "by hand"'))
    visit.press("Remove this region")
    alert = visit.page.get_by_role("alert")
    alert.wait_for()
    assert "Another program" in alert.inner_text()
    visit.until("document.querySelector('h1').textContent === 'by hand'")
    assert "[[region]]" in job.read_text()


# ------------------------------------------------------------------ what is dropped


def test_a_body_that_is_too_large_is_not_read(
    page: httpx.Client, job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = sorted(path.name for path in job.parent.iterdir())
    data = prism().export(file_type="stl")
    address = f"body?revision={state(page)['revision']}&name=a.stl"
    monkeypatch.setattr(uploads, "load_body", partial(load_body, max_faces=20))
    answer = page.post(address, content=data)  # 28 faces
    assert answer.status_code == 400 and "20" in answer.json()["error"]
    monkeypatch.setattr(uploads, "LARGEST_BODY_BYTES", 1_000_000)
    answer = page.post(address, content=(b"." * 100_000 for _ in range(30)))
    assert answer.status_code == 400 and "1 MB" in answer.json()["error"]
    assert sorted(path.name for path in job.parent.iterdir()) == before


DANGERS = {
    "script": "<script>window.ran = 1</script>",
    "a file of scripts": '<script href="http://127.0.0.1:9/x.js"/>',
    "what runs on loading": '<circle r="1" onload="window.ran = 1"/>',
    "what runs when it is drawn": '<animate onbegin="window.ran = 1" attributeName="x" dur="1s"/>',
    "another document": "<foreignObject><p xmlns='http://www.w3.org/1999/xhtml'/></foreignObject>",
    "a picture elsewhere": '<image href="http://127.0.0.1:9/a.png" width="1" height="1"/>',
    "a file of the user's": '<image href="file:///etc/passwd" width="1" height="1"/>',
    "a symbol elsewhere": '<use href="http://127.0.0.1:9/a.svg#b"/>',
    "a style elsewhere": "<style>@import url(http://127.0.0.1:9/a.css);</style>",
    "a paint elsewhere": '<circle r="1" fill="url(http://127.0.0.1:9/a.svg#b)"/>',
}


@pytest.fixture
def drawing(job: Path) -> str:
    """A view drawing with a place for something in its group of livery."""
    path = job.parent.parent / "left.svg"
    write_view_svg(draw_view(load_body(job.with_name("prism.stl")), "left"), path)
    return path.read_text().replace('<g id="livery"/>', '<g id="livery"><!-- here --></g>')


def drop(page: httpx.Client, data: bytes) -> httpx.Response:
    return page.post(f"artwork?revision={state(page)['revision']}&name=a.svg&view=left", content=data)


def test_what_could_run_in_a_drawing_is_refused(page: httpx.Client, job: Path, drawing: str) -> None:
    before = sorted(path.name for path in job.parent.iterdir())
    for danger in DANGERS.values():
        answer = drop(page, drawing.replace("<!-- here -->", danger).encode())
        assert answer.status_code == 400, danger
        assert len(answer.json()["error"].splitlines()) == 1
    assert sorted(path.name for path in job.parent.iterdir()) == before
    assert drop(page, drawing.replace("<!-- here -->", '<circle r="1"/>').encode()).status_code == 200


# ------------------------------------------------------------------ anything at all

anything = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**12), 10**12) | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
KEYS = ["name", "values", "kind", "number", "section", "at", "flat", "origin", "direction", "face", "crease"]
WHATS = [
    "add region",
    "set region",
    "remove region",
    "add mark",
    "set mark",
    "set section",
    "remove mark",
    "leave out place",
    "add place",
    "trim region",
]
asked = st.dictionaries(st.sampled_from([*KEYS, "within", "also", "steps", "pieces"]), anything, max_size=6)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    asked, st.sampled_from(WHATS), st.sampled_from(["change", "step", "try", "pick", "point", "first-look"])
)
def test_whatever_is_asked_gets_an_answer(
    page: httpx.Client, job: Path, sent: dict, what: str, address: str
) -> None:
    sent = sent | {"what": what, "revision": state(page)["revision"]}
    answer = page.post(address, content=json.dumps(sent).encode())
    assert answer.status_code < 500, (sent, answer.text)
    assert answer.status_code == 200 or len(answer.json()["error"].splitlines()) == 1
    Session(job).job()  # whatever was changed, it is a job


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=20), st.sampled_from(["static/", "made/", "piece/", "region/", "", "news?after="]))
def test_whatever_address_is_tried_gives_nothing_away(page: httpx.Client, name: str, below: str) -> None:
    if below == "news?after=":
        name += "x"  # a true count would be waited for
    answer = page.get(below + quote(name, safe=""))
    assert answer.status_code in (200, 400, 404, 405)
    assert b"[body]" not in answer.content or below == ""


# ------------------------------------------------------------------ strangers in a browser


# What a page of another origin may try, though it knows the address.
TRY = """async (address) => {
  const said = [], values = { name: 'taken' };
  const body = JSON.stringify({ revision: 0, what: 'set section', section: 'job', values });
  for (const how of [{ method: 'POST', body, mode: 'no-cors' }, { method: 'POST', body }, {}]) {
    const to = address + (how.body ? 'change' : 'state');
    said.push(await fetch(to, how).then((response) => response.type, () => 'refused'));
  }
  const frame = document.createElement('iframe');
  frame.src = address;
  document.body.append(frame);
  await new Promise((later) => { frame.onload = later; });
  let inside = 'nothing';
  try { inside = frame.contentDocument.title; } catch { /* of another origin */ }
  return [...said, inside];
}"""


class Stranger(http.server.BaseHTTPRequestHandler):
    """Another program's page on this computer."""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>A stranger</title>")

    def log_message(self, *_: object) -> None:
        pass


@needs_chromium
def test_a_stranger_reaches_nothing_though_it_knows_the_address(
    browser: playwright.Browser, serving: Serving, job: Path
) -> None:
    text = job.read_text()
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Stranger)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    named = "--host-resolver-rules=MAP stranger.example 127.0.0.1"  # as a stranger's name server may say
    other = browser.browser_type.launch(executable_path=CHROMIUM, headless=True, args=[*QUIET, named])
    page = other.new_page()
    page.goto(f"http://127.0.0.1:{server.server_address[1]}/")
    tried = page.evaluate(TRY, serving.address)
    assert set(tried[:3]) <= {"opaque", "refused"} and tried[3] in ("nothing", "")
    answer = page.goto(serving.address.replace("127.0.0.1", "stranger.example"))
    assert answer is not None and answer.status == 421
    other.close()
    server.shutdown()
    server.server_close()
    assert job.read_text() == text
