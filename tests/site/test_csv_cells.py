"""Cells of CSV files: no text is a formula to a spreadsheet, and every text comes back as it was."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.site.csv_cells import own_cell, safe_cell
from corridor.site.csv_rows import csv_rows

# OWASP, "CSV Injection": what a cell of untrusted text must not begin with; its own examples of what it may do
FIRST = ("=", "+", "-", "@", "\t", "\r", "\n")
HOSTILE = (
    '=HYPERLINK("http://example.invalid","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1",
    "\r=1",
    " =1",
    "＝1",
    "\0=1",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_formula_becomes_text(text: str) -> None:
    assert safe_cell(text) == f"'{text}"
    assert own_cell(safe_cell(text)) == text


@pytest.mark.parametrize("value", ["W-1", "a=b", "", "it's", "'quoted'", "3 - 4", -1.5, 7, 0.0, None, True])
def test_numbers_and_plain_text_stay_as_they_are(value: object) -> None:
    assert safe_cell(value) is value
    assert not isinstance(value, str) or own_cell(value) == value


@given(st.text())
def test_every_text_comes_back_and_none_is_a_formula(text: str) -> None:
    cell = safe_cell(text)
    assert not cell.startswith(FIRST)
    assert own_cell(cell) == text


@given(st.text(alphabet="'=+-@ \t\r\nab"))
def test_apostrophes_before_a_sign_come_back_too(text: str) -> None:
    assert own_cell(safe_cell(text)) == text


@given(st.text(alphabet="'=+-@, \"\t\nab"))
def test_what_is_written_to_a_file_is_read_back(text: str) -> None:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerow([safe_cell(text)])
    assert [own_cell(cell) for cell in next(csv.reader(io.StringIO(stream.getvalue())), [""])] == [text]


def test_files_beside_the_records_are_read_without_the_apostrophe(tmp_path: Path) -> None:
    file = tmp_path / "some.csv"
    file.write_text("id,value\n'=A1,'-0.5\n-0.25,'plain'\nshort\n", encoding="utf-8")
    rows = csv_rows(file, ("id", "value"), what="things")
    assert rows == [{"id": "=A1", "value": "-0.5"}, {"id": "-0.25", "value": "'plain'"}, {"id": "short", "value": None}]
