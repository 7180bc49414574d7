"""Go and stop: from the expected readings of the source, with units, and stated where they say nothing."""

import math
from typing import Any

import pandas as pd
import pytest

from corridor.report.sheet.limits import outside, source_limits, source_rows
from tests.report.sheet.conftest import words


def reading(kind: str, unit: str, low: float, high: float, stop: tuple[float, float], **more: Any) -> dict[str, Any]:
    return {"kind": kind, "unit": unit, "expected_low": low, "expected_high": high, "stop_below": stop[0],
            "stop_above": stop[1], "tells": True} | more  # fmt: skip


DIRECT = [
    reading("source_ma", "mA", 10.0, 10.0, (10.0, 10.0)),
    reading("source_v", "V", 0.925, 4.51, (0.503, 8.93)),
    reading("source_ohm", "ohm", 92.47, 451.1, (50.26, 892.6)),
    reading("receiver_ma", "mA", 1.0, 2.0, (0.5, 3.0)),
]


def limits(rows: list[dict[str, Any]], level_ma: float = 10.0) -> tuple[str, str]:
    found = source_limits(pd.DataFrame(rows), level_ma)
    return words(found.go), words(found.stop)


def test_a_direct_connection_goes_by_its_loop() -> None:
    go, stop = limits(DIRECT)
    assert go == "loop 92.5 to 451 Ω (0.925 to 4.51 V)"
    assert stop == "loop under 50.3 or over 893 Ω, or the source can't hold 10 mA"


def test_a_held_current_stops_only_where_it_isnt_held() -> None:
    go, stop = limits([reading("clamp_ma", "mA", 5.0, 5.0, (5.0, 5.0))], 5.0)
    assert go == "the source holds 5 mA on the line"
    assert stop == "the source can't hold 5 mA on the line"


def test_induction_goes_by_the_current_on_the_line() -> None:
    go, stop = limits([reading("clamp_ma", "mA", 1.487, 3.268, (1.363, 5.69))], 5.0)
    assert go == "1.49 to 3.27 mA on the line here"
    assert stop == "line reads under 1.36 or over 5.69 mA"


@pytest.mark.parametrize(
    "rows",
    [
        [reading("clamp_ma", "mA", 0.1, 5.0, (0.01, 9.0), tells=False)],
        [reading("source_ohm", "ohm", math.nan, math.nan, (math.nan, math.nan))],
        [reading("receiver_ma", "mA", 1.0, 2.0, (0.5, 3.0))],
    ],
)
def test_a_reading_that_tells_nothing_is_no_limit_and_says_so(rows: list[dict[str, Any]]) -> None:
    go, stop = limits(rows)
    assert "tells nothing" in go
    assert stop == "the tone can't be followed from here, or the source can't hold 10 mA"


def test_where_a_reading_stops_the_work() -> None:
    assert words(outside(DIRECT[2])) == "under 50.3 or over 893 Ω"
    assert words(outside(DIRECT[0])) == "under 10 mA: the source can't hold it"
    # a loop that all cases agree on is no output that a source holds
    assert words(outside(reading("source_ohm", "ohm", 180.0, 180.0, (180.0, 180.0)))) == "under 180 or over 180 Ω"
    assert outside(reading("source_v", "V", 1.0, 2.0, (math.nan, 2.0))) == ""


def test_source_rows_leave_the_receiver_out() -> None:
    assert source_rows(pd.DataFrame(DIRECT))["kind"].tolist() == ["source_ma", "source_v", "source_ohm"]
