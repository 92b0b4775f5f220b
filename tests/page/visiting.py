"""A visit to the page in the system's Chromium, without its graphics processor."""

from __future__ import annotations

import io
import math
import shutil

import pytest
from PIL import Image

from unwrap.page.server import Serving

Axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed").Axe
playwright = pytest.importorskip("playwright.sync_api", reason="the playwright package is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

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
        wrong = [region["error"] for region in state["regions"] if region.get("error")]
        if wrong:
            raise AssertionError(wrong)
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

    def spot(self, place: tuple[float, float, float]) -> list[float]:
        """Where a place of the body is on the page, pixels."""
        return self.page.evaluate("p => window.markingPage.project(p)", list(place))

    def draw(self, places: list[tuple[float, float, float]]) -> None:
        """Press at the first place and draw on to the others."""
        self.page.mouse.move(*self.spot(places[0]))
        self.page.mouse.down()
        for place in places[1:]:
            self.page.mouse.move(*self.spot(place), steps=4)
        self.page.mouse.up()

    def colour_at(self, place: tuple[float, float, float]) -> tuple[int, int, int]:
        """The colour that a place of the body shows."""
        x, y = self.spot(place)
        picture = Image.open(io.BytesIO(self.page.screenshot())).convert("RGB")
        pixel = picture.getpixel((round(x), round(y)))
        assert isinstance(pixel, tuple)
        return pixel[0], pixel[1], pixel[2]

    def look_for_faults(self) -> None:
        """Let axe-core say what a screen reader would stumble over in the page as it is now."""
        found = Axe().run(self.page)
        assert len(found.response["passes"]) > 20  # it did look
        assert found.violations_count == 0, found.generate_report()
        unsure = {one["id"] for one in found.response["incomplete"]}
        assert unsure <= {"color-contrast"}, unsure  # over the picture, which it cannot see

    def away(self, place: tuple[float, float, float], spot: list[float]) -> float:
        """Pixels between a place of the body and a spot of the page."""
        return math.dist(self.spot(place), spot)
