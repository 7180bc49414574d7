"""Test holes: where, why, which estimate counts them, and that near ones are one."""

from collections import Counter
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import Point

from corridor import Settings, scope_area
from corridor.frames import empty_table, table_frame
from corridor.scope import Scope
from corridor.scope.holes import holes_in, holes_table
from corridor.scope.meets import meets_of
from corridor.settings import ScopeSettings
from tests.builders import METRIC, make_lines
from tests.scope.small import LINES, SQUARES, twelve

SCOPE = ScopeSettings(hole_spacing_m=20.0, hole_merge_m=1.5)
AREA = shapely.box(0, -5, 100, 50)


def _holes(
    lines: list[dict[str, Any]], against: list[str], grades: Any = (), crossings: Any = None
) -> gpd.GeoDataFrame:
    frame = make_lines(lines)
    strategy = empty_table("strategy", METRIC)
    if grades:
        course = frame.set_index("line_id").geometry
        rows = [{"line_id": name, "grade": grade, "grade_worst": worst} for name, _, _, grade, worst in grades]
        shapes = [course[name].interpolate(a).union(course[name].interpolate(b)) for name, a, b, *_ in grades]
        strategy = table_frame("strategy", rows, geometry=[_between(shape) for shape in shapes], crs=METRIC)
    nothing = empty_table("crossings", METRIC)
    meets = meets_of(frame, empty_table("parallel_runs", METRIC), nothing if crossings is None else crossings,
                     strategy, area=AREA)  # fmt: skip
    whole = dict(zip(frame["line_id"], frame.geometry, strict=True))
    rows = holes_in(meets, np.array(against, dtype=object), phase="1", whole=whole, settings=SCOPE)
    return holes_table(rows, empty_table("surfaces", METRIC), settings=SCOPE)


def _between(points: Any) -> Any:
    return shapely.LineString(points.geoms)


def _line(name: str, y: float, **more: Any) -> dict[str, Any]:
    return {"line_id": name, "geometry": [(0, y), (100, y)]} | more


def test_a_line_that_tone_does_not_show_gets_holes_along_it() -> None:
    # 60 m in two stretches that adjoin, at most 20 m apart: three, in the middle of each third, at 10, 30 and 50 m
    holes = _holes([_line("A", 0)], ["in"], [("A", 0, 25, "faint", "faint"), ("A", 25, 60, "masked", "masked")])
    assert holes["reason"].unique().tolist() == ["not shown by tone"]
    assert dict(zip(holes["station_m"], holes["counted_from"], strict=True)) == {
        30.0: "low",
        10.0: "high",
        50.0: "high",
    }


def test_only_the_longest_part_counts_as_least() -> None:
    grades = [("A", 0, 10, "faint", "faint"), ("A", 10, 60, "readable", "readable"), ("A", 60, 78, "faint", "faint")]
    holes = _holes([_line("A", 0)], ["in"], grades)
    assert dict(zip(holes["station_m"], holes["counted_from"], strict=True)) == {69.0: "low", 5.0: "likely"}


@pytest.mark.parametrize(
    ("grade", "worst", "reason", "counted_from"),
    [
        ("pulled", "pulled", "mark pulled", "likely"),
        ("pulled", "faint", "mark pulled", "likely"),
        ("readable", "masked", "grade not sure", "high"),
        ("untraceable", "untraceable", "not shown by tone", "low"),
    ],
)
def test_one_hole_for_a_short_stretch_by_its_grades(grade: str, worst: str, reason: str, counted_from: str) -> None:
    holes = _holes([_line("A", 0)], ["in"], [("A", 40, 50, grade, worst)])
    assert holes[["reason", "counted_from", "station_m"]].to_numpy().tolist() == [[reason, counted_from, 45.0]]


@pytest.mark.parametrize("worst", ["readable", "pulled"])
def test_what_tone_shows_in_every_case_needs_none(worst: str) -> None:
    assert _holes([_line("A", 0)], ["in"], [("A", 0, 100, "readable", worst)]).empty


