"""Lines as arrays of segments."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString

from corridor.couplings.segments import pieces, segments_of, sorted_lines, sorted_with
from corridor.errors import CrsError, InputError
from tests.builders import METRIC
from tests.couplings.plain import street


def frame(*shapes: object, ids: list[object] | None = None, crs: object = METRIC) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"line_id": ids or [f"L{k}" for k in range(len(shapes))]}, geometry=list(shapes), crs=crs)


def test_lines_are_ordered_by_id_as_text() -> None:
    shape = LineString([(0, 0), (1, 0)])
    assert list(sorted_lines(frame(shape, shape, shape, ids=["L9", "L10", "A"]))["line_id"]) == ["A", "L10", "L9"]
    assert list(sorted_lines(frame(shape, shape, ids=[9, 10]))["line_id"]) == ["10", "9"]


def test_some_columns_of_sorted_lines() -> None:
    lines = frame(LineString([(0, 0), (1, 0)]), LineString([(0, 5), (1, 0)]), ids=["b", "a"]).assign(own=[1, 2], more=3)
    found = sorted_with(lines, ("more", "line_id", "not there"))
    assert list(found.columns) == ["line_id", "more", "geometry"]
    assert found["line_id"].dtype == object
    assert found.geometry.equals(sorted_lines(lines).geometry)
    with pytest.raises(InputError, match="line_id"):
        sorted_with(lines.drop(columns="line_id"), ("own",))


def test_missing_crs_is_refused() -> None:
    with pytest.raises(CrsError, match="expected one CRS in metres"):
        sorted_lines(frame(LineString([(0, 0), (1, 0)]), crs=None))
    with pytest.raises(CrsError, match="EPSG:4326"):
        sorted_lines(frame(LineString([(0, 0), (1, 0)]), crs="EPSG:4326"))


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (frame(LineString([(0, 0), (1, 0)])).drop(columns="line_id"), "expected a column line_id"),
        (frame(LineString([(0, 0), (1, 0)]), ids=[None]), "row 0 has none"),
        (frame(*[LineString([(0, 0), (1, 0)])] * 2, ids=["x", "x"]), "'x' comes twice"),
        (frame(MultiLineString([[(0, 0), (1, 0)], [(2, 0), (3, 0)]])), "'L0' has MultiLineString; use explode"),
        (frame(LineString([(0, 0), (1, 0)]), None), "'L1' has no geometry"),
    ],
)
def test_what_cannot_be_used_is_named(lines: gpd.GeoDataFrame, words: str) -> None:
    with pytest.raises(InputError, match=words.replace("(", r"\(")):
        sorted_lines(lines)


def test_infinite_coordinates_are_refused() -> None:
    with pytest.raises(InputError, match="'L0'"):
        segments_of(frame(LineString([(0, 0), (np.inf, 0)])))


def test_repeated_vertices_make_no_segment() -> None:
    found = segments_of(frame(LineString([(0, 0), (0, 0), (3, 4), (3, 4), (3, 5)])))
    assert found.length_m.tolist() == [5.0, 1.0]
    assert found.start_m.tolist() == [0.0, 5.0]


def test_z_is_left_out() -> None:
    assert segments_of(frame(LineString([(0, 0, 9), (3, 4, 2)]))).length_m.tolist() == [5.0]


def test_measures_of_a_line_do_not_depend_on_the_others() -> None:
    lines = sorted_lines(street(3, count=8))
    together = segments_of(lines)
    for row in range(len(lines)):
        alone = segments_of(lines.iloc[[row]])
        np.testing.assert_array_equal(together.start_m[together.line == row], alone.start_m)


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_measures_are_lengths_along_the_line(seed: int) -> None:
    lines = sorted_lines(street(seed))
    found = segments_of(lines)
    for row, shape in enumerate(lines.geometry):
        on = found.line == row
        measures = [shape.project(shapely.Point(xy)) for xy in shape.coords[:-1]]
        np.testing.assert_allclose(found.start_m[on], measures, atol=1e-9)
        assert found.start_m[on][-1] + found.length_m[on][-1] == pytest.approx(shape.length, abs=1e-9)
    np.testing.assert_allclose(found.end_x_m[:-1][np.diff(found.line) == 0], found.x_m[1:][np.diff(found.line) == 0])


@given(st.integers(0, 10_000), st.floats(0.01, 0.98), st.floats(0.01, 0.98))
@settings(max_examples=25, deadline=None)
def test_pieces_are_substrings(seed: int, one: float, two: float) -> None:
    lines = sorted_lines(street(seed))
    low, high = min(one, two), max(one, two) + 0.01
    length = lines.geometry.length.to_numpy()
    rows = np.arange(len(lines))
    for row, piece in enumerate(pieces(segments_of(lines), rows, low * length, high * length)):
        plain = shapely.ops.substring(lines.geometry.iloc[row], low * length[row], high * length[row])
        assert piece.equals_exact(plain, 1e-9)


def test_a_whole_line_is_a_piece_of_itself() -> None:
    shape = LineString([(0, 0), (3, 4), (10, 4)])
    (piece,) = pieces(segments_of(frame(shape)), np.array([0]), np.array([0.0]), np.array([12.0]))
    assert piece.equals(shape)
