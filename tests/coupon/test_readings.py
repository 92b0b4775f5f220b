import tomllib

import pytest

from unwrap.coupon import read_coupon
from unwrap.coupon.patches import patches_round
from unwrap.coupon.readings import readings_template
from unwrap.errors import BadInput

FILLED = """
[rulers]
printed_across = 170
printed_along = 250
measured_across = 169.15
measured_along = 251.25
[lines]
thinnest_line = 0.12
thinnest_gap = 0.15
thinnest_open_line = 0.20
[registration]
across = [0, 2, -3]
along = 1
[colour]
target = "#1f4d3a"
patch = 40
[[film]]
state = "softened"
ball = 40
largest_disc = 16
strip = 52
[[film]]
state = "set"
largest_disc = 10
"""


@pytest.fixture
def write(tmp_path):
    def _write(text):
        path = tmp_path / "readings.toml"
        path.write_text(text)
        return path

    return _write


def test_settings_follow_from_the_readings(write):
    text = read_coupon(write(FILLED))
    settings = tomllib.loads(text)
    assert settings["print"]["scale_x"] == pytest.approx(170 / 169.15, abs=1e-6)
    assert settings["print"]["scale_y"] == pytest.approx(250 / 251.25, abs=1e-6)
    assert settings["print"]["min_line"] == 0.12
    assert settings["print"]["min_gap"] == 0.2
    assert settings["print"]["registration"] == settings["print"]["white_choke"] == 0.15
    # A 16 mm disc on a 40 mm ball: rim 0.4^2 / 8 = 2 %; the strip was drawn out by 4 %.
    assert settings["film"] == {"stretch": 0.04, "compression": 0.02}
    assert "# softened\n[film]" in text
    assert "# set; the stretch is the least that the disc has shown, a strip shows more\n# [film]" in text
    wanted = next(p.colour for p in patches_round("#1f4d3a") if p.number == 40)
    assert f'write "{wanted}" (patch 40)' in text


def test_settings_are_keys_that_a_job_takes(write):
    from unwrap.job_settings import FilmChoice, PrintSettings

    settings = tomllib.loads(read_coupon(write(FILLED)))
    assert FilmChoice.model_validate(settings["film"]).film.stretch == 0.04
    assert PrintSettings.model_validate(settings["print"]).min_line == 0.12


def test_only_what_was_measured_is_set(write):
    text = read_coupon(write("[lines]\nthinnest_line = 0.1\n"))
    assert tomllib.loads(text) == {"print": {"min_line": 0.1}}


def test_perfect_registration_is_not_claimed_finer_than_the_comb(write):
    text = read_coupon(write("[registration]\nacross = 0\nalong = [0, 0]\n"))
    assert tomllib.loads(text)["print"]["registration"] == 0.05


def test_fresh_form_says_that_nothing_is_filled_in(write):
    form = readings_template((170.0, 250.0), "#1f4d3a")
    tomllib.loads(form)
    with pytest.raises(BadInput, match="nothing is filled in"):
        read_coupon(write(form))


def test_form_with_its_marks_taken_away_is_good(write):
    lines = readings_template((170.0, 250.0), "#1f4d3a").splitlines()
    keys = ("measured", "thinnest", "across =", "along =", "patch", "largest", "strip")
    opened = [line[2:] if line.startswith("# ") and line[2:].startswith(keys) else line for line in lines]
    settings = tomllib.loads(read_coupon(write("\n".join(opened))))
    assert set(settings) == {"film", "print"}
    assert set(settings["print"]) == {
        "min_line",
        "min_gap",
        "registration",
        "white_choke",
        "scale_x",
        "scale_y",
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[rulers\n", "mend that line"),
        ("[ruler]\n", "did you mean rulers"),
        ("[lines]\nthinest_line = 0.1\n", "did you mean thinnest_line"),
        ("[lines]\nthinnest_line = true\n", "is no number"),
        ("[lines]\nthinnest_line = 7\n", "no line's width"),
        ("[rulers]\nprinted_across = 170\nmeasured_across = 140\n", "more than 5 % off"),
        ("[rulers]\nmeasured_across = 140\n", "printed_across is missing"),
        ("[rulers]\nprinted_across = nan\nmeasured_across = 140\n", "is no number"),
        ("[registration]\nacross = [0, 11]\n", "no tooth"),
        ('[colour]\ntarget = "#1f4d3a"\npatch = 76\n', "1 to 75"),
        ("[[film]]\nlargest_disc = 40\n", "does not fit a ball"),
        ("[[film]]\nstrip = 52\n", "no largest_disc"),
        ("[[film]]\nlargest_disc = 10\nstrip = 40\n", "before it was drawn out"),
        ("film = 3\n", "not a table"),
        ("lines = 3\n", "not a table"),
    ],
)
def test_slips_are_named(write, text, says):
    with pytest.raises(BadInput, match=says):
        read_coupon(write(text))


def test_missing_file(tmp_path):
    with pytest.raises(BadInput, match="cannot be opened"):
        read_coupon(tmp_path / "none.toml")
