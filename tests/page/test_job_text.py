"""Changing a job as text: what the user wrote stays."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unwrap.errors import BadInput
from unwrap.job import parse_job
from unwrap.page.job_text import change, comments

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*/job.toml"))
TEXT = """# top
[job]
name = "a"   # the name
scale = "1:76.2"

[body]
file = "a.stl"

# the side
[[region]]
name = "side"
at = [0.50, 1.0, 2]   # half way
unheard_of = "kept"

# the roof
[[region]]
name = "roof"
at = [0, 0, 9]

# colours
[[fill]]
region = ["side", "roof"]
colour = "#112233" # dark

[[lining]]
region = "side"
lines = [
    { width = 0.3, colour = "#ffffff" }, # outer
    { gap = 0.4 },
    { width = 0.2, colour = "#ff0000" }, # inner
]
# the end
"""


def data(text: str) -> dict:
    return tomllib.loads(text)


def test_a_changed_value_changes_one_line_only() -> None:
    changed = change(TEXT, "set region", name="roof", values={"crease": 22.5})
    assert [line for line in changed.splitlines() if line not in TEXT.splitlines()] == ["crease = 22.5"]
    assert data(changed)["region"][1]["crease"] == 22.5


def test_the_same_value_leaves_the_spelling() -> None:
    assert change(TEXT, "set region", name="side", values={"at": [0.5, 1, 2.0]}) == TEXT


def test_a_new_region_stands_among_the_regions_and_above_the_next_heading() -> None:
    changed = change(TEXT, "add region", name="end", values={"at": [1.23456, 0.0, 2.0]})
    assert [region["name"] for region in data(changed)["region"]] == ["side", "roof", "end"]
    assert data(changed)["region"][2]["at"] == [1.2346, 0, 2]
    assert changed.index('name = "end"') < changed.index("# colours") < changed.index("[[fill]]")


def test_removing_a_region_removes_its_reflection_and_its_livery() -> None:
    text = change(TEXT, "add region", name="other side", values={"mirror_of": "side"})
    changed = data(change(text, "remove region", name="side"))
    assert [region["name"] for region in changed["region"]] == ["roof"]
    assert changed["fill"][0]["region"] == "roof"
    assert "lining" not in changed


def test_a_new_name_is_followed_everywhere() -> None:
    text = change(TEXT, "add region", name="other side", values={"mirror_of": "side"})
    changed = data(change(text, "set region", name="side", values={"name": "flank"}))
    assert changed["region"][0]["name"] == "flank"
    assert changed["region"][2]["mirror_of"] == "flank"
    assert changed["fill"][0]["region"] == ["flank", "roof"]
    assert changed["lining"][0]["region"] == "flank"


def test_lines_keep_the_comments_between_them() -> None:
    lines = [{"width": 0.35, "colour": "#ffffff"}, {"gap": 0.4}, {"width": 0.2, "colour": "#00ff00"}]
    changed = change(TEXT, "set mark", kind="lining", number=0, values={"lines": lines})
    assert data(changed)["lining"][0]["lines"] == lines
    assert "# outer" in changed and "# inner" in changed


def test_a_table_inside_a_region_comes_changes_and_goes() -> None:
    wishes = {"relief.most": 4, "relief.part": None}
    changed = change(TEXT, "set region", name="side", values=wishes)
    assert data(changed)["region"][0]["relief"] == {"most": 4}
    changed = change(changed, "set region", name="side", values={"relief.avoid": [[1, 2, 3.5]]})
    assert data(changed)["region"][0]["relief"] == {"most": 4, "avoid": [[1, 2, 3.5]]}
    changed = change(changed, "set region", name="side", values={"relief.most": None, "relief.avoid": None})
    assert changed == TEXT


@pytest.mark.parametrize(
    "written",
    [
        "relief.most = 3 # few\n",
        "relief = { most = 3, lap = 0.3 } # few\n",
        "[region.relief]\nmost = 3 # few\n",
    ],
)
def test_a_table_keeps_the_way_it_is_written(written: str) -> None:
    text = TEXT[: TEXT.index("# colours")].replace("at = [0, 0, 9]\n", "at = [0, 0, 9]\n" + written)
    changed = change(text, "set region", name="roof", values={"relief.most": 5, "relief.part": True})
    assert data(changed)["region"][1]["relief"] == data(text)["region"][1]["relief"] | {
        "most": 5,
        "part": True,
    }
    assert "# few" in changed and changed.splitlines()[: text.count("\n") - 4] == text.splitlines()[:-4]


def test_a_value_of_none_takes_the_key_out() -> None:
    changed = change(TEXT, "set region", name="side", values={"unheard_of": None})
    assert "unheard_of" not in data(changed)["region"][0]


@pytest.mark.parametrize(
    ("what", "how", "said"),
    [
        ("set region", {"name": "rof", "values": {}}, '"rof"'),
        ("add region", {"name": "side", "values": {}}, "already"),
        ("set mark", {"kind": "fill", "number": 7, "values": {}}, "number 7"),
        ("set mark", {"kind": "region", "number": 0, "values": {}}, "region"),
        ("set section", {"section": "secrets", "values": {}}, "secrets"),
        ("set region", {"values": {}}, "without all"),
        ("burn", {}, "burn"),
    ],
)
def test_what_is_not_there_is_said(what: str, how: dict, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        change(TEXT, what, **how)


def steps():
    name = st.sampled_from(["side", "roof", "end", "third"])
    number = st.integers(0, 2)
    kind = st.sampled_from(["fill", "lining", "band", "lettering"])
    line = {"width": 0.3, "colour": "#000000"}
    return st.one_of(
        st.tuples(
            st.just("add region"), st.fixed_dictionaries({"name": name, "values": st.just({"at": [1, 2, 3]})})
        ),
        st.tuples(
            st.just("set region"),
            st.fixed_dictionaries(
                {
                    "name": name,
                    "values": st.fixed_dictionaries({"crease": st.floats(1, 170), "spares": number}),
                }
            ),
        ),
        st.tuples(st.just("remove region"), st.fixed_dictionaries({"name": name})),
        st.tuples(
            st.just("add mark"),
            st.fixed_dictionaries(
                {"kind": st.just("band"), "values": st.just({"region": "side", "at_x": 1, "lines": [line]})}
            ),
        ),
        st.tuples(
            st.just("add mark"),
            st.fixed_dictionaries(
                {"kind": st.just("fill"), "values": st.just({"region": "side", "colour": "#000000"})}
            ),
        ),
        st.tuples(st.just("remove mark"), st.fixed_dictionaries({"kind": kind, "number": number})),
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(steps(), max_size=8))
def test_whatever_is_changed_no_comment_of_its_own_line_is_lost(todo: list) -> None:
    text = TEXT
    for what, how in todo:
        try:
            text = change(text, what, **how)
        except BadInput:
            continue
        tomllib.loads(text)
    assert sorted(comments(text)) == sorted(comments(TEXT))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.parent.name)
def test_the_examples_stand_every_kind_of_change(path: Path) -> None:
    text = path.read_text()
    first = data(text)["region"][0]["name"]
    changed = change(text, "set region", name=first, values={"crease": 33.0})
    changed = change(changed, "add mark", kind="fill", values={"region": first, "colour": "#010203"})
    changed = change(changed, "set section", section="film", values={"state": "floated"})
    assert parse_job(changed).film.film.stretch == 0.01
    assert list(comments(changed)) == list(comments(text))
    back = change(changed, "set region", name=first, values={"crease": None})
    back = change(back, "remove mark", kind="fill", number=len(data(back)["fill"]) - 1)
    back = change(back, "set section", section="film", values={"state": data(text)["film"]["state"]})
    assert data(back) == data(text)


TWO_LINES = """[job]
name = "a"  # any

