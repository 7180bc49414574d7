"""Junction gaps: closed where small, told where not."""

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point
from shapely.affinity import translate

from corridor.settings import SiteSettings
from corridor.site.findings import Findings
from corridor.site.snapping import snap_lines
from tests.site.records import CRS, X, Y, course, labelled, line, messages

SETTINGS = SiteSettings()
NOTHING = gpd.GeoDataFrame(geometry=[], crs=CRS)


def snap(
    *rows: dict[str, object], structures: gpd.GeoDataFrame = NOTHING
) -> tuple[gpd.GeoDataFrame, dict[str, list[str]]]:
    lines = labelled(rows)
    before = lines.copy(deep=True)
    findings = Findings()
    result = snap_lines(lines, structures, findings=findings, settings=SETTINGS)
    assert lines.geom_equals_exact(before, 0.0).all()
    assert list(result.columns) == list(lines.columns)
    assert result.crs == lines.crs
    return result, messages(findings)


def ends(lines: gpd.GeoDataFrame, row: int) -> list[tuple[float, float]]:
    points = lines.geometry[row].coords
    return [(x - X, y - Y) for x, y in (points[0], points[-1])]


def test_ends_that_almost_meet_are_one_point() -> None:
    lines, told = snap(line("A", (0, 0), (50, 0)), line("B", (50.06, 0.05), (90, 0)))
    assert ends(lines, 1)[0] == pytest.approx((50, 0), abs=1e-9)
    assert ends(lines, 0)[1] == (50, 0)  # the first id keeps its place
    assert told == {"snapped": ["an end lay 0.078 m beside the junction"]}


def test_many_ends_in_one_point_are_one_junction() -> None:
    # thousands of them, as pairs, would be millions
    angle = np.linspace(0.0, 2 * np.pi, 80, endpoint=False)
    rays = [line(f"R{k:03}", (0, 0), (90 * np.cos(a), 90 * np.sin(a))) for k, a in enumerate(angle)]
    lines, told = snap(*rays, line("Z", (0.05, 0.0), (0.0, 200.0)))
    assert ends(lines, 80)[0] == pytest.approx((0, 0), abs=1e-9)
    assert "an end lay 0.050 m beside the junction" in told["snapped"]


def test_a_ring_alone_meets_nothing() -> None:
    lines, told = snap(line("A", (0, 0), (9, 0), (9, 9), (0, 0.0)), line("B", (50, 0), (60, 0)))
    assert ends(lines, 0) == [(0, 0), (0, 0)]
    assert told == {}


def test_the_point_where_most_lie_is_kept() -> None:
    lines, _ = snap(line("A", (0, 0), (50, 0)), line("B", (50.08, 0), (90, 0)), line("C", (50.08, 0), (50, 40)))
    assert ends(lines, 0)[1] == pytest.approx((50.08, 0), abs=1e-9)


def test_an_end_beside_a_course_is_moved_on_to_it() -> None:
    lines, told = snap(line("A", (0, 0), (50, 0)), line("B", (20, 0.08), (20, 30)))
    assert ends(lines, 1)[0] == pytest.approx((20, 0), abs=1e-9)
    assert lines.geometry[0].distance(Point(lines.geometry[1].coords[0])) < 1e-9
    assert told == {"snapped": ["an end lay 0.080 m beside the junction"]}


@pytest.mark.parametrize("start", [(50.06, 0), (25, 0.08), (25, 0.6)])
def test_lines_of_two_voltages_are_not_joined(start: tuple[float, float]) -> None:
    # between networks of two voltages stands a transformer (common practice)
    lines, told = snap(
        line("A", (0, 0), (50, 0), utility="electricity", nominal_voltage_v=20_000.0),
        line("B", start, (60, 30), utility="electricity", nominal_voltage_v=400.0),
    )
    assert ends(lines, 1)[0] == pytest.approx(start, abs=1e-9)
    assert told == {}


@pytest.mark.parametrize("start", [(50.6, 0), (25, 0.6)])
def test_a_wider_gap_is_told_and_left(start: tuple[float, float]) -> None:
    lines, told = snap(line("A", (0, 0), (50, 0)), line("B", start, (60, 30)))
    assert ends(lines, 1)[0] == pytest.approx(start, abs=1e-9)
    (message,) = told["near_miss"]
    assert message.startswith("an end stops 0.60 m from ")


@pytest.mark.parametrize("gap_m", [0.3, 0.99])
def test_lines_side_by_side_miss_nothing(gap_m: float) -> None:
    beside = [line("B", (0, gap_m), (50, gap_m)), line("C", (50, -gap_m), (0, -gap_m)), line("D", (10, 0), (60, -0.2))]
    for other in beside[:2]:
        assert snap(line("A", (0, 0), (50, 0)), other)[1] == {}
    assert snap(line("A", (0, gap_m + 0.1), (50, gap_m + 0.1)), beside[2])[1] == {}  # ends along another's course