def test_lines_below_the_dig_need_none() -> None:
    lines = [_line("A", 0), _line("B", 10, conductive="no")]
    assert _holes(lines, ["below", "below"], [("A", 0, 100, "untraceable", "untraceable")]).empty


def test_where_nothing_was_computed_the_records_say_what_carries_no_tone() -> None:
    holes = _holes([_line("A", 0, conductive="no"), _line("B", 10)], ["in", "in"])
    assert set(holes["line_id"]) == {"A"}
    assert set(holes["reason"]) == {"carries no tone"}
    assert len(holes) == 5
    assert Counter(holes["counted_from"]) == {"low": 1, "likely": 2, "high": 2}


def test_an_unsure_depth_is_one_hole_and_an_unstated_dig_none() -> None:
    holes = _holes([_line("A", 0), _line("B", 10)], ["unsure", "not stated"])
    assert holes[["line_id", "reason", "counted_from"]].to_numpy().tolist() == [["A", "depth not sure", "likely"]]
    assert "whether it lies in the dig" in holes["settles"][0]


def test_a_crossing_of_unknown_clearance_counts_at_most_and_a_known_one_never() -> None:
    rows = [{"crossing_id": "1", "line_a": "A", "line_b": "B", "clearance_m": None},
            {"crossing_id": "2", "line_a": "A", "line_b": "B", "clearance_m": 0.4}]  # fmt: skip
    crossings = table_frame("crossings", rows, geometry=[Point(20, 0), Point(60, 0)], crs=METRIC)
    holes = _holes([_line("A", 0), _line("B", 0.5)], ["in", "in"], crossings=crossings)
    assert holes[["line_ids", "counted_from", "station_m"]].to_numpy().tolist() == [["A B", "high", 20.0]]
    assert _holes([_line("A", 0), _line("B", 0.5)], ["in", "below"], crossings=crossings).empty


def test_places_near_each_other_are_one_and_settle_both() -> None:
    # depth not sure of both in the middle, 1 m apart: one hole; at 2 m they are two
    near, far = (_holes([_line("A", 0), _line("B", y)], ["unsure", "unsure"]) for y in (1.0, 2.0))
    assert near[["line_id", "line_ids"]].to_numpy().tolist() == [["A", "A B"]]
    assert len(far) == 2


def test_holes_are_named_in_order_and_say_how_they_are_dug() -> None:
    scope: Scope = scope_area(twelve(), geometry_only=True, settings=SQUARES)
    holes = scope.test_holes
    assert holes["hole_id"].tolist() == [f"H{n}" for n in range(1, len(holes) + 1)]
    assert holes["caution"].str.contains("by hand or by vacuum").all()
    assert holes["surface"].isna().all()
    # D is plastic and lies in phase 2, within its dig: one hole in its middle, on the edge of two cells
    assert holes[holes["line_id"].eq("D")][["phase", "counted_from"]].to_numpy().tolist() == [["2", "low"]]
    at = holes.geometry[holes["line_id"].eq("D")].iloc[0]
    assert (at.x, at.y) == (30.0, 25.0)
    cells = scope.cells.set_index("cell_id")["test_holes"]
    assert cells["3_2"] == 1
    assert cells.sum() == (holes["counted_from"] != "high").sum()


def test_totals_count_holes_up() -> None:
    unsure = [{**row, "depth_m": None} for row in LINES]
    scope = scope_area(twelve(lines=unsure), geometry_only=True, settings=Settings(scope=SQUARES.scope))
    whole = scope.scope_phases.iloc[0]
    counted = Counter(scope.test_holes["counted_from"])
    assert whole["test_holes_low"] == counted["low"]
    assert whole["test_holes_likely"] == counted["low"] + counted["likely"]
    assert whole["test_holes_high"] == len(scope.test_holes)
    assert counted["high"] > 0  # the crossings' clearances aren't known either
