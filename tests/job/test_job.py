"""The job file: what is accepted, and what is said of what is not."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unwrap.errors import BadInput
from unwrap.film import Film
from unwrap.job import parse_job, read_job

GOOD = """
[job]
name = "quarry engine"
scale = "1:76.2"
[body]
file = "engine.stl"
[film]
state = "set"
[[region]]
name = "boiler"
at = [40, 0, "30 mm"]
within = { x = [0, "10 ft proto"] }
[[region]]
name = "tank left"
at = [10, 14, 20]
[[region]]
name = "tank right"
mirror_of = "tank left"
[[fill]]
region = ["boiler", "tank left"]
colour = "darkgreen"
[[lining]]
region = "tank left"
inset = 1.2
corner = "rounded"
radius = "6 in proto"
lines = [{ width = "0.5 in proto", colour = "#fff8d0" }, { gap = 0.3 }, { width = 0.2, colour = "red" }]
"""


def test_a_good_job_is_read_in_model_millimetres() -> None:
    job = parse_job(GOOD)
    assert job.region[0].within.as_dict()["x"] == pytest.approx((0.0, 40.0))  # 10 ft at 4 mm/ft
    assert job.lining[0].radius == pytest.approx(2.0)  # half a foot
    assert job.lining[0].pairs == [
        (pytest.approx(12.7 / 76.2), "#fff8d0"),
        (0.3, None),
        (0.2, "#ff0000"),
    ]
    assert job.fill[0].colour == "#006400"
    assert job.print.size == (210.0, 297.0)


def test_trims_may_be_one_table_or_a_list_of_them() -> None:
    one = 'trim = { view = "top", drop = [[0, 0], ["10 ft proto", 0], [0, 5]] }'
    for text in (one, one.replace("{", "[{").replace(" }", " }]")):
        (trim,) = parse_job(GOOD.replace("at = [10, 14, 20]", "at = [10, 14, 20]\n" + text)).region[1].trim
        assert (trim.view, trim.keep) == ("top", None)
        assert trim.corners == [(0, 0), (pytest.approx(40.0), 0), (0, 5)]


def test_a_reflection_takes_the_marks_of_its_original() -> None:
    job = parse_job(GOOD)
    assert [mark.colour for mark in job.marks_for(job.fill, job.region[2])] == ["#006400"]
    assert job.marks_for(job.lining, job.region[0]) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("crease", "", None),
        ("scale =", "scal =", '[job], key scal: unknown key; did you mean "scale"?'),
        ("[[lining]]", "[[linning]]", '[linning]: unknown key; did you mean "lining"?'),
        (
            'region = "tank left"',
            'region = "tank lefft"',
            'there is no region "tank lefft"; did you mean "tank left"?',
        ),
        ('"1:76.2"', '"76"', "[job], key scale: '76' is no scale"),
        ('[0, "10 ft proto"]', "[50, 20]", '[[region]] 1 "boiler", key within: x goes from 50 to 20'),
        ('[0, "10 ft proto"]', "[0, nan]", '[[region]] 1 "boiler", key within.x.2: '),
        ('at = [40, 0, "30 mm"]', "", '[[region]] 1 "boiler": no place given'),
        ('"darkgreen"', '"darkgren"', "[[fill]] 1, key colour: 'darkgren' is no colour"),
        ("{ gap = 0.3 }", "{ gap = 0.3, width = 1 }", "[[lining]] 1, key lines.2: each entry is a line"),
        ("{ gap = 0.3 }", "{ gap = -0.3 }", "[[lining]] 1, key lines.2.gap: "),
        ('state = "set"', 'state = "wet"', "[film], key state: "),
        ('state = "set"', "stretch = 0.02", "[film]: stretch and compression belong together"),
        ('mirror_of = "tank left"', 'mirror_of = "tank right"', "is itself a reflection"),
        ('mirror_of = "tank left"', 'mirror_of = "tank left"\nalso = [[1, 2, 3]]', "no say in a reflection"),
        ("at = [10, 14, 20]", 'at = [10, 14, 20]\ntrim = { view = "left" }', "either keep or drop"),
        ('"tank right"', '"boiler"', 'two regions are named "boiler"'),
        ('name = "quarry engine"', 'name = "quarry', "not valid TOML"),
        ('file = "engine.stl"', 'file = "engine.stl"\nup = "-x"', "lie along one line"),
    ],
)
def test_each_mistake_is_one_sentence_that_names_its_place(old: str, new: str, said: str | None) -> None:
    text = GOOD.replace(old, new, 1)
    if said is None:
        parse_job(text)
        return
    with pytest.raises(BadInput) as caught:
        parse_job(text, "job.toml")
    message = str(caught.value)
    assert message.startswith("job.toml: ")
    assert said in message
    assert "\n" not in message


def test_files_that_are_no_job(tmp_path) -> None:
    with pytest.raises(BadInput, match="no such job file"):
        read_job(tmp_path / "none.toml")
    with pytest.raises(BadInput, match="folder"):
        read_job(tmp_path)
    binary = tmp_path / "body.toml"
    binary.write_bytes(b"\xff\xfe\x00solid")
    with pytest.raises(BadInput, match="not a text file"):
        read_job(binary)


@given(st.text(max_size=300))
def test_any_text_is_a_job_or_bad_input(text: str) -> None:
    try:
        parse_job(text)
    except BadInput as error:
        assert "\n" not in str(error).rstrip()


@given(st.integers(0, len(GOOD) - 1), st.characters(codec="utf-8"))
def test_a_slip_of_one_key_is_a_job_or_bad_input(place: int, key: str) -> None:
    with contextlib.suppress(BadInput):
        parse_job(GOOD[:place] + key + GOOD[place + 1 :])


def test_a_region_may_have_its_own_film_and_bleed() -> None:
    head = '[job]\nname = "j"\nscale = "1:76.2"\n[body]\nfile = "b.stl"\n[film]\nstate = "set"\n'
    own = '[[region]]\nname = "dome"\nat = [0, 0, 1]\nfilm = "softened"\nedge = 0.4\n'
    measured = '[[region]]\nname = "nose"\nat = [1, 0, 1]\nfilm = { stretch = 0.03, compression = 0.02 }\n'
    reflected = '[[region]]\nname = "other"\nmirror_of = "dome"\n'
    plain = '[[region]]\nname = "side"\nat = [0, 1, 0]\n'
    job = parse_job(head + own + measured + reflected + plain)
    dome, nose, other, side = job.region
    assert job.film_of(dome) == job.film_of(other) == Film.softened()
    assert job.film_of(nose) == Film(0.03, 0.02)
    assert job.film_of(side) == Film.set()
    assert [job.bleed_of(mark) for mark in job.region] == [0.4, job.print.bleed, 0.4, job.print.bleed]
    with pytest.raises(BadInput, match="film"):
        parse_job(head + own + reflected + 'film = "set"\n')
    with pytest.raises(BadInput, match="film"):
        parse_job(head + plain + 'film = "sodden"\n')
