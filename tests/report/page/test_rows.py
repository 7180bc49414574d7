"""Cells of the page's tables: plain, finite, and the same however they came."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point

from corridor.report.page.rows import centimetres, rows_of, value_of


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        (None, None), (pd.NA, None), (pd.NaT, None), (float("nan"), None), (float("inf"), None),
        (np.float64(1.23456), 1.2346), (np.int64(3), 3), (True, True), (np.bool_(False), False),
        ("a\nb\x1b[31m\u202e", "a b?[31m?"), (Point(1, 2), "POINT (1 2)"),
    ],
)  # fmt: skip
def test_one_cell(cell: object, told: object) -> None:
    found = value_of(cell)
    assert found == told
    assert type(found) is type(told)


def test_rows_have_the_columns_asked_for() -> None:
    frame = pd.DataFrame({"b": [1.5, np.nan], "a": ["x", None], "flag": pd.array([True, None], dtype="boolean")})
    assert rows_of(frame, ("a", "b", "nowhere", "flag")) == [["x", 1.5, None, True], [None, None, None, None]]
    assert rows_of(None, ("a",)) == []
    assert rows_of(frame.iloc[:0], ("a",)) == []


def test_rows_leave_the_table_as_it_is() -> None:
    frame = gpd.GeoDataFrame({"a": ["\x07"]}, geometry=[Point(0, 0)], crs=32633)
    before = frame.copy()
    assert rows_of(frame, ("a",)) == [["?"]]
    pd.testing.assert_frame_equal(frame, before)


def test_coordinates_are_whole_centimetres_from_the_origin() -> None:
    line = LineString([(500_000.004, 10.0), (500_001.236, 12.5)])
    assert centimetres(line, (500_000.0, 10.0)) == [0, 0, 124, 250]
    assert centimetres(Point(1, 2), (1.0, 2.0)) == [0, 0]
    assert centimetres(LineString([(0, 0, 5), (1, 0, 5)]), (0.0, 0.0)) == [0, 0, 100, 0]  # Z is left out
