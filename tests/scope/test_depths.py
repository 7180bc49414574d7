"""What a dig meets by depth."""

from typing import Any

import pytest

from corridor.scope.depths import against_dig
from tests.builders import make_lines


def _against(dig_depth_m: float | None, **line: Any) -> str:
    row = {"line_id": "A", "geometry": [(0, 0), (1, 0)], "diameter_mm": 200.0} | line
    return str(against_dig(make_lines([row]), dig_depth_m, tolerance_m=0.3)[0])


@pytest.mark.parametrize(("depth_m", "expected"), [(1.0, "in"), (1.59, "in"), (1.61, "below"), (3.0, "below")])
def test_the_top_of_the_line_counts_and_the_tolerance(depth_m: float, expected: str) -> None:
    # dig 1.2 m and 0.3 m tolerance reach 1.5 m; the top of a pipe of 200 mm lies 0.1 m above its axis
    assert _against(1.2, depth_m=depth_m) == expected


def test_a_depth_that_is_assumed_or_missing_is_not_sure() -> None:
    assert _against(1.2, depth_m=0.5, depth_m_src="default") == "unsure"
    assert _against(1.2, depth_m=None) == "unsure"
    assert _against(1.2, depth_m=0.5, depth_m_src="mapped") == "in"


def test_a_range_that_straddles_the_bottom_is_not_sure() -> None:
    assert _against(1.2, depth_m=1.5, depth_m_low=1.2, depth_m_high=1.9) == "unsure"
    assert _against(1.2, depth_m=1.0, depth_m_low=0.8, depth_m_high=1.2) == "in"
    assert _against(1.2, depth_m=1.5, vertical_accuracy_m=0.3) == "unsure"
    assert _against(1.2, depth_m=2.5, vertical_accuracy_m=0.3) == "below"


@pytest.mark.parametrize("dig_depth_m", [None, float("nan")])
def test_without_a_dig_depth_nothing_is_told(dig_depth_m: float | None) -> None:
    assert _against(dig_depth_m, depth_m=9.0) == "not stated"


def test_only_what_is_needed_must_be_there() -> None:
    lines = make_lines([{"line_id": "A", "geometry": [(0, 0), (1, 0)], "depth_m": 0.5}])[
        ["line_id", "depth_m", "geometry"]
    ]
    assert against_dig(lines, 1.0, tolerance_m=0.0).tolist() == ["in"]
    assert against_dig(lines.iloc[:0], 1.0, tolerance_m=0.0).tolist() == []
