"""The page by keyboard, by touch, in a narrow window, and for a screen reader."""

from __future__ import annotations

import math

import pytest
from prism_body import APOTHEM
from visiting import Visit, needs_chromium, playwright

from unwrap.page.server import Serving

pytestmark = needs_chromium


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


def test_nothing_for_a_screen_reader_to_stumble_over(visit: Visit) -> None:
    visit.look_for_faults()  # nothing marked yet
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    for kind in ("fill", "lining", "band", "lettering"):
        visit.press(f"Add {kind}")
        visit.until(f"window.markingPage.state().{kind}.length === 1")
    visit.settle()
    for summary in visit.page.locator("summary").all():
        summary.click()
    visit.press("Add one where I click")
    visit.click_at((-12.0, APOTHEM, 1.0))
    visit.until("window.markingPage.state().fitting.length === 1")
    for name in ("Rather here", "Never here", "Keep clear of"):
        visit.page.get_by_role("button", name=f"{name}: where I click").click()
        visit.click_at((9.0, APOTHEM, 1.0))
        visit.settle()
    visit.press("One more corner")
    visit.press("One more corner")
    visit.page.get_by_label("Corner 2, its edges").wait_for()
    for name in ("Outline", "Shadow"):
        visit.page.get_by_label(name, exact=True).check()
        visit.page.get_by_label(f"{name}'s colour", exact=True).wait_for()
    visit.page.get_by_label("Margin", exact=True).fill("150")
    visit.page.keyboard.press("Tab")
    visit.page.locator(".refused").wait_for()
    visit.look_for_faults()
    visit.page.get_by_label("Show").select_option("strain")
    visit.press("Draw round")
    for x, z in ((-5.0, -2.0), (0.0, 2.0), (5.0, -2.0)):
        visit.click_at((x, APOTHEM, z))
    visit.look_for_faults()
