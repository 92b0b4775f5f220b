import json
import math

import numpy as np
import pytest
import shapely

from unwrap.guide.report import build_report, clean, per_cent, summary_lines
from unwrap.guide.strips import count_strips, line_length
from unwrap.livery.paint import Curve, Paint
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


@pytest.mark.parametrize(("radius", "strips"), [(0.0, 4), (5.0, 8), (15.0, 2)])
def test_rounded_corners_count_as_corner_pieces(radius, strips):
    # A 60 x 30 panel: four strips; with rounded corners four strips and four corner
    # pieces; with 15 mm corners the ends are half circles: two strips and two bends.
    panel = (
        shapely.box(radius, radius, 60 - radius, 30 - radius).buffer(radius, quad_segs=48)
        if radius < 15
        else (shapely.LineString([(15, 15), (45, 15)]).buffer(15, quad_segs=48))
    )
    if radius == 0.0:
        panel = shapely.box(0, 0, 60, 30)
    corners = np.asarray(panel.exterior.coords)
    a, b = corners[:-1], corners[1:]
    curve = Curve(np.stack([a, (2 * a + b) / 3, (a + 2 * b) / 3, b], axis=1), True)
    join = "mitre" if radius == 0 else "round"
    area = panel.exterior.buffer(0.2, join_style=join)
    stroked = Paint("line", "#ffffff", area, (curve,), 0.4)
    drawn = Paint("line", "#ffffff", area)
    expected = strips if radius < 15 else 4
    assert count_strips(stroked) == expected
    assert count_strips(drawn) == expected
    assert line_length(stroked)[0] == pytest.approx(panel.exterior.length)
    assert line_length(drawn) == pytest.approx((panel.exterior.length, 0.4), rel=2e-3)


def test_open_strip_with_one_bend():
    path = shapely.LineString([(0, 0), (40, 0), (40, 25)])
    drawn = Paint("line", "#ffffff", path.buffer(0.25, cap_style="flat", join_style="mitre"))
    assert count_strips(drawn) == 2
    assert line_length(drawn) == pytest.approx((65.0, 0.5), rel=1e-2)


@pytest.mark.parametrize(("fraction", "text"), [(0.0123, "1.2 %"), (0.0004, "0.04 %"), (0.0, "0.00 %")])
def test_per_cent(fraction, text):
    assert per_cent(fraction) == text
