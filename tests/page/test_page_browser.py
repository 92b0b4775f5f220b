"""Marking in a real browser."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from prism_body import APOTHEM, LENGTH, SIDE
from visiting import Visit, needs_chromium

from unwrap.body.read import load_body
from unwrap.body.views import draw_view, write_view_svg

pytestmark = needs_chromium


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
    visit.draw([(-20, 0, -2), (10, 0, 2)])
    visit.press("Keep only what is inside")
    visit.until("window.markingPage.state().regions[0].within.x !== undefined")
    within = visit.state()["regions"][0]["within"]
    assert within["x"] == pytest.approx([-20, 10], abs=0.3)
    assert within["z"] == pytest.approx([-2, 2], abs=0.3)
    low, high = within["x"]
    area = (high - low) * (within["z"][1] - within["z"][0])
    assert visit.settle()["regions"][0]["area"] == pytest.approx(area, rel=1e-3)
    visit.draw([(high, 0, 6), (25, 0, 6)])
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
    visit.page.mouse.move(5, 5)
    line, fill = (visit.colour_at((0.0, APOTHEM, z)) for z in (SIDE / 2 - 1.0, 0.0))
    assert line[0] > line[2] > 60 and line[0] > 120  # the straw of a fresh line, in the light
    assert fill[2] > fill[0] and fill[0] < 60  # the dark blue of a fresh fill


def test_lining_lies_over_faces_that_a_limit_split(visit: Visit, job: Path) -> None:
    mark = f'[[region]]\nname = "side"\nat = [0, {APOTHEM}, 0]\nwithin = {{ x = [-20, 20] }}\n'
    fill = '[[fill]]\nregion = "side"\ncolour = "#10203c"\n'
    lines = '[[lining]]\nregion = "side"\ninset = 1\nlines = [{ width = 1, colour = "#f0d080" }]\n'
    job.write_text(job.read_text() + mark + fill + lines)  # by hand, while the page is open
    visit.page.reload()
    visit.ready()
    visit.settle()
    visit.press("Left")
    visit.page.wait_for_timeout(400)
    for x in (-10.0, 0.0, 10.0):
        line = visit.colour_at((x, APOTHEM, SIDE / 2 - 1.5))
        assert line[0] > 150 > line[2]


def test_a_line_drawn_round_is_kept_or_taken_out(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    triangle = [(-20.0, 0.0, -3.0), (0.0, 0.0, 3.0), (10.0, 0.0, -3.0)]
    area = 0.5 * 30.0 * 6.0
    visit.press("Draw round")
    visit.draw([*triangle, triangle[0]])
    visit.press("Take it out")
    visit.until("window.markingPage.state().regions[0].trim.length === 1")
    region = visit.settle()["regions"][0]  # its own point was inside, so it has moved
    assert region["trim"][0]["view"] == "left" and len(region["trim"][0]["drop"]) < 12
    assert region["area"] == pytest.approx(LENGTH * SIDE - area, rel=0.02)
    visit.press("Undo")
    visit.until("window.markingPage.state().regions[0].trim.length === 0")
    visit.press("Draw round")
    for place in triangle:  # corner by corner
        visit.click_at(place)
    visit.press("Keep only what is inside")
    visit.until("window.markingPage.state().regions[0].trim.length === 1")
    kept = visit.state()["regions"][0]["trim"][0]["keep"]
    assert kept == [pytest.approx([x, z], abs=0.2) for x, _, z in triangle]
    assert visit.settle()["regions"][0]["area"] == pytest.approx(area, rel=0.05)


def test_single_corners_of_a_line_drawn_round(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Draw round")
    for x, z in ((-20.0, -2.0), (0.0, 2.0), (10.0, -2.0)):
        visit.click_at((x, 0.0, z))
    visit.press("Keep only what is inside")
    visit.until("window.markingPage.state().regions[0].trim.length === 1")
    visit.press("From a corner")
    visit.press("Its corners")  # turns to the view that it was drawn on
    visit.draw([(0.0, 0.0, 2.0), (5.0, 0.0, 3.0)])
    visit.until("window.markingPage.state().regions[0].trim[0].keep[1][0] > 4")
    visit.draw([(-5.0, 0.0, -2.0), (-5.0, 0.0, -3.0)])  # the dot between two corners
    visit.until("window.markingPage.state().regions[0].trim[0].keep.length === 4")
    dot = visit.page.get_by_role("button", name="Corner 3 of 4")
    dot.press("ArrowUp")  # once
    visit.until("window.markingPage.state().regions[0].trim[0].keep[2][1] > -2")
    corners = visit.state()["regions"][0]["trim"][0]["keep"]
    wanted = [[-20, -2], [5, 3], [10, -1.9], [-5, -3]]
    assert corners == [pytest.approx(one, abs=0.15) for one in wanted]
    x, z = np.array(corners).T
    area = 0.5 * abs(np.dot(x, np.roll(z, 1)) - np.dot(z, np.roll(x, 1)))
    assert visit.settle()["regions"][0]["area"] == pytest.approx(area, rel=1e-3)
    visit.look_for_faults()
    visit.page.get_by_role("button", name="Corner 4 of 4").press("Delete")
    visit.until("window.markingPage.state().regions[0].trim[0].keep.length === 3")
    visit.page.keyboard.press("Escape")
    assert visit.page.locator(".corner").first.is_hidden()


def test_what_lies_over_what_and_the_job_as_it_is_written(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    for count in (1, 2):
        visit.press("Add fill")
        visit.until(f"window.markingPage.state().fill.length === {count}")
    colour = visit.page.locator("[data-key='fill 1 colour']")
    colour.fill("#c81414")
    visit.until("window.markingPage.state().fill[1].colour === '#c81414'")
    visit.press("Lay it lower")
    visit.until("window.markingPage.state().fill[0].colour === '#c81414'")
    visit.page.locator("details[data-key=file] summary").click()
    area = visit.page.get_by_label("The job file", exact=True)
    assert area.input_value() == job.read_text()
    area.fill(area.input_value() + "# mine\n")
    visit.page.evaluate("document.getElementById('undo').click()")  # what is being written stays
    visit.page.get_by_text("The job has changed meanwhile").wait_for()
    visit.press("Save what I wrote")
    visit.until("window.markingPage.state().text.includes('# mine')")
    assert visit.state()["fill"][0]["colour"] == "#c81414"
    job.write_text("[job\n")  # by hand, and wrong
    visit.page.locator("#sentence", has_text="line 1").wait_for()
    mended = "[job]\nname = 'b'\nscale = '1:76'\n[body]\nfile = 'prism.stl'\n"
    area.fill(mended)
    visit.press("Save what I wrote")
    visit.until("window.markingPage.state().name === 'b'")
    assert visit.said() == ""


def test_add_and_take_away(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    beside = (0.0, APOTHEM * 0.7071, APOTHEM * 0.7071)
    visit.press("From a corner")
    visit.press("Add to it")
    visit.click_at(beside)
    visit.until("window.markingPage.state().regions[0].also.length === 1")
    assert visit.settle()["regions"][0]["area"] == pytest.approx(2 * LENGTH * SIDE, rel=1e-6)
    visit.press("Take away")  # what was added goes again
    visit.click_at(beside)
    visit.until("window.markingPage.state().regions[0].also.length === 0")
    region = visit.settle()["regions"][0]
    assert region["area"] == pytest.approx(LENGTH * SIDE, rel=1e-6) and region["less"] == []
    assert len(visit.state()["regions"]) == 1


def test_what_cannot_be_joined_is_said_and_can_be_undone(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.press("Right")
    visit.press("Add to it")
    visit.click_at((0.0, -APOTHEM, 0.0))
    warning = visit.page.locator("#remarks .warn")
    warning.wait_for()
    assert "also" in warning.inner_text()
    visit.press("Undo")
    visit.until("window.markingPage.state().regions[0].also.length === 0")
    visit.settle()


def test_a_place_on_the_body_is_shown_on_the_piece_and_back(visit: Visit) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.page.mouse.move(*visit.spot((10.0, APOTHEM, 2.0)))
    visit.until("window.markingPage.pointed().flat !== null")
    flat = visit.page.evaluate("window.markingPage.pointed().flat")
    visit.page.mouse.move(5, 5)
    visit.until("window.markingPage.pointed().flat === null")
    visit.page.mouse.move(*visit.page.evaluate("p => window.markingPage.onPiece(p)", flat))
    visit.until("window.markingPage.pointed().body !== null")
    # a pixel of the piece's picture is some 0.06 mm
    assert visit.page.evaluate("window.markingPage.pointed().body") == pytest.approx(
        [10, APOTHEM, 2], abs=0.2
    )


def test_film_past_the_edge_and_openings_of_one_region(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.page.locator("summary", has_text="Edges and details").click()
    visit.page.get_by_label("Film", exact=True).first.select_option("floated")
    visit.until("window.markingPage.state().regions[0].film?.state === 'floated'")
    visit.page.get_by_label("Print past the edge").fill("0.7")
    visit.page.keyboard.press("Tab")
    visit.until("window.markingPage.state().regions[0].edge === 0.7")
    assert 'film = "floated"' in job.read_text() and "edge = 0.7" in job.read_text()
    assert visit.settle()["regions"][0]["window"][0] in visit.page.locator("#figures").inner_text()


def test_a_part_on_the_model_is_put_where_it_is_clicked(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    visit.page.locator("details[data-key=fittings] summary").click()
    visit.press("Add one where I click")
    visit.click_at((-12.0, APOTHEM, 1.0))
    visit.until("window.markingPage.state().fitting.length === 1")
    assert visit.state()["fitting"][0]["at"] == pytest.approx([-12, APOTHEM, 1], abs=0.2)
    assert "[[fitting]]" in job.read_text()
    visit.settle()
    visit.until("window.markingPage.piece().piece.slits.length === 1")  # from the edge to the part


def test_a_dropped_drawing_is_seen_on_the_body(visit: Visit, job: Path) -> None:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    view = draw_view(load_body(job.with_name("prism.stl")), "left")
    drawing = job.with_name("drawn.svg")
    write_view_svg(view, drawing)
    x, y = view.to_view(np.array([[8.0, 0.0, 0.0]]))[0]
    red = f'<circle cx="{x:g}" cy="{-y:g}" r="2" fill="#c81414"/>'
    text = drawing.read_text()
    assert '<g id="livery"/>' in text
    text = text.replace('<g id="livery"/>', f'<g id="livery">{red}</g>')
    drawing.unlink()
    visit.press("Left")
    visit.page.evaluate(DROP, [text.replace(red, red + "<script>window.ran = 1</script>"), "drawn.svg"])
    visit.until("document.getElementById('sentence').textContent.includes('script')")
    assert visit.page.evaluate("window.ran === undefined") and not drawing.exists()
    visit.page.evaluate(DROP, [text, "drawn.svg"])
    visit.until("window.markingPage.state().artwork.length === 1")
    visit.settle()
    visit.page.wait_for_timeout(600)
    visit.page.mouse.move(5, 5)
    on, beside = visit.colour_at((8.0, APOTHEM, 0.0)), visit.colour_at((14.0, APOTHEM, 0.0))
    assert on[0] > 100 > on[1] + on[2] > 0 and min(beside) > 60
    assert drawing.exists()


# A file let go over the page.
DROP = """([text, name]) => {
  const held = new DataTransfer();
  held.items.add(new File([text], name, { type: 'image/svg+xml' }));
  document.dispatchEvent(new DragEvent('drop', { dataTransfer: held, bubbles: true, cancelable: true }));
}"""
