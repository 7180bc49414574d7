"""Corrections: values in place of the owners' own, each told, no file of theirs touched."""

from pathlib import Path

import pytest

from corridor.errors import InputError
from corridor.site import FieldMap, read_site
from corridor.site.corrections import load_corrections
from tests.site.records import checked, found, line, write

HEAD = "layer,id,column,value,source,date\n"


def file(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "corrections.csv"
    path.write_text(head + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return path


def test_a_value_is_replaced_and_told(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1"), line("W-2", (0, 5), (9, 5), depth_m=420.0)])
    before = path.read_bytes()
    changes = file(tmp_path, "lines,W-2,depth_m,0.42,trial hole 7,2024-05-06")
    site = checked(read_site(path, corrections=changes))
    row = found(site, "corrected")
    assert row["message"] == "depth_m: '420.0' corrected to '0.42', by trial hole 7, 2024-05-06"
    assert (row["source_id"], row["feature_row"]) == ("W-2", 1)
    assert site.lines["depth_m"].tolist() == [1.2, 0.42]
    assert site.lines["depth_m_src"].tolist() == ["given", "mapped"]
    assert path.read_bytes() == before
    assert [source.layers for source in site.sources][-1] == ("corrections",)


def test_a_value_may_be_taken_away_and_a_silent_column_filled(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1"), line("W-2", (0, 5), (9, 5))])
    changes = file(tmp_path, "records.gpkg:lines,W-1,coating,,owner by letter,2024", "lines,W-2,owner,Brook,plate,2023")
    site = checked(read_site(path, corrections=changes))
    assert site.lines["coating_src"].tolist() == ["default", "given"]
    assert site.lines["owner"].tolist() == [None, "Brook"]
    told = site.findings.loc[site.findings["code"] == "corrected", "message"].tolist()
    assert told == ["coating: 'none' corrected to nothing, by owner by letter, 2024",
                    "owner: nothing corrected to 'Brook', by plate, 2023"]  # fmt: skip


def test_a_correction_clears_no_line_for_direct_connection(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("E-1", utility="electricity", asset="cable", energized="yes")])
    site = read_site(path, corrections=file(tmp_path, "lines,E-1,energized,no,phone call,2024-05-06"))
    assert site.lines["energized"].tolist() == ["no"]
    assert site.lines["energized_src"].tolist() == ["mapped"]  # only given counts for the hazard gate


def test_the_owners_own_id_counts_whatever_the_line_is_called_in_the_end(tmp_path: Path) -> None:
    write(tmp_path, name="a.gpkg", gas=[line("1", utility="gas")])
    write(tmp_path, name="b.gpkg", heat=[line("1", (0, 9), (9, 9), utility="heat")])
    plan = FieldMap.model_validate({"layers": {"gas": {"table": "lines"}, "heat": {"table": "lines"}}})
    changes = file(tmp_path, "heat,1,material,steel,label,2024")
    site = checked(read_site([tmp_path / "a.gpkg", tmp_path / "b.gpkg"], fieldmap=plan, corrections=changes))
    assert site.lines.set_index("line_id")["material"].to_dict() == {"gas:1": "ductile_iron", "heat:1": "steel"}


@pytest.mark.parametrize("row", ["lines,W-9,depth_m,1,x,2024", "mains,W-1,depth_m,1,x,2024", "lines,W-1,kind,x,x,2024"])
def test_a_correction_that_nothing_takes_is_told(tmp_path: Path, row: str) -> None:
    site = checked(read_site(write(tmp_path, lines=[line("W-1")]), corrections=file(tmp_path, row)))
    assert "correction in row 2: no feature" in found(site, "correction_unused")["message"]


def test_a_corrected_depth_goes_to_the_axis_whatever_the_owners_do(tmp_path: Path) -> None:
    rows = [line("W-1", COVER=1.0), line("W-2", (0, 5), (9, 5), COVER=None)]
    path = write(tmp_path, lines=[{k: v for k, v in row.items() if k != "depth_m"} for row in rows])
    block = {"table": "lines", "depth": "cover", "columns": {"depth_m": {"source": "COVER", "unit": "ft"}}}
    plan = FieldMap.model_validate({"layers": {"lines": block}})
    changes = file(tmp_path, "lines,W-1,depth_m,1.5,trial hole,2024", "lines,W-2,depth_m,1.6 m,trial hole,2024")
    assert checked(read_site(path, fieldmap=plan, corrections=changes)).lines["depth_m"].tolist() == [1.5, 1.6]


def test_a_word_is_checked_like_any_other(tmp_path: Path) -> None:
    path = write(tmp_path, lines=[line("W-1")])
    site = read_site(path, corrections=file(tmp_path, "lines,W-1,status,zorb,x,2024"))
    assert "got 'zorb'" in found(site, "unknown_word")["message"]


def test_no_file_is_no_correction() -> None:
    assert load_corrections(None).rows == ()


@pytest.mark.parametrize(
    ("head", "row", "words"),
    [("layer,id,column,value,source\n", "", "'date' is missing"),
     (HEAD, "lines,,depth_m,1,x,2024", "row 2: expected id, got nothing"),
     (HEAD, "lines,W-1,depth_m,1,,2024", "expected source, got nothing"),
     (HEAD, "lines,W-1,depth_m,1,x,", "expected date, got nothing"),
     (HEAD, "lines,W-1,deep,1,x,2024", "expected a column of the data dictionary, got 'deep'"),
     ("", "", "'layer' is missing")],
)  # fmt: skip
def test_a_file_that_says_half_is_refused(tmp_path: Path, head: str, row: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load_corrections(file(tmp_path, row, head=head) if row else file(tmp_path, head=head))


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        load_corrections(tmp_path / "none.csv")
    (tmp_path / "utf16.csv").write_bytes("layer".encode("utf-16"))
    with pytest.raises(InputError, match="can't be read as CSV in UTF-8"):
        load_corrections(tmp_path / "utf16.csv")
