"""Cells: what their edges cut, and that nothing is lost or counted twice."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.scope.cells import Grid, grid_over

AREA = shapely.Polygon([(3, 2), (83, 9), (90, 60), (40, 35), (10, 70)])
SHAPES = ("hexagon", "square")
places = st.tuples(st.floats(-20, 110), st.floats(-20, 90))
on_edges = st.tuples(st.integers(-2, 11).map(lambda n: 10.0 * n), st.integers(-2, 9).map(lambda n: 10.0 * n))
courses = st.lists(st.one_of(places, on_edges), min_size=2, max_size=6)


def _covering(shape: str, size_m: float) -> Grid:
    return grid_over(AREA, shape=shape, size_m=size_m)  # type: ignore[arg-type]


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=40)
@given(courses=st.lists(courses, min_size=1, max_size=5), size_m=st.sampled_from([4.0, 10.0, 33.3]))
def test_lengths_in_cells_add_up_to_the_clipped_lengths(
    shape: str, courses: list[list[tuple[float, float]]], size_m: float
) -> None:
    # the length of what shapely itself clips, an independent program; rounding of the cuts: 1e-6 m
    lines = shapely.intersection(np.array([shapely.LineString(course) for course in courses], dtype=object), AREA)
    grid = _covering(shape, size_m)
    pieces = grid.cut(lines)
    length = np.bincount(pieces.owner, weights=pieces.length_m, minlength=len(lines))
    assert length == pytest.approx(shapely.length(lines), abs=1e-6)
    assert (pieces.cell >= 0).all()


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=40)
@given(course=st.lists(places, min_size=2, max_size=5))
def test_each_cell_gets_what_lies_in_it(shape: str, course: list[tuple[float, float]]) -> None:
    # cell by cell against shapely's intersection; lines along an edge are left out, where that counts twice
    line = shapely.intersection(shapely.LineString(course), AREA)
    grid = _covering(shape, 12.0)
    pieces = grid.cut(np.array([line], dtype=object))
    own = np.bincount(pieces.cell, weights=pieces.length_m, minlength=len(grid.key))
    plain = shapely.length(shapely.intersection(grid.polygons, line))
    if plain.sum() == pytest.approx(line.length, abs=1e-9):
        assert own == pytest.approx(plain, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("size_m", [3.0, 17.0, 500.0])
def test_cells_cover_the_area_once(shape: str, size_m: float) -> None:
    grid = _covering(shape, size_m)
    assert shapely.area(grid.polygons).sum() == pytest.approx(AREA.area)
    assert shapely.union_all(grid.polygons).area == pytest.approx(AREA.area)
    assert len(set(grid.names)) == len(grid.names)


@pytest.mark.parametrize("size_m", [7.0, 20.0])
def test_whole_cells_have_the_area_of_their_shape(size_m: float) -> None:
    # a regular hexagon of width w between two sides has the area w^2 sqrt(3) / 2 (elementary geometry)
    wide = shapely.box(0, 0, 300, 300)
    inner = {"hexagon": size_m**2 * math.sqrt(3) / 2, "square": size_m**2}
    for shape, area_m2 in inner.items():
        grid = grid_over(wide, shape=shape, size_m=size_m)  # type: ignore[arg-type]
        assert shapely.area(grid.polygons).max() == pytest.approx(area_m2)
        assert np.median(shapely.area(grid.polygons)) == pytest.approx(area_m2)


@pytest.mark.parametrize("shape", SHAPES)
def test_points_belong_to_the_cell_that_holds_them(shape: str) -> None:
    grid = _covering(shape, 9.0)
    inside = shapely.get_coordinates(shapely.point_on_surface(grid.polygons))
    assert grid.cells_of(inside).tolist() == list(range(len(grid.key)))


def test_a_line_on_a_common_edge_is_counted_once_and_the_edge_of_the_area_is_not_lost() -> None:
    grid = grid_over(shapely.box(0, 0, 30, 20), shape="square", size_m=10.0)
    lines = np.array([shapely.LineString([(10, 0), (10, 20)]), shapely.LineString([(30, 0), (30, 20)])], dtype=object)
    pieces = grid.cut(lines)
    assert pieces.length_m == pytest.approx([10.0] * 4)
    assert [grid.names[cell] for cell in pieces.cell] == ["1_0", "1_1", "2_0", "2_1"]


@pytest.mark.parametrize("shape", SHAPES)
def test_names_don_t_depend_on_the_area(shape: str) -> None:
    wide, part = grid_over(AREA, shape=shape, size_m=8.0), grid_over(AREA.buffer(-6), shape=shape, size_m=8.0)  # type: ignore[arg-type]
    where = dict(zip(wide.names, wide.polygons, strict=True))
    assert set(part.names) <= set(where)
    for name, polygon in zip(part.names, part.polygons, strict=True):
        assert where[name].buffer(1e-6).covers(polygon)


@pytest.mark.parametrize("shape", SHAPES)
def test_nothing_in_gives_nothing_out(shape: str) -> None:
    grid = _covering(shape, 10.0)
    nothing = np.array([shapely.LineString(), shapely.Point(20, 20), shapely.GeometryCollection()], dtype=object)
    assert len(grid.cut(nothing).owner) == 0
    assert len(grid.cut(np.empty(0, dtype=object)).owner) == 0
    assert len(grid.cells_of(np.empty((0, 2)))) == 0


def test_an_area_in_parts_keeps_its_parts() -> None:
    parts = shapely.MultiPolygon([shapely.box(0, 0, 4, 4), shapely.box(6, 0, 9, 4)])
    grid = grid_over(parts, shape="square", size_m=10.0)
    assert grid.names == ["0_0"]
    assert grid.polygons[0].area == pytest.approx(28.0)
