"""What a file is and says it holds: what isn't records is refused, what can't be read is counted and told."""

import os
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from shapely import LineString

from corridor import read_site
from corridor.errors import InputError
from corridor.site import container
from corridor.site.container import check_kind, held_by
from corridor.site.sources import read_layers
from tests.site.records import found, line, write

ENDLESS = "WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n) SELECT k AS fid FROM n"


@pytest.fixture
def records(tmp_path: Path) -> Path:
    return write(tmp_path, lines=[line("W-1"), line("W-2", (0.0, 5.0), (50.0, 5.0))])


def alter(path: Path, *statements: str) -> Path:
    base = sqlite3.connect(path)
    for statement in statements:
        base.execute(statement)
    base.commit()
    base.close()
    return path


def view(path: Path, select: str) -> Path:
    return alter(
        path, f"CREATE VIEW more AS {select}",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
        "VALUES ('more', 'features', 'more', 32631)",
        "INSERT INTO gpkg_geometry_columns VALUES ('more', 'geom', 'LINESTRING', 32631, 0, 0)",
    )  # fmt: skip


def test_a_pipe_is_refused_before_it_is_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.gpkg")
    with pytest.raises(InputError, match=r"pipe\.gpkg is a pipe or a device"):
        read_site(tmp_path / "pipe.gpkg")


@pytest.mark.parametrize("name", ["nowhere.gpkg", "n" * 300 + ".gpkg", "a\x00b.gpkg"])
def test_a_name_of_nothing_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        check_kind(tmp_path / name)


def test_a_link_to_itself_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").symlink_to(tmp_path / "a.gpkg")
    with pytest.raises(InputError, match="does not exist"):
        check_kind(tmp_path / "a.gpkg")


@pytest.mark.parametrize(
    "text",
    [
        '<OGRVRTDataSource><OGRVRTLayer name="lines"><SrcDataSource>/vsicurl/http://x/y</SrcDataSource></OGRVRTLayer>',
        "<OGRWFSDataSource><URL>http://x/y</URL></OGRWFSDataSource>",
        '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline read x"}',
    ],
)
def test_a_file_that_only_names_other_places_is_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "lines.gpkg").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"lines\.gpkg holds none and names other places"):
        read_site(tmp_path / "lines.gpkg")


def test_a_view_is_read_as_a_table_is(records: Path) -> None:
    view(records, "SELECT fid, geom FROM lines")
    assert found(read_site(records), "unknown_layer")["message"].startswith("records.gpkg:more: 2 features")


@pytest.mark.parametrize(
    ("select", "words"),
    [(ENDLESS, "gives no end of rows"), ("SELECT * FROM nowhere", "no such table"), ("SELECT * FROM more", "circular")],
)
def test_a_view_that_cannot_be_run_is_told(
    select: str, words: str, records: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(container, "_STEPS_MOST", 3)
    told = found(read_site(view(records, select)), "unreadable_layer")
    assert words in told["message"]
    assert told["action"].startswith("set aside")


def test_functions_of_the_reading_library_are_no_trouble(records: Path) -> None:
    view(records, "SELECT fid, geom, ST_MinX(geom) AS x FROM lines")
    assert held_by(records).bad_views == {}


def test_a_count_that_lies_hides_no_feature(records: Path) -> None:
    alter(records, "UPDATE gpkg_ogr_contents SET feature_count = 1")
    site = read_site(records)
    assert site.accounting["features_in"].tolist() == [2]
    assert sorted(site.lines["line_id"]) == ["W-1", "W-2"]


def test_a_table_in_no_list_is_told(records: Path) -> None:
    listed = "INSERT INTO gpkg_contents (table_name, data_type) SELECT 'notes', 'attributes'"
    alter(records, "CREATE TABLE hidden_lines AS SELECT * FROM lines", listed, "CREATE TABLE notes (a TEXT)")
    told = read_site(records).findings
    told = told[told["code"] == "unlisted_table"]
    assert told["message"].tolist() == ["records.gpkg: the table 'hidden_lines', 2 rows, is in no list of layers"]


def test_a_shapefile_says_how_many_shapes_it_has(tmp_path: Path) -> None:
    (tmp_path / "a.shp").touch()
    (tmp_path / "a.shx").write_bytes(bytes(100 + 3 * 8))
    (tmp_path / "a.dbf").write_bytes(b"\x03\x00\x00\x00" + struct.pack("<I", 5) + bytes(24))
    assert held_by(tmp_path / "a.shp").rows == {"a": 5}
    (tmp_path / "a.dbf").write_bytes(b"\x03")
    assert held_by(tmp_path / "a.shp").rows == {"a": 3}


def test_rows_that_cannot_be_read_are_counted_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, lines=[line("W-1")])
    own: Callable[[Path], Any] = container._database
    monkeypatch.setattr(container, "_database", lambda p: container.Held(rows=own(p).rows | {"lines": 4}))
    site = read_site(path)
    assert site.accounting.loc[0, ["features_in", "used", "set_aside"]].tolist() == [4, 1, 3]
    told = found(site, "features_lost")
    assert "holds 4 features, 3 of them can't be read" in told["message"]
    assert (told["severity"], told["action"][:9]) == ("severe", "set aside")


def test_what_says_nothing_holds_nothing(tmp_path: Path) -> None:
    (tmp_path / "a.geojson").write_text("{}", encoding="utf-8")
    assert held_by(tmp_path / "a.geojson").rows == held_by(tmp_path).rows == {}
    (tmp_path / "b.gpkg").write_bytes(b"SQLite format 3\x00 and nothing else")
    assert held_by(tmp_path / "b.gpkg").tables == ()


def test_a_flatgeobuf_that_says_it_holds_less_is_counted_feature_by_feature(tmp_path: Path) -> None:
    path = tmp_path / "terminations.fgb"
    rows = pd.DataFrame({"structure_id": ["V-1"] * 37, "line_id": [f"W-{k}" for k in range(37)], "at": "start"})
    pyogrio.write_dataframe(rows, path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
    assert held_by(path).rows == {"terminations": 37}
    path.write_bytes(path.read_bytes().replace(struct.pack("<Q", 37), struct.pack("<Q", 5), 1))
    layer = read_layers(path)["terminations"]
    assert len(layer) == 37 or [code for code, _, _ in layer.attrs["trouble"]] == ["features_lost"]


def test_a_flatgeobuf_with_an_index_says_nothing(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"line_id": ["W-1"]}, geometry=[LineString([(0, 0), (9, 9)])], crs=32633)
    pyogrio.write_dataframe(frame, tmp_path / "lines.fgb", driver="FlatGeobuf")
    assert held_by(tmp_path / "lines.fgb").rows == {}
