"""The data dictionary keeps its own rules."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import Point

from corridor.dictionary import INPUT_TABLES, RESULT_TABLES, Column, Table
from corridor.errors import CrsError
from corridor.frames import check_metric, empty_table, provenance, rounded, stamp, table_frame

TABLES = {**INPUT_TABLES, **RESULT_TABLES}
COLUMNS = [(table, column) for table in TABLES.values() for column in table.columns]
UNITS = {"m": "_m", "mm": "_mm", "ohm": "_ohm", "V": "_v", "mA": "_ma", "Hz": "_hz", "nT": "_nt", "deg": "_deg"}


@pytest.mark.parametrize("name", sorted(TABLES))
def test_names_are_unique(name: str) -> None:
    assert len(set(TABLES[name].names)) == len(TABLES[name].columns)


@pytest.mark.parametrize(("table", "column"), COLUMNS)
def test_every_column_says_what_it_is(table: Table, column: Column) -> None:
    assert column.meaning.endswith("."), f"{table.name}.{column.name}"
    if column.unit in UNITS:
        assert column.name.endswith(UNITS[column.unit])


@pytest.mark.parametrize("name", sorted(TABLES))
def test_empty_table_keeps_columns_and_types(name: str) -> None:
    frame = empty_table(name, crs="EPSG:32631")
    assert list(frame.columns) == [*TABLES[name].names, "geometry"]
    assert frame.crs == "EPSG:32631"
    assert frame.empty


def test_unknown_table_is_refused() -> None:
    with pytest.raises(KeyError):
        empty_table("no_such_table")
    with pytest.raises(KeyError):
        TABLES["lines"].column("no_such_column")


def test_reals_are_rounded_to_the_dictionary() -> None:
    frame = table_frame("crossings", {"angle_deg": [12.34567, -0.0001]}, geometry=[Point(0, 0), None])
    assert frame["angle_deg"].tolist() == [12.35, 0.0]
    assert str(frame["angle_deg"].tolist()[1]) == "0.0"
    assert frame["clearance_m"].isna().all()


def test_a_table_shares_nothing_with_what_it_was_made_from() -> None:
    given = {"crossing_id": np.array(["a", "b"], dtype=object), "angle_deg": np.array([1.0, 2.0])}
    places = np.array([Point(0, 0), Point(1, 0)])
    frames = table_frame("crossings", given, geometry=places), table_frame("crossings", given | {"own_m": places})
    given["crossing_id"][0], given["angle_deg"][0], places[0] = "c", 9.0, None
    for frame in frames:
        assert frame["crossing_id"].tolist() == ["a", "b"]
        assert frame["angle_deg"].tolist() == [1.0, 2.0]
        assert frame.get("own_m", frame.geometry)[0] == Point(0, 0)
    frames[0].loc[0, "clearance_m"] = 3.0
    assert frames[0]["clearance_low_m"].isna().all()


def test_rounding_for_grades_is_the_rounding_shown() -> None:
    assert rounded(RESULT_TABLES["stations"], "peak_offset_m", [0.15049, -0.00001]).tolist() == [0.15, 0.0]


def test_extra_columns_follow() -> None:
    frame = table_frame("crossings", [{"crossing_id": "x", "src_note": "n"}])
    assert list(frame.columns)[-2:] == ["src_note", "geometry"]


def test_stamps_append() -> None:
    frame = stamp(stamp(empty_table("crossings"), test_stamps_append), empty_table, x=1)
    assert [step["function"] for step in provenance(frame)] == ["test_stamps_append", "empty_table"]
    assert provenance(pd.DataFrame()) == []


@pytest.mark.parametrize("crs", [None, "EPSG:4326", "EPSG:2263"])
def test_a_crs_not_in_metres_is_refused(crs: str | None) -> None:
    with pytest.raises(CrsError, match="expected one CRS in metres"):
        check_metric(gpd.GeoDataFrame(geometry=[Point(0, 0)], crs=crs))


def test_frames_must_share_their_crs() -> None:
    first = gpd.GeoDataFrame(geometry=[Point(0, 0)], crs="EPSG:32631")
    check_metric(first, first.copy())
    with pytest.raises(CrsError):
        check_metric(first, first.to_crs("EPSG:32632"))
