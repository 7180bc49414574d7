"""Files beside the records: what is read of them, and what is said of those that can't be."""

from pathlib import Path

import pytest

from corridor.errors import InputError
from corridor.site.csv_rows import csv_rows


def test_columns_are_found_in_any_case_and_order(tmp_path: Path) -> None:
    file = tmp_path / "some.csv"
    file.write_text("\ufeffB , a,more\nx,y,z\nshort\n", encoding="utf-8")
    rows = csv_rows(file, ("a", "b"), what="things")
    assert rows == [{"b": "x", "a": "y", "more": "z"}, {"b": "short", "a": None, "more": None}]


def test_a_missing_column_is_named(tmp_path: Path) -> None:
    file = tmp_path / "some.csv"
    file.write_text("a\n1\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"expected the columns a, b in .*some\.csv, 'b' is missing; add it to row 1"):
        csv_rows(file, ("a", "b"), what="things")


def test_a_file_that_is_not_there_or_not_text_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"readable file of things, .*none\.csv does not exist"):
        csv_rows(tmp_path / "none.csv", ("a",), what="things")
    file = tmp_path / "latin.csv"
    file.write_bytes("a\n\xe4\n".encode("latin-1"))
    with pytest.raises(InputError, match=r"latin\.csv can't be read as CSV in UTF-8"):
        csv_rows(file, ("a",), what="things")
