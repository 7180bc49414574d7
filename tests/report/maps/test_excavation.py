"""Strips of an excavation: every recorded line in the work area, as wide as its place is known, by what tone shows."""

from typing import Any

import geopandas as gpd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from corridor.dictionary import GRADES
from corridor.frames import table_frame
from corridor.report.maps.excavation import Strip, strips_in
from corridor.settings import DrawSettings
from tests.builders import METRIC, make_lines

DRAWS = DrawSettings()
COURSE = [(0, 0), (100, 0)]


def lines(**more: Any) -> gpd.GeoDataFrame:
    return make_lines([{"line_id": "A", "utility": "water", "geometry": COURSE, "diameter_mm": 200.0, **more}])


def stretches(*rows: tuple[float, float, str | None, str | None]) -> gpd.GeoDataFrame:
    data = [{"stretch_id": f"A:{n}", "line_id": "A", "from_m": start, "to_m": end, "grade": grade, "grade_worst": worst}
            for n, (start, end, grade, worst) in enumerate(rows)]  # fmt: skip
    shapes = [LineString([(start, 0), (end, 0)]) for start, end, *_ in rows]
    return table_frame("strategy", data, geometry=shapes, crs=METRIC)


def area(*boxes: tuple[float, float, float, float], **more: Any) -> gpd.GeoDataFrame:
    rows = [{"phase": str(number), "dig_depth_m": 2.0, **more} for number in range(1, len(boxes) + 1)]
    return table_frame("work_area", rows, geometry=[box(*corners) for corners in boxes], crs=METRIC)


WHOLE = area((-10, -10, 110, 10))


def strips(*rows: tuple[float, float, str | None, str | None], **more: Any) -> list[Strip]:
    return strips_in(lines(**more), stretches(*rows), WHOLE, draws=DRAWS)


@pytest.mark.parametrize(
    ("grade", "worst", "tone"),
    [
        ("readable", "readable", "shown"),
        ("readable", "pulled", "off"),
        ("pulled", "faint", "off"),  # a wrong mark matters more than too little tone
        ("readable", "faint", "not shown"),
        ("readable", "masked", "not shown"),
        ("masked", "masked", "not shown"),
        ("faint", "faint", "not shown"),
        ("untraceable", "untraceable", "not shown"),
        (None, None, "not shown"),
    ],
)
def test_of_two_grades_the_one_to_know_first_counts(grade: str | None, worst: str | None, tone: str) -> None:
    (strip,) = strips((0, 100, grade, worst))
    assert strip.tone == tone


def test_what_no_stretch_covers_counts_as_not_shown() -> None:
    found = strips((10, 40, "readable", "readable"), (60, 100, "pulled", "pulled"))
    assert sorted((round(s.course.length), s.tone, s.grade) for s in found) == [
        (10, "not shown", ""), (20, "not shown", ""), (30, "shown", "readable"), (40, "off", "pulled")
    ]  # fmt: skip


def test_a_line_that_no_plan_looked_at_is_there() -> None:
    (strip,) = strips_in(lines(), stretches(), WHOLE, draws=DRAWS)
    assert (strip.tone, strip.grade, strip.course.length) == ("not shown", "", 100.0)


@pytest.mark.parametrize("status", ["removed", "proposed"])
def test_what_is_not_in_the_ground_has_no_strip(status: str) -> None:
    assert strips(status=status) == []


@pytest.mark.parametrize("status", ["abandoned", "out_of_service", "unknown", None])
def test_what_is_out_of_use_is_still_there(status: str | None) -> None:
    assert len(strips(status=status)) == 1


def test_the_width_is_the_accuracy_on_record_and_half_the_diameter() -> None:
    (strip,) = strips((0, 100, "readable", "readable"), horizontal_accuracy_m=0.3, quality_level="b")
    assert strip.stated
    assert strip.half_width_m == pytest.approx(0.4)
    assert strip.ground.area == pytest.approx(100 * 0.8)


@pytest.mark.parametrize(("level", "deviation_m"), [("a", 0.05), ("b", 0.15), ("c", 0.3), ("d", 0.5), (None, 0.5)])
def test_without_one_it_is_twice_the_deviation_of_its_quality_level(level: str | None, deviation_m: float) -> None:
    # twice the standard deviation holds 95 % of a normal spread (any table of the normal distribution)
    (strip,) = strips(quality_level=level)
    assert not strip.stated
    assert strip.half_width_m == pytest.approx(0.1 + 2 * deviation_m)


def test_nothing_reaches_outside_the_work_area_and_phases_are_apart() -> None:
    phases = area((0, -5, 40, 5), (40, -5, 70, 5))
    found = strips_in(lines(), stretches((0, 100, "readable", "readable")), phases, draws=DRAWS)
    assert [(s.phase, round(s.course.length)) for s in found] == [(0, 40), (1, 30)]
    for strip in found:
        assert phases.geometry[strip.phase].buffer(1e-9).covers(strip.ground)


def test_a_work_area_without_lines_has_no_strips() -> None:
    assert strips_in(lines(), stretches(), area((0, 50, 9, 60)), draws=DRAWS) == []
    assert strips_in(lines(), stretches(), area(), draws=DRAWS) == []


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(0, 9), st.sampled_from([*GRADES, None])), max_size=6, unique_by=lambda row: row[0])
)
def test_every_metre_of_a_line_stands_in_one_strip(tens: list[tuple[int, str | None]]) -> None:
    rows = [(10.0 * ten, 10.0 * ten + 10.0, grade, grade) for ten, grade in tens]
    found = strips(*rows)
    assert sum(strip.course.length for strip in found) == pytest.approx(100.0)
    assert all(strip.tone != "shown" or strip.grade == "readable" for strip in found)
