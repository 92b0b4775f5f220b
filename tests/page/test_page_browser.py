"""The page in a real browser: the system's Chromium, without its graphics processor."""

from __future__ import annotations

import math
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from prism_body import APOTHEM, LENGTH, SIDE

from unwrap.make import make
from unwrap.page.server import Serving

playwright = pytest.importorskip("playwright.sync_api", reason="the playwright package is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE = 60_000  # ms; a slow machine is no fault of the page


@pytest.fixture(scope="module")
def browser() -> Iterator[playwright.Browser]:
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, headless=True, args=QUIET)
        yield browser
        browser.close()


class Visit:
    """A page that is open, with everything that it asked for."""

    def __init__(self, browser: playwright.Browser, serving: Serving, **how: object) -> None:
        self.context = browser.new_context(**how)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE)
        self.serving = serving
        self.asked: list[str] = []
        self.faults: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", self._heard)
        self.page.goto(serving.address)
        self.ready()

    def _heard(self, message: playwright.ConsoleMessage) -> None:
        refused = "status of 4" in message.text  # said on the page as a sentence
        if message.type == "error" and not refused:
            self.faults.append(message.text)

    def until(self, expression: str) -> None:
        """Wait until a script's expression holds; the page's own policy forbids the usual way."""
        for _ in range(PATIENCE // 100):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"{expression} did not come true; the page says {self.said()!r}")

    def said(self) -> str:
        return self.page.locator("#sentence").inner_text()

    def ready(self) -> None:
        self.until("Boolean(window.markingPage)")
        self.page.evaluate("window.markingPage.ready")

    def state(self) -> dict:
        return self.page.evaluate("window.markingPage.state()")

    def settle(self) -> dict:
        self.until("window.markingPage.settled()")
        state = self.state()
        assert not [region["error"] for region in state["regions"] if region.get("error")]
        return state

    def click_at(self, place: tuple[float, float, float]) -> None:
        self.page.mouse.click(*self.page.evaluate("p => window.markingPage.project(p)", list(place)))

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def mark(self, view: str, place: tuple[float, float, float], count: int = 1) -> dict:
        self.press(view)
        self.press("Mark a region")
        self.click_at(place)
        self.until(f"window.markingPage.state().regions.length === {count}")
        return self.settle()

    def wait_for_regions(self, count: int) -> None:
        self.until(f"window.markingPage.state().regions.length === {count}")


@pytest.fixture
def visit(browser: playwright.Browser, serving: Serving) -> Iterator[Visit]:
    visit = Visit(browser, serving)
    yield visit
    assert not visit.faults
    assert visit.asked and all(url.startswith((serving.address, "blob:")) for url in visit.asked)
    visit.context.close()


def test_a_click_marks_the_side_that_was_clicked(visit: Visit) -> None:
    state = visit.mark("Left", (5.0, APOTHEM, 0.0))
    region = state["regions"][0]
    assert region["at"] == pytest.approx([5.0, APOTHEM, 0.0], abs=0.2)
    assert region["area"] == pytest.approx(LENGTH * SIDE, rel=1e-6)
    assert "fits" in visit.page.locator("#regions").inner_text()


def test_crease_reflection_undo_and_reload(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    slider = visit.page.get_by_role("slider", name="Crease, degrees")
    slider.fill("50")  # the prism's edges bend by 45 degrees
    visit.until("window.markingPage.state().regions[0].crease === 50")
    assert visit.settle()["regions"][0]["area"] == pytest.approx(8 * LENGTH * SIDE, rel=1e-6)
    visit.press("Undo")
    visit.until("window.markingPage.state().regions[0].crease === 36")
    visit.press("Reflect to the other side")
    visit.wait_for_regions(2)
    reflected = visit.settle()["regions"][1]
    assert reflected["mirror_of"] == visit.state()["regions"][0]["name"]
    assert reflected["area"] == pytest.approx(LENGTH * SIDE, rel=1e-6)
    text = job.read_text()
    visit.page.reload()
    visit.ready()
    assert len(visit.state()["regions"]) == 2 and job.read_text() == text
    visit.press("Undo")
    visit.wait_for_regions(1)
    visit.press("Undo")
    visit.wait_for_regions(0)
    assert "[[region]]" not in job.read_text()
    visit.press("Redo")
    visit.wait_for_regions(1)


def test_trims_by_box_and_by_dragged_line(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Trim by a box")
    project = "p => window.markingPage.project(p)"
    begin, end = (visit.page.evaluate(project, place) for place in ([-20, 0, -2], [10, 0, 2]))
    visit.page.mouse.move(*begin)
    visit.page.mouse.down()
    visit.page.mouse.move(*end, steps=5)
    visit.page.mouse.up()
    visit.press("Keep only what is inside")
    visit.until("window.markingPage.state().regions[0].within.x !== undefined")
    within = visit.state()["regions"][0]["within"]
    assert within["x"] == pytest.approx([-20, 10], abs=0.3)
    assert within["z"] == pytest.approx([-2, 2], abs=0.3)
    low, high = within["x"]
    area = (high - low) * (within["z"][1] - within["z"][0])
    assert visit.settle()["regions"][0]["area"] == pytest.approx(area, rel=1e-3)
    x, y = visit.page.evaluate(project, [high, 0, 6])
    visit.page.mouse.move(x, y)
    visit.page.mouse.down()
    visit.page.mouse.move(*visit.page.evaluate(project, [25, 0, 6]), steps=5)
    visit.page.mouse.up()
    visit.until("window.markingPage.state().regions[0].within.x[1] > 20")
    assert visit.state()["regions"][0]["within"]["x"][1] == pytest.approx(25, abs=0.4)


def test_lining_is_seen_on_the_body_and_on_the_piece(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Add fill")
    visit.until("window.markingPage.state().fill.length === 1")
    visit.press("Add lining")
    visit.until("window.markingPage.state().lining.length === 1")
    visit.settle()
    visit.page.wait_for_timeout(600)
    place = visit.page.evaluate("p => window.markingPage.project(p)", [0.0, APOTHEM, SIDE / 2 - 1.0])
    middle = visit.page.evaluate("p => window.markingPage.project(p)", [0.0, APOTHEM, 0.0])
    visit.page.mouse.move(5, 5)
    line, fill = (_colour_at(visit, spot) for spot in (place, middle))
    assert line[0] > line[2] > 60 and line[0] > 120  # the straw of a fresh line, in the light
    assert fill[2] > fill[0] and fill[0] < 60  # the dark blue of a fresh fill


def _colour_at(visit: Visit, spot: list[float]) -> tuple[int, int, int]:
    import io

    from PIL import Image

    picture = Image.open(io.BytesIO(visit.page.screenshot())).convert("RGB")
    pixel = picture.getpixel((round(spot[0]), round(spot[1])))
    assert isinstance(pixel, tuple)
    return pixel[0], pixel[1], pixel[2]


def test_make_gives_what_the_command_gives(visit: Visit, job: Path, tmp_path: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Add fill")
    visit.until("window.markingPage.state().fill.length === 1")
    visit.press("Make the sheets")
    picture = visit.page.get_by_role("img", name=re.compile("sheet-1.svg"))
    picture.wait_for(timeout=4 * PATIENCE)  # the proof is drawn meanwhile
    visit.until("document.querySelector('#made img').naturalWidth > 0")
    made = job.with_name("job-sheets")
    make(job, tmp_path / "again")
    assert (made / "sheet-1.svg").read_bytes() == (tmp_path / "again" / "sheet-1.svg").read_bytes()
    visit.press("Next")
    assert "2 of" in visit.page.locator("#made").inner_text()


def test_a_body_is_loaded_by_upload(visit: Visit, job: Path, tmp_path: Path) -> None:
    from prism_body import prism

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


def test_by_keyboard_alone(visit: Visit) -> None:
    page = visit.page
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")
        )
        if reached[-1] == "body":
            break
    assert {"Mark a region", "Draw round"} <= set(reached)
    page.locator("[data-view=left]").focus()
    page.keyboard.press("Enter")
    page.locator("[data-tool=mark]").focus()
    page.keyboard.press("Space")
    page.locator("#body").focus()
    page.keyboard.press("Enter")
    visit.wait_for_regions(1)
    assert visit.settle()["regions"][0]["at"] == pytest.approx([0, APOTHEM, 0], abs=0.2)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("+")
    page.keyboard.press("Control+z")
    visit.wait_for_regions(0)


def test_touch_turns_and_pinches(browser: playwright.Browser, serving: Serving) -> None:
    visit = Visit(browser, serving, has_touch=True)
    before = visit.page.evaluate("window.markingPage.project([30, 0, 0])")
    session = visit.context.new_cdp_session(visit.page)
    x, y = visit.page.evaluate("window.markingPage.project([0, 0, 0])")
    touch = lambda kind, spread: session.send(  # noqa: E731
        "Input.dispatchTouchEvent",
        {
            "type": kind,
            "touchPoints": [{"x": x - spread, "y": y}, {"x": x + spread, "y": y}] if spread else [],
        },
    )
    touch("touchStart", 30)
    for spread in (40, 60, 80, 90):
        touch("touchMove", spread)
    touch("touchEnd", 0)
    after = visit.page.evaluate("window.markingPage.project([30, 0, 0])")
    assert math.dist(after, (x, y)) > 1.8 * math.dist(before, (x, y))
    assert not visit.faults
    visit.context.close()


def test_a_narrow_window_cuts_nothing_off(browser: playwright.Browser, serving: Serving) -> None:
    visit = Visit(browser, serving, viewport={"width": 390, "height": 800})
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 390
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.page.get_by_role("button", name="Remove this region").scroll_into_view_if_needed()
    assert not visit.faults
    visit.context.close()


def test_two_windows_show_the_same(browser: playwright.Browser, visit: Visit) -> None:
    other = Visit(browser, visit.serving)
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    other.wait_for_regions(1)
    other.context.close()


def test_marks_and_names_for_a_screen_reader(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    for kind in ("fill", "lining", "band", "lettering"):
        visit.press(f"Add {kind}")
        visit.until(f"window.markingPage.state().{kind}.length === 1")
    visit.settle()
    for summary in visit.page.locator("summary").all():
        summary.click()
    nameless = visit.page.evaluate(NAMELESS)
    assert nameless == []
    assert visit.page.evaluate(FAINT) == []


# Controls without a name, pictures without a text, identifiers used twice, missing landmarks.
NAMELESS = """() => {
  const faults = [];
  for (const one of document.querySelectorAll('button, input, select, a, canvas, img, summary')) {
    if (one.closest('[aria-hidden=true]')) continue;
    const labels = one.labels ? [...one.labels].map((label) => label.textContent).join('') : '';
    const name = one.getAttribute('aria-label') || labels || one.textContent || one.alt || '';
    if (!name.trim()) faults.push(one.outerHTML);
  }
  const ids = [...document.querySelectorAll('[id]')].map((one) => one.id);
  faults.push(...ids.filter((id, i) => ids.indexOf(id) !== i));
  for (const landmark of ['header', 'main', 'aside', 'h1'])
    if (document.querySelectorAll(landmark).length !== 1) faults.push(landmark);
  if (!document.documentElement.lang) faults.push('lang');
  return faults;
}"""

# Text with less than 4.5 : 1 against its ground (WCAG 2.1, 1.4.3; large and disabled text aside).
FAINT = """() => {
  const linear = (v) => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = (c) => c.slice(0, 3).map((v) => linear(v / 255))
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const ground = (one) => {
    for (; one; one = one.parentElement) {
      const c = numbers(getComputedStyle(one).backgroundColor);
      if (c.length === 3 || c[3] > 0.5) return c;
    }
    return [255, 255, 255];
  };
  const faults = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text; (text = walk.nextNode());) {
    const one = text.parentElement;
    if (!text.data.trim() || one.disabled || !one.checkVisibility()) continue;
    const [a, b] = [light(numbers(getComputedStyle(one).color)), light(ground(one))].sort((p, q) => q - p);
    if ((a + 0.05) / (b + 0.05) < 4.5) faults.push(text.data.trim());
  }
  return faults;
}"""
