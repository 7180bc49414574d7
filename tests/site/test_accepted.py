"""Findings that somebody accepted stay listed and no longer count as open."""

from pathlib import Path

import pytest

from corridor.dictionary import RESULT_TABLES
from corridor.errors import InputError
from corridor.site import Site
from corridor.site.accepted import ACCEPTED_COLUMNS, accept_findings, is_open, load_accepted
from tests.site.records import line, read

HEAD = ",".join(ACCEPTED_COLUMNS)


def site(folder: Path) -> Site:
    """Two loose pipes, one of unknown depth, and no structures."""
    return read(folder, lines=[line("W-1"), line("W-2", (0, 9), (50, 9), utility="plasma")])


def accepted(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "accepted.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_nothing_is_accepted_at_first(tmp_path: Path) -> None:
    findings = site(tmp_path).findings
    assert is_open(findings).all()
    assert list(findings.columns)[-4:-1] == ["accepted_by", "accepted_date", "accepted_why"]


@pytest.mark.parametrize("layer", ["lines", "records.gpkg:lines"])
def test_an_accepted_finding_says_who_when_and_why(tmp_path: Path, layer: str) -> None:
    before = site(tmp_path)
    path = accepted(tmp_path, f'unknown_word,{layer},W-2,M. Slate,2024-05-01,"a word of ours, known"')
    after, notes = accept_findings(before, path)
    assert notes == []
    assert len(after.findings) == len(before.findings)
    (row,) = after.findings[~is_open(after.findings)].itertuples()
    assert (row.code, row.line_id) == ("unknown_word", "W-2")
    assert (row.accepted_by, row.accepted_date, row.accepted_why) == ("M. Slate", "2024-05-01", "a word of ours, known")
    assert is_open(before.findings).all()
    assert list(after.findings.columns)[: len(RESULT_TABLES["findings"].names)] == list(RESULT_TABLES["findings"].names)


def test_findings_on_the_whole_have_no_id(tmp_path: Path) -> None:
    after, notes = accept_findings(site(tmp_path), accepted(tmp_path, "no_soil,site,,M. Slate,2024-05-01,not surveyed"))
    assert notes == []
    assert list(after.findings.loc[~is_open(after.findings), "code"]) == ["no_soil"]


def test_an_empty_id_accepts_no_feature(tmp_path: Path) -> None:
    path = accepted(tmp_path, "unknown_word,lines,,M. Slate,2024-05-01,all of them")
    after, notes = accept_findings(site(tmp_path), path)
    assert is_open(after.findings).all()
    assert notes == ["accepted, row 2: no finding unknown_word on 'the whole' in 'lines'"]


@pytest.mark.parametrize("row", ["unknown_word,lines,W-1", "near_miss,lines,W-2", "unknown_word,structures,W-2"])
def test_a_row_without_its_finding_is_named(tmp_path: Path, row: str) -> None:
    after, notes = accept_findings(site(tmp_path), accepted(tmp_path, f"{row},M. Slate,2024-05-01,fine"))
    assert is_open(after.findings).all()
    assert len(notes) == 1
    assert "row 2" in notes[0]


@pytest.mark.parametrize(
    ("rows", "head", "words"),
    [
        ([], "code,layer,id,who,when", "'why' is missing"),
        (["unknown_word,lines,W-2,,2024-05-01,fine"], HEAD, "row 2.*'who' is empty"),
        (["unknown_word,lines,W-2,M. Slate,2024-05-01"], HEAD, "row 2.*'why' is empty"),
        (["odd_word,lines,W-2,M. Slate,2024-05-01,fine"], HEAD, "row 2.*got 'odd_word'"),
    ],
)
def test_a_wrong_file_is_refused(tmp_path: Path, rows: list[str], head: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load_accepted(accepted(tmp_path, *rows, head=head))


def test_a_missing_or_unreadable_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv does not exist"):
        load_accepted(tmp_path / "none.csv")
    (tmp_path / "latin.csv").write_bytes(b"code,layer\xe9")
    with pytest.raises(InputError, match="can't be read as CSV in UTF-8"):
        load_accepted(tmp_path / "latin.csv")


def test_columns_may_stand_in_any_order_and_case(tmp_path: Path) -> None:
    (row,) = load_accepted(accepted(tmp_path, "x,2024-05-01,M,W-2,lines,near_miss", head="Why,When,Who,ID,Layer,Code"))
    assert (row.row, row.code, row.id, row.why) == (2, "near_miss", "W-2", "x")
