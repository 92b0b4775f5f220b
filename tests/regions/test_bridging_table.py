"""Each kind of detail against the same body without it: the truth that bridging must meet."""

import pytest
from bridged_bodies import CASES
from bridging_truth import AREA, OUTLINE, STRETCH, compare


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_bridged_region_is_the_body_without_its_details(case):
    found = compare(case)
    assert found.outline <= OUTLINE
    assert found.area <= AREA
    assert found.stretch <= STRETCH
    assert case.count in (None, found.count)
