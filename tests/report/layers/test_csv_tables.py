"""CSV tables: what a spreadsheet would calculate is text, numbers stay numbers, and OGR reads them as layers."""

import csv
import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from corridor.errors import OutputError
from corridor.frames import CAUTION, empty_table, table_frame
from corridor.report.layers.csv_tables import csv_text, write_csv
from corridor.report.place import RECEIPT_FILE
from corridor.report.results import check_output, write_results
from corridor.site.csv_cells import own_cell
from tests.builders import METRIC

METADATA = {"caution": CAUTION, "receipt": json.dumps({"seed": 0, "crs": METRIC.to_string()})}


def _tables() -> dict[str, Any]:
    rows = [
        {"stretch_id": "1", "line_id": "=1+1", "length_m": -0.0, "peak_offset_m": -0.125, "settled": True},
        {"stretch_id": "2", "line_id": "Ä, \"x\"\n2", "length_m": 12.34, "settled": None},
    ]  # fmt: skip
    shapes = [LineString([(0, 0), (5, 1.23456)]), None]
    return {
        "strategy": table_frame("strategy", rows, geometry=shapes, crs=METRIC),
        "findings": table_frame("findings", [{"feature_row": 3}, {}], geometry=[Point(1, 2), None], crs=METRIC),
        "hookups": empty_table("hookups", METRIC),
    }


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def test_a_file_a_layer_with_the_caution_and_the_receipt(tmp_path: Path) -> None:
    write_results(tmp_path / "r.csv", _tables(), metadata=METADATA)
    names = ["caution.txt", "findings.csv", "hookups.csv", "receipt.json", "strategy.csv"]
    assert sorted(file.name for file in (tmp_path / "r.csv").iterdir()) == names
    assert (tmp_path / "r.csv" / "caution.txt").read_text(encoding="utf-8") == f"{CAUTION}\n"
    receipt = json.loads((tmp_path / "r.csv" / RECEIPT_FILE).read_text(encoding="utf-8"))
    assert receipt["seed"] == 0
    assert receipt["files"] == names
    assert _rows(tmp_path / "r.csv" / "hookups.csv") == []


def test_text_is_no_formula_and_numbers_are_numbers(tmp_path: Path) -> None:
    write_results(tmp_path / "r.csv", _tables(), metadata=METADATA)
    first, second = _rows(tmp_path / "r.csv" / "strategy.csv")
    # OWASP, "CSV Injection": an apostrophe before text that begins with = + - @; a negative number is none
    assert first["line_id"] == "'=1+1"
    assert (first["length_m"], first["peak_offset_m"], first["settled"]) == ("0.0", "-0.125", "true")
    assert (second["line_id"], second["length_m"], second["settled"]) == ('Ä, "x"\n2', "12.34", "")
    assert [row["feature_row"] for row in _rows(tmp_path / "r.csv" / "findings.csv")] == ["3", ""]
    assert [first["WKT"], second["WKT"]] == ["LINESTRING (0 0, 5 1.235)", ""]


def test_spreadsheets_see_that_it_is_utf_8_and_lines_end_as_rfc_4180_says(tmp_path: Path) -> None:
    write_results(tmp_path / "r.csv", _tables(), metadata=METADATA)
    data = (tmp_path / "r.csv" / "strategy.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbfstretch_id,")
    assert data.endswith(b"\r\n")


def test_ogr_reads_each_file_as_a_layer_with_its_geometry(tmp_path: Path) -> None:
    write_results(tmp_path / "r.csv", _tables(), metadata=METADATA)
    back = pyogrio.read_dataframe(tmp_path / "r.csv" / "strategy.csv")
    assert back.geometry.geom_type.tolist()[0] == "LineString"
    assert back["stretch_id"].tolist() == ["1", "2"]


def test_an_earlier_result_is_replaced_whole_and_nothing_else_is(tmp_path: Path) -> None:
    write_results(tmp_path / "r.csv", _tables(), metadata=METADATA)
    write_results(tmp_path / "r.csv", {"hookups": empty_table("hookups", METRIC)}, metadata=METADATA)
    assert sorted(f.name for f in (tmp_path / "r.csv").iterdir()) == ["caution.txt", "hookups.csv", "receipt.json"]
    (tmp_path / "mine.csv").mkdir()
    (tmp_path / "mine.csv" / "notes.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"holds 'notes\.csv', which no earlier result put there"):
        check_output(tmp_path / "mine.csv")
    (tmp_path / "one.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="expected a folder to write to"):
        check_output(tmp_path / "one.csv")


def test_same_input_same_bytes(tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv"):
        write_results(tmp_path / name, _tables(), metadata=METADATA)
    for file in (tmp_path / "a.csv").iterdir():
        assert file.read_bytes() == (tmp_path / "b.csv" / file.name).read_bytes()


def test_a_table_without_geometry_has_no_column_for_it() -> None:
    assert csv_text(pd.DataFrame({"a": ["x"], "-b": [1]})) == "a,'-b\r\nx,1\r\n"


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="can't write"):
        write_csv(tmp_path / "no", _tables(), metadata=METADATA)


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(st.text(alphabet="'=+-@ \t\n,\"ab"), st.floats(allow_nan=False, allow_infinity=False)), max_size=5
    )
)
def test_every_text_and_number_comes_back(rows: list[tuple[str, float]]) -> None:
    shapes = [Point(number % 1e6, 0) for _, number in rows]
    frame = gpd.GeoDataFrame(
        {"text": pd.Series([text for text, _ in rows], dtype=object), "number": [number for _, number in rows]},
        geometry=shapes,
        crs=METRIC,
    )
    back = list(csv.DictReader(csv_text(frame).splitlines(keepends=True)))
    assert [own_cell(row["text"]) for row in back] == [text for text, _ in rows]
    assert [float(row["number"]) for row in back] == [number for _, number in rows]
    assert all(shapely.from_wkt(row["WKT"]).distance(shape) < 1e-3 for row, shape in zip(back, shapes, strict=True))
