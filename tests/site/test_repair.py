"""Geometry: there, finite, single, flat, of the table's type."""

import geopandas as gpd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import GeometryCollection, LineString, MultiLineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import INPUT_TABLES
from corridor.site.findings import FEATURE, Findings
from corridor.site.repair import repair_geometry
from tests.site.records import BROKEN, CRS, course, labelled, messages


def repair(*shapes: BaseGeometry | None, table: str = "lines") -> tuple[gpd.GeoDataFrame, dict[str, list[str]]]:
    rows = labelled([{"line_id": f"L{i}", "geometry": shape} for i, shape in enumerate(shapes)])
    before = rows.copy(deep=True)
    findings = Findings()
    result = repair_geometry(rows, INPUT_TABLES[table], findings)
    assert rows.geom_equals_exact(before, 0.0).all() or rows.geometry.isna().any() or BROKEN in shapes
    assert list(rows.columns) == list(before.columns)
    assert result.crs == CRS
    assert list(result.index) == list(range(len(result)))
    return result, messages(findings)


GOOD = course((0, 0), (10, 0))
SQUARE = Polygon([(0, 0), (4, 0), (4, 4), (0, 4)])
BOW_TIE = Polygon([(0, 0), (4, 4), (4, 0), (0, 4)])


@pytest.mark.parametrize(
    ("shape", "code"),
    [(None, "no_geometry"), (LineString(), "no_geometry"), (BROKEN, "not_finite"), (Point(0, 0), "wrong_geometry"),
     (SQUARE, "wrong_geometry"), (course((1, 1), (1, 1)), "zero_length"), (course((1, 1), (1, 1.0005)), "zero_length"),
     (MultiLineString([course((1, 1), (1, 1))]), "zero_length"),
     (GeometryCollection([Point(0, 0), SQUARE]), "wrong_geometry")],
)  # fmt: skip
def test_what_is_no_course_is_set_aside(shape: BaseGeometry | None, code: str) -> None:
    result, told = repair(GOOD, shape)
    assert result["line_id"].tolist() == ["L0"]
    assert list(told) == [code]


def test_a_good_line_is_left_as_it_is() -> None:
    result, told = repair(GOOD)
    assert result.geometry[0].equals_exact(GOOD, 0.0)
    assert not told


def test_parts_apart_are_single_lines() -> None:
    result, told = repair(MultiLineString([course((0, 0), (1, 0)), course((5, 0), (9, 0))]), GOOD)
    assert result["part"].tolist() == [0, 1, 0]
    assert result[FEATURE[1]].tolist() == [0, 0, 1]
    assert told == {"multipart": ["multipart: 2 parts"]}


def test_parts_that_follow_each_other_are_one_line() -> None:
    result, told = repair(MultiLineString([course((0, 0), (1, 0)), course((1, 0), (9, 0))]))
    assert len(result) == 1
    assert result.geometry[0].length == pytest.approx(9.0)
    assert "follow each other" in told["multipart"][0]


def test_a_multipart_of_one_part_is_single() -> None:
    result, told = repair(MultiLineString([GOOD]))
    assert result.geom_type.tolist() == ["LineString"]
    assert told == {}


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 4), min_size=1, max_size=5))
def test_every_part_comes_through_in_order(counts: list[int]) -> None:
    shapes = [
        MultiLineString([course((10 * k, 7 * i), (10 * k + 3, 7 * i)) for k in range(n)]) for i, n in enumerate(counts)
    ]
    result, _ = repair(*shapes)
    assert result[FEATURE[1]].tolist() == [i for i, n in enumerate(counts) for _ in range(n)]
    assert result["part"].tolist() == [k for n in counts for k in range(n)]


def test_height_is_kept_beside_and_never_a_depth() -> None:
    result, told = repair(LineString([(0, 0, 12.0), (9, 0, 13.5)]), GOOD)
    assert not result.geometry.has_z.any()
    assert result.loc[0, ["src_z_min_m", "src_z_max_m"]].tolist() == [12.0, 13.5]
    assert result.loc[1, ["src_z_min_m", "src_z_max_m"]].isna().all()
    assert "never a depth" in told["z_dropped"][0]


def test_points_lose_their_height_too() -> None:
    result, told = repair(Point(1, 2, 3), table="structures")
    assert result.geometry[0] == Point(1, 2)
    assert list(told) == ["z_dropped"]


def test_a_vertex_that_is_there_twice_is_dropped() -> None:
    result, told = repair(course((0, 0), (5, 0), (5, 0), (9, 0)))
    assert len(result.geometry[0].coords) == 3
    assert list(told) == ["repeated_vertices"]


def test_a_line_that_crosses_itself_is_used_and_told() -> None:
    result, told = repair(course((0, 0), (10, 0), (10, 5), (5, -5)))
    assert len(result) == 1
    assert list(told) == ["self_crossing"]


def test_a_structure_drawn_as_an_area_is_taken_at_its_centre() -> None:
    result, told = repair(SQUARE, MultiPoint([(1, 1), (2, 2)]), table="structures")
    assert [tuple(p.coords[0]) for p in result.geometry] == [(2.0, 2.0), (1.0, 1.0), (2.0, 2.0)]
    assert list(told) == ["multipart", "wrong_geometry"]


def test_areas_are_made_valid_or_set_aside() -> None:
    flat = Polygon([(0, 0), (4, 0), (2, 0)])
    result, told = repair(SQUARE, BOW_TIE, flat, table="soil")
    assert result.is_valid.all()
    assert set(result.geom_type) == {"Polygon"}
    assert result.area.sum() == pytest.approx(16.0 + 8.0)
    assert sorted(told["invalid_geometry"]) == ["the area crosses itself", "the area has no inside"]


def test_bonds_need_no_place() -> None:
    result, told = repair(None, Point(1, 1), LineString(), table="bonds")
    assert result.geometry.isna().tolist() == [True, False, True]
    assert not told


def test_a_table_without_geometry_passes() -> None:
    result, told = repair(None, table="terminations")
    assert len(result) == 1
    assert not told


def test_empty_in_empty_out() -> None:
    rows = labelled([{"line_id": "a", "geometry": GOOD}]).iloc[:0]
    findings = Findings()
    for table in INPUT_TABLES.values():
        assert repair_geometry(rows, table, findings).empty
