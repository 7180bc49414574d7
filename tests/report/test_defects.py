"""Defects that a team can send: ranked, one file an owner."""

import csv
import io
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from shapely import Point

from corridor.dictionary import RESULT_TABLES
from corridor.errors import OutputError
from corridor.frames import empty_table, table_frame
from corridor.report.defects import defect_files, defects_table
from corridor.report.results import write_check
from corridor.site.findings import CODES
from tests.builders import METRIC


def findings(*rows: dict[str, Any]) -> gpd.GeoDataFrame:
    full = []
    for number, row in enumerate(rows):
        code = row.get("code", "near_miss")
        base = {"feature_source": "a.gpkg:lines", "feature_row": number, "source_id": f"id-{number}"}
        base |= {"owner": "Slate Water", "severity": CODES[code], "code": code, "action": "used: something"}
        base |= {"message": f"message {number}"}
        full.append(base | row)
    return table_frame("findings", full, geometry=[Point(n, 0.12345) for n in range(len(full))], crs=METRIC)


def parsed(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_defects_are_severe_findings_and_warnings_on_features() -> None:
    table = defects_table(
        findings({"code": "near_miss"}, {"code": "multipart"}, {"code": "no_soil", "feature_row": None, "owner": None},
                 {"code": "unexplained_structure"})
    )  # fmt: skip
    assert list(table["code"]) == ["unexplained_structure", "near_miss"]
    assert list(table["rank"]) == [1, 2]
    assert list(table.columns) == [*RESULT_TABLES["defects"].names, "geometry"]
    assert table.crs == METRIC
    assert table.geometry.notna().all()


def test_the_rank_does_not_depend_on_the_order_of_the_findings() -> None:
    rows = [{"code": code, "feature_row": n, "source_id": f"id-{n}"} for n, code in
            enumerate(("zero_length", "near_miss", "unexplained_structure", "near_miss"))]  # fmt: skip
    forward, back = defects_table(findings(*rows)), defects_table(findings(*rows[::-1]))
    assert list(forward["source_id"]) == list(back["source_id"]) == ["id-2", "id-1", "id-3", "id-0"]


def test_every_defect_asks_for_something() -> None:
    codes = [code for code, severity in CODES.items() if severity != "note"]
    table = defects_table(findings(*({"code": code} for code in codes)))
    assert len(table) == len(codes)
    assert table["action"].str.endswith(".").all()
    assert not table["action"].str.startswith("used").any()


def test_accepted_ones_stay_and_say_so() -> None:
    words = {"accepted_by": "M. Slate", "accepted_date": "2024-05-01", "accepted_why": "known"}
    table = defects_table(findings({"code": "near_miss", **words}, {"code": "near_miss"}))
    assert list(table["state"]) == ["accepted", "open"]
    assert table["accepted_by"].tolist() == ["M. Slate", None]


def test_no_findings_no_defects_no_files() -> None:
    table = defects_table(empty_table("findings", METRIC))
    assert table.empty
    assert list(table.columns) == [*RESULT_TABLES["defects"].names, "geometry"]
    assert defect_files(table) == {}


def test_each_owner_gets_a_file_with_his_own_defects() -> None:
    files = defect_files(
        defects_table(
            findings({"owner": "Slate Water"}, {"owner": "Quartz & Sons"}, {"owner": "Slate Water"}, {"owner": None})
        )
    )
    assert list(files) == ["defects_quartz_sons.csv", "defects_slate_water.csv", "defects_a_gpkg_lines.csv"]
    rows = parsed(files["defects_slate_water.csv"])
    assert [row["source_id"] for row in rows] == ["id-0", "id-2"]
    assert rows[0]["geometry"] == "POINT (0 0.123)"
    assert rows[0]["crs"] == "EPSG:32633"
    assert rows[0]["accepted_by"] == ""
    assert set(RESULT_TABLES["defects"].names) | {"geometry", "crs"} == set(rows[0])


def test_names_of_files_suit_every_script_and_do_not_collide() -> None:
    owners = ["Wasser/Gas", "wasser gas", "水道局", "../x", "…"]
    files = defect_files(defects_table(findings(*({"owner": owner} for owner in owners))))
    assert set(files) == {
        "defects_wasser_gas.csv", "defects_wasser_gas_2.csv", "defects_水道局.csv", "defects_x.csv",
        "defects_unstated.csv",
    }  # fmt: skip
    assert sum(len(parsed(text)) for text in files.values()) == len(owners)


def test_text_with_commas_quotes_and_line_breaks_survives() -> None:
    (text,) = defect_files(defects_table(findings({"message": 'a, "b"\nc'}))).values()
    assert parsed(text)[0]["message"] == 'a, "b"\nc'


def test_files_are_written_whole_and_the_same_again(tmp_path: Path) -> None:
    rows = findings({}, {"owner": "Quartz"})
    tables = {"findings": rows, "defects": defects_table(rows)}
    written = write_check(tmp_path / "r.geojson", tables, metadata={})
    first = [path.read_bytes() for path in written]
    assert [path.read_bytes() for path in write_check(tmp_path / "r.geojson", tables, metadata={})] == first
    names = ["defects_quartz.csv", "defects_slate_water.csv", "r.geojson"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in written) == names
    with pytest.raises(OutputError, match="doesn't exist"):
        write_check(tmp_path / "none" / "r.geojson", tables, metadata={})


def test_no_sheet_is_put_in_place_where_the_tables_can_t_be(tmp_path: Path) -> None:
    rows = findings({})
    (tmp_path / "r.geojson").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        write_check(tmp_path / "r.geojson", {"defects": defects_table(rows)}, metadata={})
    assert [path.name for path in tmp_path.iterdir()] == ["r.geojson"]


@pytest.mark.parametrize(
    ("owners", "names"),
    [
        (("A", "a.", "A 2"), ("a", "a_2", "a_3")),  # the number of the second is the name of the third
        (("../../etc/passwd", "C:\\con", "nul."), ("c_con", "etc_passwd", "nul")),
        (("Caf\u00e9", "Cafe\u0301"), ("caf\u00e9", "caf\u00e9_2")),  # one letter, encoded in two ways (Unicode, NFC)
        (("x" * 300, "x" * 301), ("x" * 60, "x" * 60 + "_2")),
        (("\u6c34" * 300,), ("\u6c34" * 60,)),
        (("\x1b[31m", "\u202e", ""), ("31m", "unstated", "unstated_2")),
    ],
)
def test_every_owner_has_a_file_of_a_name_that_leads_nowhere(owners: tuple[str, ...], names: tuple[str, ...]) -> None:
    table = defects_table(findings(*({"owner": owner} for owner in owners)))
    files = defect_files(table)
    assert sorted(files) == sorted(f"defects_{name}.csv" for name in names)
    assert sum(len(parsed(text)) for text in files.values()) == len(owners)
    assert all(len(name.encode()) < 255 for name in files)


def test_no_cell_is_a_formula_to_a_spreadsheet() -> None:
    # OWASP, "CSV Injection": text of others that begins with = + - @ is put behind an apostrophe
    table = defects_table(findings({"owner": "=1+1", "source_id": "@SUM(A1)", "message": "-2+3", "feature_row": 4}))
    (row,) = parsed(next(iter(defect_files(table).values())))
    assert (row["owner"], row["source_id"], row["message"]) == ("'=1+1", "'@SUM(A1)", "'-2+3")
    assert (row["rank"], row["feature_row"]) == ("1", "4")


def test_no_cell_steers_the_terminal_that_shows_the_file() -> None:
    text = "a\x1b[2Jb\x9bc\u202ed\x00\re\tf\ng"
    (made,) = defect_files(defects_table(findings({"message": text, "owner": "x"}))).values()
    assert parsed(made)[0]["message"] == "a?[2Jb?c?d?\re\tf\ng"
