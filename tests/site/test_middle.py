"""The line along the middle of a long, narrow area."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Polygon

from corridor.site.middle import middle_line

COURSES = [[(0, 0), (50, 0)], [(0, 0), (30, 0), (50, 20)], [(0, 0), (30, 0), (30, 40), (60, 40)]]


@pytest.mark.parametrize("points", COURSES)
@pytest.mark.parametrize("cap", ["flat", "round", "square"])
def test_the_middle_of_a_drawn_width_is_the_course(points: list[tuple[float, float]], cap: str) -> None:
    # by construction: a buffer's middle is the line it was made from, its ends within half a width
    course = LineString(points)
    found = middle_line(course.buffer(0.4, cap_style=cap, join_style="mitre"))
    assert found is not None
    assert found.width_m == pytest.approx(0.8, rel=0.01)
    assert found.line.hausdorff_distance(course) < 0.41
    assert found.line.length == pytest.approx(course.length, abs=0.85)


@settings(max_examples=5, deadline=None)
@given(length=st.floats(20, 200), width=st.floats(0.2, 2.0), turn=st.floats(0, math.pi))
def test_a_rectangle_has_its_axis(length: float, width: float, turn: float) -> None:
    area = shapely.affinity.rotate(shapely.box(0, -width / 2, length, width / 2), turn, origin=(0, 0), use_radians=True)
    found = middle_line(area)
    assert found is not None
    assert found.width_m == pytest.approx(width, rel=1e-6)  # A = l w and P = 2 (l + w), exact for a rectangle
    axis = LineString([(0, 0), (length * math.cos(turn), length * math.sin(turn))])
    assert found.line.hausdorff_distance(axis) < 0.05 * width + 1e-6


@pytest.mark.parametrize(
    "area",
    [shapely.box(0, 0, 4, 3), shapely.Point(0, 0).buffer(5), Polygon(),
     MultiPolygon([shapely.box(0, 0, 20, 1), shapely.box(0, 9, 20, 10)])],
)  # fmt: skip
def test_what_is_not_long_and_narrow_has_none(area: Polygon) -> None:
    assert middle_line(area) is None


def test_a_hole_is_no_second_way_and_the_result_repeats() -> None:
    area = Polygon([(0, 0), (40, 0), (40, 1), (0, 1)], [[(10, 0.3), (12, 0.3), (12, 0.7), (10, 0.7)]])
    first, again = middle_line(area), middle_line(area)
    assert first is not None
    assert again is not None
    assert first.line.equals_exact(again.line, 0.0)
    assert first.line.length == pytest.approx(40.0, abs=0.01)