# the outer one,
# in straw
[[lining]]
region = "r"  # here
inset = 1
lines = [
  { width = 1, colour = "red" },
]

[[fill]]
region = "r"
colour = "blue"

# about what follows

[[ lining ]] # the inner one
region = "s"
inset = 2
# the end"""


def test_marks_change_places_with_their_comments() -> None:
    after = change(TWO_LINES, "change places", kind="lining", numbers=[0, 1])
    assert [mark["inset"] for mark in tomllib.loads(after)["lining"]] == [2, 1]
    assert list(comments(after)) == ["# about what follows", "# the outer one,", "# in straw", "# the end"]
    lines = after.splitlines()
    assert lines[lines.index("# in straw") + 1] == "[[lining]]"
    assert change(after, "change places", kind="lining", numbers=[1, 0]) == TWO_LINES


@pytest.mark.parametrize("numbers", [[0, 2], [0, 0], [-1, 0], [0], "01", None])
def test_marks_that_are_not_there_change_no_places(numbers: object) -> None:
    with pytest.raises(BadInput, match="no two"):
        change(TWO_LINES, "change places", kind="lining", numbers=numbers)


def test_a_heading_inside_a_text_is_not_mistaken_for_one() -> None:
    tricky = 'a = """\n[[lining]]\n"""\n' + TWO_LINES
    with pytest.raises(BadInput, match="told apart"):
        change(tricky, "change places", kind="lining", numbers=[0, 1])


def test_the_whole_text_is_taken_as_it_is() -> None:
    assert change("broken [", "set text", whole="# new\n") == "# new\n"
    for how in ({"whole": 3}, {}, {"other": "a"}):
        with pytest.raises(BadInput, match="without all"):
            change("", "set text", **how)
