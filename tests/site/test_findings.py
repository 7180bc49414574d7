"""Findings and accounts."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from shapely import Point

import corridor.site
from corridor.dictionary import RESULT_TABLES
from corridor.site.accounting import account
from corridor.site.findings import CODES, FEATURE, Findings
from tests.site.records import BROKEN, CRS, course, labelled

TABLE = RESULT_TABLES["findings"]


def test_an_empty_collection_is_an_empty_table() -> None:
    table = Findings().frame(CRS)
    assert list(table.columns) == [*TABLE.names, "geometry"]
    assert table.empty
    assert table.crs == CRS


def test_rows_bring_their_feature_id_owner_and_place() -> None:
    findings = Findings()
    rows = labelled([{"line_id": "A", "owner": "Slate Water", "geometry": course((0, 0), (1, 0))},
                     {"line_id": "B", "owner": None, "geometry": BROKEN}])  # fmt: skip
    findings.add_rows("near_miss", rows, ["one", "two"], action="used")
    findings.add("no_bonds", "three", action="used")
    table = findings.frame(CRS)
    assert table["message"].tolist() == ["one", "two", "three"]
    assert table["line_id"].tolist() == ["A", "B", None]
    assert table["feature_row"].tolist() == [0, 1, pd.NA]
    assert table["owner"].tolist() == ["Slate Water", None, None]
    assert [shape is None for shape in table.geometry] == [False, True, True]
    assert set(table["severity"]) <= set(TABLE.column("severity").vocabulary)


def test_some_of_the_rows_bring_theirs() -> None:
    findings = Findings()
    rows = labelled([{"line_id": name, "geometry": Point(k, 0)} for k, name in enumerate("ABC")])
    findings.add_rows("near_miss", rows, ["one", "two"], action="used", at=pd.Series([True, False, True]))
    findings.add_rows("near_miss", rows, "x", action="used", at=np.zeros(3, dtype=bool))
    table = findings.frame(CRS)
    assert table[["line_id", "feature_row", "message"]].to_numpy().tolist() == [["A", 0, "one"], ["C", 2, "two"]]
    assert list(table.geometry) == [Point(0, 0), Point(2, 0)]


def test_no_rows_no_findings() -> None:
    findings = Findings()
    findings.add_rows("near_miss", labelled([{"line_id": "A", "geometry": Point(0, 0)}]).iloc[:0], "x", action="used")
    assert findings.frame(CRS).empty


def test_an_unknown_code_is_refused() -> None:
    findings = Findings()
    with pytest.raises(KeyError):
        findings.add("odd", "x", action="used")
    with pytest.raises(KeyError):
        findings.add_rows("odd", labelled([{"line_id": "A", "geometry": None}]), "x", action="used")


def test_every_code_is_used_somewhere_and_has_a_severity() -> None:
    folder = Path(corridor.site.__file__).parent
    text = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py") if path.name != "findings.py")
    assert [code for code in CODES if f'"{code}"' not in text] == []
    assert set(CODES.values()) <= set(TABLE.column("severity").vocabulary)


def test_accounts_add_up() -> None:
    used = pd.DataFrame({FEATURE[0]: ["a", "a", "a", "b"], FEATURE[1]: [0, 1, 1, 0]})
    findings = pd.DataFrame({"feature_source": ["a", "a", "a"], "feature_row": [1, 1, 2],
                             "action": ["repaired: x", "repaired: y", "set aside: z"]})  # fmt: skip
    table = account({"a": 3, "b": 1, "c": 4}, [used, used.iloc[:0]], findings)
    assert table.to_numpy().tolist() == [["a", 3, 2, 1, 1], ["b", 1, 1, 0, 0], ["c", 4, 0, 0, 4]]


def test_nothing_used_is_all_set_aside() -> None:
    none = pd.DataFrame({"feature_source": [], "feature_row": [], "action": pd.Series([], dtype=object)})
    table = account({"a": 2}, [], none)
    assert table.to_numpy().tolist() == [["a", 2, 0, 0, 2]]