@pytest.mark.parametrize(
    ("course", "misses"),
    [
        (((20, 0.6), (20, 30)), True),  # a tee that stops short
        (((20, 0.35), (90, 30)), True),  # one at an acute angle, whose next metre would meet the main
        (((50.6, 0), (90, 0)), True),  # a cut in the course
        (((50, 0.6), (90, 0.6)), True),  # the same, shifted
        (((50, 0.6), (50, 30)), True),  # a corner
        (((50.3, 0.6), (0, 0.6)), False),  # ends beside the end, from the same side
        (((20, 0.6), (60, 0.7)), False),  # begins beside the course
    ],
)
def test_a_near_miss_points_at_what_it_misses(course: tuple[tuple[float, float], ...], misses: bool) -> None:
    told = snap(line("A", (0, 0), (50, 0)), line("B", *course))[1]
    assert list(told) == (["near_miss"] if misses else [])


def test_a_gap_beyond_the_reach_is_no_near_miss() -> None:
    assert snap(line("A", (0, 0), (50, 0)), line("B", (51.2, 0), (90, 0)))[1] == {}


def test_other_utilities_are_left_alone() -> None:
    for other in ("gas", "unknown"):
        first = line("A", (0, 0), (50, 0), utility="water" if other == "gas" else other)
        assert snap(first, line("B", (50.05, 0), (90, 0), utility=other))[1] == {}


def test_rounding_of_coordinates_is_undone_without_a_word() -> None:
    lines, told = snap(line("A", (0, 0), (30, 10)), line("B", (15, 5.001), (15, 30)))
    assert lines.geometry[0].distance(Point(lines.geometry[1].coords[0])) < 1e-9
    assert told == {}


def test_a_short_line_stays_where_it_is() -> None:
    lines, _ = snap(line("A", (0, 0), (50, 0)), line("B", (50.05, 0), (50.12, 0)))
    assert lines.geometry[1].length == pytest.approx(0.07)


def test_a_chain_of_ends_drags_none_further_than_the_tolerance() -> None:
    rows = [line(f"L{i}", (0.08 * i, 0), (0.08 * i, 40)) for i in range(6)]
    lines, _ = snap(*rows)
    for i, row in enumerate(rows):
        assert Point(lines.geometry[i].coords[0]).distance(Point(row["geometry"].coords[0])) <= 0.1 + 1e-9


def test_a_cable_that_ends_at_a_structure_is_not_loose() -> None:
    place = gpd.GeoDataFrame(geometry=[Point(X + 50, Y)], crs=CRS)
    cable = {"utility": "electricity", "asset": "cable"}
    rows = (line("A", (0, 0), (50, 0), **cable), line("B", (50, 0.4), (90, 0.4), **cable))
    assert "near_miss" in snap(*rows)[1]
    assert snap(*rows, structures=place)[1] == {}


def test_the_two_ends_of_one_line_are_left_open() -> None:
    lines, told = snap(line("A", (0, 0), (9, 0), (9, 9), (0, 0.05)), line("B", (30, 0), (40, 0)))
    assert ends(lines, 0) == [(0, 0), pytest.approx((0, 0.05))]
    assert told == {}


def test_inner_vertices_stay() -> None:
    lines, _ = snap(line("A", (0, 0), (50, 0)), line("B", (50.05, 0), (60, 5), (70, 0)))
    assert lines.geometry[1].coords[1] == (X + 60, Y + 5)
    assert len(lines.geometry[1].coords) == 3


def test_one_line_and_none() -> None:
    assert len(snap(line("A"))[0]) == 1
    empty = labelled([line("A")]).iloc[:0]
    assert snap_lines(empty, NOTHING, findings=Findings(), settings=SETTINGS).empty


places = st.tuples(st.integers(0, 400), st.integers(0, 400)).map(lambda p: (p[0] * 0.05, p[1] * 0.05))


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(places, places).filter(lambda p: p[0] != p[1]), min_size=2, max_size=8), st.integers(-3, 3))
def test_moves_are_small_and_move_with_the_site(pairs: list[tuple[tuple[float, float], ...]], shift: int) -> None:
    rows = [line(f"L{i}", *pair) for i, pair in enumerate(pairs)]
    lines, _ = snap(*rows)
    for i, row in enumerate(rows):
        old, new = (np.asarray(shape.coords)[[0, -1]] for shape in (row["geometry"], lines.geometry[i]))
        # once to an end, once on to a course
        assert np.hypot(*(new - old).T).max() <= 2 * SETTINGS.snap_m + 1e-6
        assert lines.geometry[i].length > 0
    moved, _ = snap(*[row | {"geometry": translate(row["geometry"], 64.0 * shift, 0)} for row in rows])
    back = moved.translate(-64.0 * shift, 0)
    assert max(a.hausdorff_distance(b) for a, b in zip(back, lines.geometry, strict=True)) < 1e-6


def test_the_order_of_rows_does_not_matter() -> None:
    rows = [line("A", (0, 0), (50, 0)), line("B", (50.05, 0), (90, 0)), line("C", (50, 0.05), (50, 40))]
    first, second = snap(*rows)[0], snap(*rows[::-1])[0]
    for i, row in enumerate(rows):
        assert first.geometry[i].equals_exact(second.geometry[len(rows) - 1 - i], 0.0), row["line_id"]


def test_course_helper_is_in_metres() -> None:
    assert course((0, 0), (3, 4)).length == 5.0
