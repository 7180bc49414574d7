"""Stretches of a set-up: letters, sides of pulls by plane geometry, where no depth may be taken."""

import math
from typing import Any

import geopandas as gpd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from corridor.report.sheet.traced import Traced, letter, trace_stretches
from corridor.settings import GradeSettings
from tests.report.sheet.conftest import words

GRADES = GradeSettings()
LENGTH_M = 40.0


def stations(line: LineString, *rows: dict[str, Any]) -> gpd.GeoDataFrame:
    """Stations every 10 m from 5 m on: clean unless a row says otherwise."""
    clean = {"line_id": "A", "depth_m": 1.0, "grade": "readable", "grade_worst": "readable"}
    for column in ("peak_offset_m", "peak_offset_low_m", "peak_offset_high_m"):
        clean[column] = 0.0
    for column in ("depth_reading_m", "depth_reading_low_m", "depth_reading_high_m"):
        clean[column] = 1.0
    columns = [*clean, "station_m"]
    full = [clean | {"station_m": 5.0 + 10.0 * k} | row for k, row in enumerate(rows)]
    return gpd.GeoDataFrame(
        full, columns=columns, geometry=[line.interpolate(row["station_m"]) for row in full], crs=32633
    )


def traced(line: LineString, *rows: dict[str, Any]) -> Traced:
    """The one stretch, of the whole line."""
    stretch = {"line_id": "A", "from_m": 0.0, "to_m": line.length, "grade": "readable", "grade_worst": "readable"}
    stretches = gpd.GeoDataFrame([stretch], geometry=[line], crs=32633)
    lines = gpd.GeoDataFrame({"line_id": ["A"]}, geometry=[line], index=["A"], crs=32633)
    (found,) = trace_stretches(stretches, stations(line, *rows), lines, grades=GRADES)
    return found


@pytest.mark.parametrize(
    ("to", "side"), [((40, 0), "north"), ((-40, 0), "south"), ((0, 40), "west"), ((0, -40), "east")]
)
def test_a_positive_offset_stands_to_the_left_of_the_lines_direction(to: tuple[float, float], side: str) -> None:
    # the left of somebody walking east is north, by plane geometry; stations' offsets are positive to the left
    found = traced(
        LineString([(0, 0), to]), {"peak_offset_m": 0.3, "peak_offset_low_m": 0.2, "peak_offset_high_m": 0.4}
    )
    assert words(found.pull_text()) == f"0.400 m {side}"


def test_cases_that_differ_in_side_are_told_on_both() -> None:
    line = LineString([(0, 0), (40, 0)])
    found = traced(line, {"peak_offset_m": 0.0, "peak_offset_low_m": -0.5, "peak_offset_high_m": 0.25})
    assert words(found.pull_text()) == "0.250 m north or 0.500 m south"


def test_offsets_within_tolerance_or_unknown_are_no_pull() -> None:
    line = LineString([(0, 0), (40, 0)])
    unknown = dict.fromkeys(("peak_offset_m", "peak_offset_low_m", "peak_offset_high_m"), math.nan)
    found = traced(line, {"peak_offset_m": GRADES.offset_tolerance_m}, unknown)
    assert found.pulls == ()
    assert found.pull_text() == ""


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 2 * math.pi), st.floats(0.2, 3.0))
def test_a_pulls_direction_is_square_to_the_line(angle: float, offset_m: float) -> None:
    line = LineString([(0, 0), (40 * math.cos(angle), 40 * math.sin(angle))])
    (pull,) = traced(line, {"peak_offset_high_m": offset_m}).pulls
    assert math.hypot(pull.east, pull.north) == pytest.approx(1.0)
    assert pull.east * math.cos(angle) + pull.north * math.sin(angle) == pytest.approx(0.0, abs=1e-9)
    # left of the direction: the cross product of direction and pull points up
    assert math.cos(angle) * pull.north - math.sin(angle) * pull.east == pytest.approx(1.0)


def test_no_depth_is_taken_where_some_case_is_off_or_shows_none() -> None:
    line = LineString([(0, 0), (40, 0)])
    found = traced(line, {}, {"depth_reading_high_m": 1.2}, {"depth_reading_m": math.nan}, {})
    (piece,) = found.no_depth  # the two neighbours' pieces are joined: from 10 m, half-way, to 30 m
    assert (piece.bounds[0], piece.bounds[2]) == pytest.approx((10.0, 30.0))
    assert traced(line, {"depth_reading_high_m": 1.0 + GRADES.depth_tolerance_share}).no_depth == ()


def test_a_piece_follows_the_lines_corners() -> None:
    line = LineString([(0, 0), (20, 0), (20, 20)])
    (piece,) = traced(line, {}, {"depth_reading_m": 2.0}, {"depth_reading_m": 2.0}).no_depth
    assert piece.length == pytest.approx(30.0)
    assert (20.0, 0.0) in list(piece.coords)


def test_masked_stations_are_marked_whichever_case_masks_them() -> None:
    line = LineString([(0, 0), (40, 0)])
    found = traced(line, {"grade": "masked"}, {"grade_worst": "masked"}, {})
    assert [point.x for point in found.masked] == [5.0, 15.0]


def test_it_is_read_at_the_station_nearest_to_its_middle() -> None:
    found = traced(LineString([(0, 0), (40, 0)]), {}, {}, {}, {"depth_m": 1.4})
    assert found.read_at in (Point(15, 0), Point(25, 0))
    assert found.depth_text() == "1.00 to 1.40 m"


def test_a_stretch_without_stations_claims_nothing() -> None:
    found = traced(LineString([(0, 0), (40, 0)]))
    assert (found.pulls, found.masked, found.no_depth, found.read_at, found.depth_text()) == ((), (), (), None, "")


def test_a_grade_that_misleads_in_some_case_is_said() -> None:
    found = traced(LineString([(0, 0), (40, 0)]), {})
    assert not found.misleads
    assert Traced("a", {"grade": "readable", "grade_worst": "masked"}).misleads
    assert Traced("a", {"grade": "pulled", "grade_worst": None}).misleads


@pytest.mark.parametrize(("number", "name"), [(0, "a"), (25, "z"), (26, "aa"), (51, "az"), (52, "ba")])
def test_letters(number: int, name: str) -> None:
    assert letter(number) == name
