"""GeoPackage: version 1.3, metadata, mixed and NULL geometry, the same bytes for the same input."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import pandas as pd
import pyogrio
import pytest
from shapely import LineString, Point

from corridor.dictionary import RESULT_TABLES
from corridor.errors import OutputError
from corridor.frames import CAUTION, empty_table, table_frame
from corridor.report.layers.geopackage import write_geopackage
from corridor.site import read_site
from tests.builders import METRIC

METADATA = {"caution": CAUTION, "receipt": json.dumps({"seed": 0}), "date": "2024-05-06T07:08:09.000Z"}


def _tables() -> dict[str, Any]:
    strategy = table_frame(
        "strategy",
        [
            {"stretch_id": "1", "line_id": "A", "settled": None, "assumed": True},
            {"stretch_id": "2", "line_id": "Ä", "settled": False},
        ],
        geometry=[LineString([(0, 0), (5, 1)]), None],
        crs=METRIC,
    )
    findings = table_frame(
        "findings",
        [
            {"feature_source": "f", "feature_row": None, "severity": "note"},
            {"feature_source": "f", "feature_row": 3},
            {"feature_source": "g"},
        ],
        geometry=[None, Point(1, 2), LineString([(0, 0), (1, 1)])],
        crs=METRIC,
    )
    return {"strategy": strategy, "findings": findings, "hookups": empty_table("hookups", METRIC)}


def test_layers_come_back_as_they_went(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    tables = _tables()
    before = {name: table.copy() for name, table in tables.items()}
    write_geopackage(path, tables, metadata=METADATA)
    assert [tuple(row) for row in pyogrio.list_layers(path)] == [
        ("strategy", "LineString"),
        ("findings", "Unknown"),
        ("hookups", "Point"),
        ("layer_styles", None),
    ]
    for name, table in tables.items():
        back = pyogrio.read_dataframe(path, layer=name)
        assert back.crs == METRIC
        assert list(back.columns[:-1]) == list(RESULT_TABLES[name].names)
        assert back.geometry.geom_equals(table.geometry).sum() == table.geometry.notna().sum()
        pd.testing.assert_frame_equal(table, before[name])
    back = pyogrio.read_dataframe(path, layer="findings")
    assert back["feature_row"].isna().tolist() == [True, False, True]


def test_version_and_metadata(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    write_geopackage(path, _tables(), metadata=METADATA)
    with sqlite3.connect(path) as base:
        # OGC 12-128r17 (GeoPackage 1.3), table 1: the version is stated as 10300
        assert base.execute("pragma user_version").fetchone() == (10300,)
        descriptions = dict(base.execute("select table_name, description from gpkg_contents"))
        dates = {row[0] for row in base.execute("select last_change from gpkg_contents")}
    base.close()
    assert all(CAUTION in text for text in descriptions.values())
    assert dates == {METADATA["date"]}
    for layer in ("strategy", "findings", "hookups"):
        info = pyogrio.read_info(path, layer=layer)
        assert info["dataset_metadata"]["caution"] == info["layer_metadata"]["caution"] == CAUTION
        assert json.loads(info["layer_metadata"]["receipt"]) == {"seed": 0}


def test_same_input_same_bytes(tmp_path: Path) -> None:
    for name in ("a.gpkg", "b.gpkg"):
        write_geopackage(tmp_path / name, _tables(), metadata={"caution": CAUTION})
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_a_table_without_geometry(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    write_geopackage(path, {"terminations": pd.DataFrame({"structure_id": ["a"], "line_id": ["b"]})}, metadata={})
    assert [tuple(row) for row in pyogrio.list_layers(path)] == [("terminations", None)]


def test_nothing_to_write_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="at least one table"):
        write_geopackage(tmp_path / "r.gpkg", {}, metadata={})


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="can't write layer strategy"):
        write_geopackage(tmp_path / "no" / "r.gpkg", _tables(), metadata={})


def test_flags_are_boolean_fields_with_or_without_null(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    write_geopackage(path, _tables(), metadata=METADATA)
    info = pyogrio.read_info(path, layer="strategy")
    kinds = dict(zip(info["fields"], info["ogr_subtypes"], strict=True))
    assert kinds["settled"] == kinds["assumed"] == "OFSTBoolean"
    with sqlite3.connect(path) as base:
        stored = base.execute("select settled, typeof(settled), assumed, typeof(assumed) from strategy").fetchall()
    base.close()
    # OGC 12-128r17 (GeoPackage 1.3), table 1: BOOLEAN is 0 or 1; NULL is not stated
    assert stored == [(None, "null", 1, "integer"), (0, "integer", None, "null")]


def test_default_styles_stand_beside_the_layers(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    write_geopackage(path, _tables(), metadata=METADATA)
    with sqlite3.connect(path) as base:
        columns = [row[1] for row in base.execute("pragma table_info(layer_styles)")]
        rows = base.execute(
            "select f_table_name, f_geometry_column, useAsDefault, update_time from layer_styles"
        ).fetchall()
        kind = base.execute("select data_type from gpkg_contents where table_name = 'layer_styles'").fetchone()
    base.close()
    assert columns == [
        "id", "f_table_catalog", "f_table_schema", "f_table_name", "f_geometry_column", "styleName", "styleQML",
        "styleSLD", "useAsDefault", "description", "owner", "ui", "update_time",
    ]  # fmt: skip
    assert rows == [(name, "geom", 1, METADATA["date"]) for name in ("strategy", "findings", "hookups")]
    assert kind == ("attributes",)


def test_the_file_says_of_itself_what_the_standard_asks_for(tmp_path: Path) -> None:
    # OGC 12-128r17 (GeoPackage 1.3; clauses from memory): gpkg_contents lists every table of features and attributes
    # (1.1.3); gpkg_metadata holds metadata, which gpkg_metadata_reference ties to the file or to a table (F.8)
    path = tmp_path / "r.gpkg"
    write_geopackage(path, _tables(), metadata=METADATA)
    with sqlite3.connect(path) as base:
        contents = dict(base.execute("select table_name, data_type from gpkg_contents"))
        texts = [row[0] for row in base.execute("select metadata from gpkg_metadata")]
        tied = {tuple(row) for row in base.execute("select reference_scope, table_name from gpkg_metadata_reference")}
        extensions = {row[0] for row in base.execute("select extension_name from gpkg_extensions")}
        styled = {row[0] for row in base.execute("select f_table_name from layer_styles where useAsDefault")}
        spatial = {row[0] for row in base.execute("select table_name from gpkg_geometry_columns")}
    base.close()
    layers = {"strategy", "findings", "hookups"}
    assert contents == dict.fromkeys(layers, "features") | {"layer_styles": "attributes"}
    assert {("geopackage", None)} | {("table", name) for name in layers} <= tied
    assert all(CAUTION in text for text in texts)
    assert "gpkg_metadata" in extensions
    assert styled == spatial == layers


def test_styles_follow_the_convention_that_the_receipt_states(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    settings = {"report": {"colours": "as_5488", "quality_levels": "pas_128_2022"}}
    lines = empty_table("lines", METRIC)
    write_geopackage(path, {"lines": lines}, metadata=METADATA | {"receipt": json.dumps({"settings": settings})})
    with sqlite3.connect(path) as base:
        titles = [row[0] for row in base.execute("select description from layer_styles order by id")]
    base.close()
    assert titles == ["Utility (AS 5488)", "Quality level on record (BSI PAS 128:2022)"]


def test_a_result_read_as_records_does_not_take_the_styles_for_a_layer(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    lines = table_frame(
        "lines",
        [{"line_id": "A", "utility": "water", "asset": "pipe"}],
        geometry=[LineString([(0, 0), (9, 0)])],
        crs=METRIC,
    )
    write_geopackage(path, {"lines": lines}, metadata=METADATA)
    site = read_site(path)
    assert site.lines["line_id"].tolist() == ["A"]
    assert not any("layer_styles" in text for text in [*site.accounting["layer"], *site.findings["message"]])


def test_a_layer_of_that_name_that_holds_no_styles_is_told(tmp_path: Path) -> None:
    path = tmp_path / "r.gpkg"
    lines = table_frame(
        "lines",
        [{"line_id": "A", "utility": "water", "asset": "pipe"}],
        geometry=[LineString([(0, 0), (9, 0)])],
        crs=METRIC,
    )
    write_geopackage(path, {"terminations": pd.DataFrame({"a": ["x"]})}, metadata=METADATA)
    pyogrio.write_dataframe(lines, path, layer="lines", append=True)
    with sqlite3.connect(path) as base:
        base.execute("update gpkg_contents set table_name = 'layer_styles' where table_name = 'terminations'")
        base.execute("alter table terminations rename to layer_styles")
    base.close()
    assert any("layer_styles" in text for text in read_site(path).findings["message"])


def test_columns_that_differ_only_in_case_are_numbered(tmp_path: Path) -> None:
    table = pd.DataFrame({"src_a": [1], "src_A": [2], "src_a_2": [3], "src_b": [4]})
    write_geopackage(tmp_path / "r.gpkg", {"own": table}, metadata=METADATA)
    back = pyogrio.read_dataframe(tmp_path / "r.gpkg", layer="own")
    assert back.to_dict("records") == [{"src_a": 1, "src_A_2": 2, "src_a_2_2": 3, "src_b": 4}]
    assert list(table) == ["src_a", "src_A", "src_a_2", "src_b"]
