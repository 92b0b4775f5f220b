"""Scales and sheet sizes against published tables."""

import pytest

from unwrap.job_settings import SHEET_SIZES
from unwrap.lengths import read_length, read_scale

# MOROP NEM 010 (edition 2011), 3.4 prints the rounded ratios 1:87, 1:76 and 1:43.5 for
# 3.5, 4 and 7 mm to the foot; the exact ratio is 304.8 mm over the mm per foot.
PER_FOOT = [("3.5 mm/ft", 87.08571, 87.0), ("4 mm/ft", 76.2, 76.0), ("7 mm/ft", 43.54286, 43.5)]

# Standard gauge (1435 mm) at the ratios that NEM 010, table 1, lists.
GAUGES = [
    ("1:220", 6.5227),
    ("1:160", 8.9688),
    ("1:120", 11.958),
    ("1:87", 16.494),
    ("1:45", 31.889),
    ("1:32", 44.844),
]


@pytest.mark.parametrize(("text", "exact", "printed"), PER_FOOT)
def test_millimetres_to_the_foot(text: str, exact: float, printed: float) -> None:
    assert read_scale(text) == pytest.approx(exact, abs=5e-6)
    assert read_scale(text) == pytest.approx(printed, rel=5e-3)
    assert read_length("12 in proto", read_scale(text)) == pytest.approx(float(text.split()[0]))


@pytest.mark.parametrize(("ratio", "gauge"), GAUGES)
def test_standard_gauge_at_model_size(ratio: str, gauge: float) -> None:
    assert read_length("1435 mm proto", read_scale(ratio)) == pytest.approx(gauge, abs=5e-4)


def test_sheet_sizes() -> None:
    # ISO 216: each A size is half the one before, sides rounded down to whole mm, A3 being 297 x 420.
    assert SHEET_SIZES["A3"] == (297.0, 420.0)
    for larger, smaller in (("A3", "A4"), ("A4", "A5")):
        short, long = SHEET_SIZES[larger]
        assert SHEET_SIZES[smaller] == (long // 2, short)
    # ANSI/ASME Y14.1 size A (from memory): 8.5 x 11 in.
    assert SHEET_SIZES["Letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
