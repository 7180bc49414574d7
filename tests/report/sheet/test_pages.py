"""Data of a set-up's pages: what a stretch's row says, the identity check, fallbacks, cautions, the crew's line."""

import math
from typing import Any

import pandas as pd
import pytest

from corridor.report.maps.closeup import CLOSEUP_IN, TALL_IN
from corridor.report.sheet.pages import FRONT_ROWS, SetUpPages
from tests.report.sheet.conftest import changed, words
from tests.report.sheet.test_write import crowded


@pytest.fixture
def setup(reviewed: Any) -> pd.Series:
    return reviewed.setups[reviewed.setups["setup_id"].eq("S1")].iloc[0].copy()


def test_a_stretchs_row_gives_grade_currents_and_depth_with_units(reviewed: Any, setup: pd.Series) -> None:
    (row,) = SetUpPages(reviewed).page(setup).data["along"]
    assert (row["letter"], row["line"], row["grade"]) == ("a", "A", "pulled")
    assert row["range"].startswith("0 to 60 m, read at ")
    assert row["current"].endswith("\u00a0mA")
    assert row["depth"].endswith("\u00a0m")
    assert words(row["record"]) == "1 m" or words(row["record"]) == "1.00 m"
    assert row["misleads"] == "don't mark from this peak alone"


def test_a_depth_reading_that_may_be_off_isnt_taken(reviewed: Any, setup: pd.Series) -> None:
    stations = reviewed.stations.assign(depth_reading_high_m=9.0)
    (row,) = SetUpPages(changed(reviewed, stations=stations)).page(setup).data["along"]
    assert row["depth_stop"] == "take no depth"
    right = {f"depth_reading_{end}m": reviewed.stations["depth_m"] for end in ("", "low_", "high_")}
    (row,) = SetUpPages(changed(reviewed, stations=reviewed.stations.assign(**right))).page(setup).data["along"]
    assert row["depth_stop"] != "take no depth"


def test_a_reading_that_tells_nothing_says_so(reviewed: Any, setup: pd.Series) -> None:
    readings = reviewed.expected_readings.assign(tells=False)
    (row,) = SetUpPages(changed(reviewed, expected_readings=readings)).page(setup).data["along"]
    assert row["current"].endswith("tells nothing")


def test_the_line_is_told_at_its_far_end(reviewed: Any, setup: pd.Series) -> None:
    page = SetUpPages(reviewed).page(setup)
    said = [words(text) for text in page.data["identity"]]
    assert said[0] == "Follow A to the five-sided mark, 60 m along it."
    assert "stop, it may be another line" in said[1]
    assert any("No access point on record at that end" in text for text in said)
    assert page.closeup is not None
    assert page.closeup.check is not None
    assert page.closeup.check.x == pytest.approx(60.0)


def test_fallbacks_are_put_into_words_and_another_method_stands_where_there_is_none(
    reviewed: Any, setup: pd.Series
) -> None:
    fallback = SetUpPages(reviewed).page(setup).data["fallback"]
    assert words(fallback["b"]).startswith("direct on A, at A-M, 1 000 Hz, 5 mA")
    assert fallback["trigger"].startswith("Go to B if ")
    setup["fallback_b"] = None
    assert "test hole" in SetUpPages(reviewed).page(setup).data["fallback"]["b"]


def test_the_hook_ups_caution_stands_above_and_isnt_repeated_below(reviewed: Any, setup: pd.Series) -> None:
    setup["caution"] = "Only qualified persons work at energized conductors."
    strategy = reviewed.strategy.assign(caution="Only qualified persons work at energized conductors. Another.")
    data = SetUpPages(changed(reviewed, strategy=strategy)).page(setup).data
    assert data["caution"] == "Only qualified persons work at energized conductors."
    assert data["caution"] not in data["cautions"]
    assert "Another." in data["cautions"]
    assert any("stake and its lead" in text for text in data["cautions"])


def test_with_other_crews_at_work_their_frequency_and_what_waits_are_said(reviewed: Any, setup: pd.Series) -> None:
    setup["crew_frequency_hz"], setup["not_with"], setup["battery_h"] = 5000.0, "S7 S9", 3.6
    said = words(SetUpPages(reviewed).page(setup).data["crew"])
    assert said == ("step 2, crew 1, with other crews at work use 5 000 Hz, not while S7 S9 run, battery about 4 h")
    setup["step"] = setup["crew"] = pd.NA
    setup["crew_frequency_hz"] = setup["battery_h"] = math.nan
    setup["not_with"] = None
    assert SetUpPages(reviewed).page(setup).data["crew"] == ""


def test_the_double_ended_connection_says_what_its_far_end_needs(reviewed: Any, setup: pd.Series) -> None:
    hookups = reviewed.hookups.assign(far_end="grounded")
    assert SetUpPages(changed(reviewed, hookups=hookups)).page(setup).data["stake_side"] == "south; far end grounded"


def test_many_stretches_get_a_taller_map(reviewed: Any, setup: pd.Series) -> None:
    for count, size in ((FRONT_ROWS, CLOSEUP_IN), (FRONT_ROWS + 1, TALL_IN)):
        closeup = SetUpPages(crowded(reviewed, count)).page(setup).closeup
        assert closeup is not None
        assert closeup.size_in == size
        assert [row[0] for row in closeup.traced] == list("abcdefgh"[:count])


def test_partners_on_the_map_are_the_leaks_of_the_page(reviewed: Any, setup: pd.Series) -> None:
    page = SetUpPages(reviewed).page(setup)
    assert page.closeup is not None
    assert list(page.closeup.partners) == [text.split(" ")[0] for text in page.data["leaks"]] == ["B"]


def test_a_set_up_without_a_place_has_no_map_but_its_page(reviewed: Any, setup: pd.Series) -> None:
    setup["geometry"] = None
    page = SetUpPages(reviewed).page(setup)
    assert page.closeup is None
    assert page.data["id"] == "S1"
