import json
import math

import numpy as np
import pytest
import shapely

from unwrap.guide.report import build_report, clean, per_cent, summary_lines
from unwrap.sheet.sheet import Placement, Sheet

RADIUS, LENGTH, SECTIONS = 12.0, 60.0, 96


@pytest.fixture(scope="module")
def report(pieces):
    sheets = [
        Sheet(
            2, 210.0, 297.0, (Placement(pieces[0], 0.0, (100.0, 20.0)), Placement(pieces[1], 0.0, (30, 200)))
        )
    ]
    return build_report(
        pieces,
        sheets,
        joints=[{"between": ["barrel", "dome"], "mismatch_mm": 0.031}],
        warnings=["a line was widened"],
        seconds={"read": 0.25},
    )


def test_figures_of_a_barrel_are_those_of_the_rectangle(report):
    entry = report["pieces"][0]
    around = SECTIONS * 2 * RADIUS * math.sin(math.pi / SECTIONS)
    assert entry["area_mm2"] == pytest.approx(around * LENGTH, rel=1e-9)
    assert shapely.Polygon(entry["outline"]).area == pytest.approx(entry["area_mm2"], rel=1e-6)
    assert entry["stretch"]["worst"] < 1e-9
    assert entry["within_film"] is True
    assert entry["sheet"] == 2


def test_dome_strain_is_that_of_the_azimuthal_map(report):
    # Snyder 1987, (25-2): k' = c / sin c, so the film shrinks by 1 - sin c / c at the rim.
    alpha = math.radians(55.0)
    entry = report["pieces"][1]
    assert entry["compression"]["worst"] == pytest.approx(1 - math.sin(alpha) / alpha, rel=0.05)
    assert entry["within_film"] is False
    assert any("dome is beyond the film" in line for line in report["warnings"])


def test_lining_lengths_and_strips(report):
    around = SECTIONS * 2 * RADIUS * math.sin(math.pi / SECTIONS)
    by_label = {entry["label"]: entry for entry in report["lining"]}
    lining = by_label["lining 1: cream 0.40 mm"]
    assert lining["length_mm"] == pytest.approx(2 * (LENGTH - 4) + 2 * (around - 4))
    assert lining["strips_replaced"] == 4
    bands = by_label["band: red 1.2 mm"]
    assert bands["length_mm"] == pytest.approx(2 * around)
    assert bands["strips_replaced"] == 2
    assert report["strips_replaced"] == {
        "in_all": sum(entry["strips_replaced"] for entry in report["lining"]),
        "regions": {"barrel": 6},
    }


def test_report_is_plain_json(report):
    assert json.loads(json.dumps(report, allow_nan=False)) == report
    assert report["joints"] == [{"between": ["barrel", "dome"], "mismatch_mm": 0.031}]
    assert report["seconds"] == {"read": 0.25}


def test_clean_refuses_no_numpy_value():
    raw = {"a": np.float64("nan"), "b": (np.int32(3), np.bool_(True)), "c": np.array([0.1 + 0.2])}
    assert clean(raw) == {"a": None, "b": [3, True], "c": [0.3]}


def test_summary_names_what_needs_the_user(report):
    lines = summary_lines(report)
    assert lines[0].split()[0] == "piece"
    assert any(line.startswith("dome") and "BEYOND" in line for line in lines)
    assert lines[-1].startswith("Look at this")
    assert any("a line was widened" in line for line in lines)


@pytest.mark.parametrize(("fraction", "text"), [(0.0123, "1.2 %"), (0.0004, "0.04 %"), (0.0, "0.00 %")])
def test_per_cent(fraction, text):
    assert per_cent(fraction) == text
