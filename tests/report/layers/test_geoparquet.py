"""GeoParquet: the metadata that version 1.1 asks for, types, NULLs, caution and receipt."""

import builtins
import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyarrow as pa
import pytest
from pyarrow import parquet
from pyproj import CRS
from shapely import LineString, Point

from corridor.dictionary import RESULT_TABLES
from corridor.errors import OutputError
from corridor.frames import CAUTION, empty_table, table_frame
from corridor.report import results
from corridor.report.layers.geoparquet import write_geoparquet
from corridor.report.results import check_output, write_results
from tests.builders import METRIC

METADATA = {"caution": CAUTION, "receipt": json.dumps({"seed": 0})}


def _tables() -> dict[str, Any]:
    rows = [
        {"stretch_id": "1", "line_id": "A", "length_m": 5.1, "settled": True},
        {"stretch_id": "2", "line_id": "Ä", "settled": None},
    ]
    shapes = [LineString([(0, 0), (5, 1)]), None]
    findings = table_frame(
        "findings", [{"feature_row": 3}, {}], geometry=[Point(1, 2), LineString([(0, 0), (1, 1)])], crs=METRIC
    )
    return {
        "strategy": table_frame("strategy", rows, geometry=shapes, crs=METRIC),
        "findings": findings,
        "hookups": empty_table("hookups", METRIC),
        "completeness": table_frame("completeness", [{"layer": "a", "row_count": 2}]),
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_results(tmp_path / "r.parquet", _tables(), metadata=METADATA)
    return tmp_path / "r.parquet"


def test_a_file_a_layer_and_the_receipt(folder: Path) -> None:
    names = {f"{name}.parquet" for name in _tables()} | {"receipt.json"}
    assert {file.name for file in folder.iterdir()} == names
    assert set(json.loads((folder / "receipt.json").read_text(encoding="utf-8"))["files"]) == names


def test_the_metadata_are_those_of_geoparquet_1_1(folder: Path) -> None:
    # OGC GeoParquet 1.1.0, "File metadata": version, primary_column, columns; "Column metadata": encoding,
    # geometry_types (with Z where there is any), crs as PROJJSON; geometry columns at the root, as binary
    schema = parquet.read_schema(folder / "strategy.parquet")
    geo = json.loads(schema.metadata[b"geo"])
    assert geo["version"] == "1.1.0"
    assert geo["primary_column"] == "geometry"
    assert geo["columns"]["geometry"]["encoding"] == "WKB"
    assert geo["columns"]["geometry"]["geometry_types"] == ["LineString"]
    assert CRS.from_json_dict(geo["columns"]["geometry"]["crs"]) == METRIC
    assert pa.types.is_binary(schema.field("geometry").type)
    mixed = json.loads(parquet.read_schema(folder / "findings.parquet").metadata[b"geo"])
    assert set(mixed["columns"]["geometry"]["geometry_types"]) == {"Point", "LineString"}
    assert b"geo" not in parquet.read_schema(folder / "completeness.parquet").metadata


def test_caution_and_receipt_stand_in_every_file(folder: Path) -> None:
    for name in _tables():
        metadata = parquet.read_schema(folder / f"{name}.parquet").metadata
        assert metadata[b"corridor:caution"].decode() == CAUTION
        assert json.loads(metadata[b"corridor:receipt"]) == {"seed": 0}


def test_layers_come_back_as_they_went(folder: Path) -> None:
    for name, table in _tables().items():
        path = folder / f"{name}.parquet"
        back = pd.read_parquet(path) if RESULT_TABLES[name].geometry == "none" else gpd.read_parquet(path)
        assert list(back.columns)[: len(RESULT_TABLES[name].names)] == list(RESULT_TABLES[name].names)
        assert len(back) == len(table)
        if isinstance(back, gpd.GeoDataFrame):
            assert back.crs == METRIC
            assert back.geometry.geom_equals(table.geometry).sum() == table.geometry.notna().sum()
    strategy = gpd.read_parquet(folder / "strategy.parquet")
    assert strategy["settled"].tolist() == [True, pd.NA]
    assert strategy["length_m"].isna().tolist() == [False, True]
    assert strategy["line_id"].tolist() == ["A", "Ä"]


@pytest.mark.parametrize("name", ["strategy", "hookups"])
def test_columns_have_their_type_even_where_all_is_null(folder: Path, name: str) -> None:
    schema = parquet.read_schema(folder / f"{name}.parquet")
    for column in RESULT_TABLES[name].columns:
        kind = schema.field(column.name).type
        wanted = {"text": (pa.types.is_string, pa.types.is_large_string), "real": (pa.types.is_floating,),
                  "integer": (pa.types.is_integer,), "flag": (pa.types.is_boolean,)}[column.kind]  # fmt: skip
        assert any(check(kind) for check in wanted), column.name


def test_same_input_same_bytes(folder: Path, tmp_path: Path) -> None:
    write_results(tmp_path / "again.parquet", _tables(), metadata=METADATA)
    for file in folder.iterdir():
        assert file.read_bytes() == (tmp_path / "again.parquet" / file.name).read_bytes()


def test_without_pyarrow_one_sentence_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(results, "find_spec", lambda name: None)
    with pytest.raises(OutputError, match=r"pyarrow .* isn't installed; pip install 'corridor\[parquet\]'"):
        check_output(tmp_path / "r.parquet")  # before any work is done
    check_output(tmp_path / "r.gpkg")
    real = builtins.__import__

    def gone(name: str, *rest: Any, **more: Any) -> Any:
        if name == "pyarrow" and "parquet" in (rest[2] or ()):  # pandas, which tries it too, stays as it is
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", gone)
    with pytest.raises(OutputError, match=r"corridor\[parquet\]"):
        write_geoparquet(tmp_path, _tables(), metadata=METADATA)


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="can't write layer strategy"):
        write_geoparquet(tmp_path / "no", _tables(), metadata=METADATA)
