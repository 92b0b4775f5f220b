"""Every setting of a job has its place on the page, and what is put in reaches the file as it was meant."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from prism_body import APOTHEM
from visiting import Visit, needs_chromium

from unwrap.job import parse_job
from unwrap.page.fields import TABLE, told

# What the page has forms of its own for: clicks on the body, lists of lines, files, the sheet's size.
OWN = {
    "region": {"name", "also", "less", "crease", "within", "trim", "film", "mirror_of", "spares"},
    "fill": {"region"},
    "lining": {"region", "lines"},
    "band": {"region", "lines"},
    "lettering": {"region"},
    "artwork": {"file"},
    "fitting": set(),
    "body": {"file"},
    "print": {"sheet"},
}


def settings_of(section: str) -> list[dict]:
    return [one for group in told()[section] for one in group["settings"]]


@pytest.mark.parametrize("section", list(TABLE))
def test_every_key_of_the_job_can_be_set_on_the_page(section: str) -> None:
    model = TABLE[section][0]
    found = {one["key"].split(".")[0] for one in settings_of(section)}
    assert found | OWN[section] == set(model.model_fields)
    assert not found & OWN[section]


def test_wishes_for_cuts_are_all_there() -> None:
    wishes = {one["key"] for one in settings_of("region") if one["key"].startswith("relief.")}
    keys = {"avoid", "prefer", "keep_clear", "reach", "most", "lap", "part"}
    assert wishes == {f"relief.{key}" for key in keys}


def test_a_switched_on_table_starts_as_one_that_the_reader_takes() -> None:
    text = """[job]
name = "a"
scale = "1:76"
[body]
file = "a.stl"
[[region]]
name = "r"
at = [0, 0, 0]
[[lettering]]
region = "r"
text = "a"
height = 3
at = [0, 0, 0]
colour = "red"
"""
    for one in settings_of("lettering"):
        if "start" in one:
            values = ", ".join(f"{key} = {value!r}" for key, value in one["start"].items())
            job = parse_job(text + f"{one['key']} = {{ {values} }}\n")
            assert set(getattr(job.lettering[0], one["key"]).model_dump()) == {
                part["key"] for part in one["parts"]
            }


@pytest.fixture
def marked(visit: Visit) -> Visit:
    visit.mark("Left", (0.0, APOTHEM, 0.0))
    for kind in ("lining", "lettering"):
        visit.press(f"Add {kind}")
        visit.until(f"window.markingPage.state().{kind}.length === 1")
    return visit


def below(visit: Visit, heading: str):
    """What stands below a heading, opened."""
    found = visit.page.locator("details", has=visit.page.locator("summary", has_text=heading)).last
    if not found.evaluate("d => d.open"):
        found.locator("summary").first.click()
    return found


def put(visit: Visit, heading: str, label: str, value: str, shown: str) -> None:
    """Fill in a field below its heading and wait until the job says so."""
    below(visit, heading).get_by_label(label, exact=True).fill(value)
    visit.page.keyboard.press("Tab")
    visit.until(shown)


@needs_chromium
def test_what_is_put_in_stands_in_the_file(marked: Visit, job: Path) -> None:
    page, now = marked.page, "window.markingPage.state()"
    put(marked, "Margin, sheets in hand", "Margin", "0.25 in", f"{now}.print.margin === '0.25 in'")
    put(marked, "Margin, sheets in hand", "Part sheets in hand", "100 x 60", f"{now}.print.in_hand?.length")
    put(marked, "Printer", "Thinnest line", "0.3", f"{now}.print.min_line === 0.3")
    page.get_by_label("black", exact=True).check()
    marked.until(f"{now}.print.inks?.length === 5")
    put(marked, "Relief cuts", "At most", "4", f"{now}.regions[0].own.relief?.most === 4")
    page.get_by_role("button", name="Rather not here: where I click").click()
    marked.click_at((4.0, APOTHEM, 1.0))
    marked.until(f"{now}.regions[0].own.relief?.avoid?.length === 1")
    put(marked, "single corners", "Dashes and gaps", "4, 1.5", f"{now}.lining[0].dashes?.length === 2")
    below(marked, "shadow").get_by_label("Shadow", exact=True).check()
    marked.until(f"{now}.lettering[0].shadow?.right === 0.4")
    put(marked, "shadow", "Up", "0.3", f"{now}.lettering[0].shadow?.up === 0.3")
    data = tomllib.loads(job.read_text())
    assert data["print"] == {
        "sheet": "A4",
        "margin": "0.25 in",
        "in_hand": [[100, 60]],
        "min_line": 0.3,
        "inks": ["cyan", "magenta", "yellow", "black", "white"],
    }
    relief = data["region"][0]["relief"]
    assert relief["most"] == 4
    assert relief["avoid"][0] == pytest.approx([4, APOTHEM, 1], abs=0.2)
    assert data["lining"][0]["dashes"] == [4, 1.5]
    assert data["lettering"][0]["shadow"] == {"right": 0.4, "up": 0.3, "colour": "#1b1f23"}
    marked.press("Undo")
    marked.until(f"{now}.lettering[0].shadow?.up === -0.4")
    assert "# A prism to try the page on." in job.read_text()


@needs_chromium
def test_what_cannot_be_is_said_at_its_field(marked: Visit, job: Path) -> None:
    text = job.read_text()
    refused = "document.querySelectorAll('.refused').length === 1"
    put(marked, "Margin, sheets in hand", "Margin", "150", refused)
    field = marked.page.get_by_label("Margin", exact=True)
    assert field.input_value() == "150" and field.get_attribute("aria-invalid") == "true"
    assert "margin 150 mm leaves nothing" in marked.page.locator(".refused").inner_text()
    assert marked.said() == "" and job.read_text() == text
    put(marked, "Margin, sheets in hand", "Margin", "5", "window.markingPage.state().print.margin === 5")
    assert marked.page.locator(".refused").count() == 0


@needs_chromium
def test_what_is_pressed_while_a_change_is_being_saved_comes_after_it(marked: Visit, job: Path) -> None:
    now = "window.markingPage.state()"
    press = """([key, times]) => {
      for (let i = 0; i < times; i++) document.querySelector(`[data-key='${key}']`).click();
    }"""
    marked.page.evaluate(press, ["lining 0 corners more", 3])
    marked.page.evaluate(press, ["lining 0 more", 2])
    marked.page.evaluate(press, ["lettering 0 remove", 2])  # the second finds nothing to remove
    marked.until(f"{now}.lettering.length === 0")
    lining = tomllib.loads(job.read_text())["lining"][0]
    assert list(lining["corners"]) == ["top front", "top rear", "bottom front"]
    assert len(lining["lines"]) == 5 and marked.said() == ""
    marked.page.evaluate(press, ["lining 0 remove 0", 1])
    marked.page.evaluate(press, ["lining 0 remove 2", 1])  # as it was counted when it was pressed
    marked.until(f"{now}.lining[0].lines.length === 3")
    assert marked.state()["lining"][0]["lines"] == [lining["lines"][1], *lining["lines"][3:]]
    marked.page.evaluate("for (let i = 0; i < 8; i++) document.getElementById('undo').click()")
    marked.until(f"!{now}.lining[0].corners && {now}.lining[0].lines.length === 1")
    assert marked.said() == ""
