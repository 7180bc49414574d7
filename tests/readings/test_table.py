"""The file of readings: what is taken, and the sentence that each mistake gets."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from corridor.dictionary.readings import READING_KINDS, READINGS
from corridor.errors import InputError, OutputError
from corridor.readings.plan import set_ups_of
from corridor.readings.table import check_readings, read_readings, write_template
from corridor.settings import ReadingSettings
from tests.readings.small import COLUMNS, FREQUENCY_HZ, rows, small_plan, small_site

GOOD = {"setup_id": "S1", "line_id": "A", "station_m": "12.5", "kind": "receiver_ma", "value": "40"}


def table(*changes: dict[str, Any]) -> Any:
    listed = pd.DataFrame([GOOD | change for change in changes]).reindex(columns=COLUMNS)
    return check_readings(listed, small_site(), set_ups_of(small_plan()), settings=ReadingSettings())


def test_a_good_row_is_typed_and_placed() -> None:
    found = table({}, {"station_m": None, "x_m": "30.0", "y_m": "2.0"}, {"kind": "source_ohm", "line_id": None})
    assert found["station_m"].tolist()[:2] == [12.5, 30.0]
    assert found.geometry.iloc[1].coords[0] == (30.0, 0.0)  # moved to the line
    assert found["frequency_hz"].tolist() == [FREQUENCY_HZ] * 3  # the set-up's
    assert found["line_id"].tolist() == ["A"] * 3
    assert found.geometry.iloc[2] is None
    assert found["x_m"].tolist()[:2] == [12.5, 30.0]
    assert list(found.columns) == [*READINGS.names, "geometry"]


@pytest.mark.parametrize("value", [None, "", "  ", float("nan")])
def test_no_value_is_a_reading_to_be_predicted(value: Any) -> None:
    assert table({"value": value})["value"].isna().all()


@pytest.mark.parametrize("kind", READING_KINDS)
def test_every_kind_is_taken(kind: str) -> None:
    assert table({"kind": kind, "value": 1.5})["value"].tolist() == [1.5]


@pytest.mark.parametrize("kind", ["receiver_ma", "clamp_ma", "foreign_tone"])
def test_nothing_heard_is_a_reading(kind: str) -> None:
    assert table({"kind": kind, "value": 0})["value"].tolist() == [0.0]


def test_an_offset_may_lie_on_either_side() -> None:
    assert table({"kind": "peak_offset_m", "value": "-0.3"})["value"].tolist() == [-0.3]


def test_a_sweep_may_hear_a_foreign_tone() -> None:
    assert table({"setup_id": "S0", "kind": "foreign_tone"})["setup_id"].tolist() == ["S0"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"setup_id": "S9"}, ("set-up of the plan", "'S9'", "S1")),
        ({"setup_id": None}, ("set-up of the plan", "nothing")),
        ({"setup_id": "S0"}, ("a sweep", "foreign_tone only")),
        ({"kind": "reciever_ma"}, ("'reciever_ma'", "perhaps receiver_ma")),
        ({"kind": None}, ("a kind of", "nothing")),
        ({"line_id": "AA"}, ("recorded line", "'AA'", "the nearest are A")),
        ({"line_id": None}, ("recorded line", "nothing")),
        ({"value": "forty"}, ("a number as value", "'forty'", "without its unit")),
        ({"value": "40 mA"}, ("a number as value", "without its unit")),
        ({"value": "inf"}, ("a number as value",)),
        ({"value": "-4"}, ("receiver_ma 0 or more", "-4", "no sign")),
        ({"kind": "source_v", "value": 0}, ("source_v above 0",)),
        ({"kind": "depth_reading_m", "value": 80}, ("30 m at most", "in metres")),
        ({"kind": "depth_reading_m", "value": 0}, ("depth_reading_m above 0",)),
        ({"kind": "peak_offset_m", "value": 20}, ("10 m at most",)),
        ({"station_m": 61.0}, ("0 to 60.0 m along A", "61 m")),
        ({"station_m": -1}, ("0 to 60.0 m along A", "-1 m")),
        ({"station_m": None}, ("station_m, or x_m and y_m", "neither")),
        ({"station_m": None, "x_m": 30.0}, ("station_m, or x_m and y_m", "neither")),
        ({"station_m": None, "x_m": 30.0, "y_m": 9.0}, ("within 5 m of A", "9.0 m away")),
        ({"frequency_hz": 5.0}, ("50", "5", "correct frequency_hz")),
        ({"frequency_hz": "1k"}, ("a number as frequency_hz", "'1k'")),
    ],
)
def test_each_mistake_is_one_sentence_with_its_row(change: dict[str, Any], words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        table({}, change)
    message = str(caught.value)
    assert message.startswith("readings, row 1: ")
    assert "\n" not in message
    assert [word for word in words if word not in message] == []


def test_a_file_is_read_by_the_names_of_its_columns(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("Kind,setup_id,VALUE,line_id,station_m\nreceiver_ma, S1 ,40,A,12\n", encoding="utf-8-sig")
    found = read_readings(path)
    assert found.index.tolist() == [2]  # the row of the file
    assert found.loc[2, ["setup_id", "kind", "value"]].tolist() == ["S1", "receiver_ma", "40"]
    assert found.loc[2, "note"] == ""


def test_rows_of_a_file_are_counted_as_people_count_them(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("setup_id,kind,value\nS1,source_ma,40\nS1,source_ma,x\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"readings\.csv, row 3: expected a number as value"):
        check_readings(read_readings(path), small_site(), set_ups_of(small_plan()), settings=ReadingSettings(),
                       source="readings.csv")  # fmt: skip


@pytest.mark.parametrize(("text", "words"), [("setup_id,kind\n", "'value' is missing"), (None, "does not exist")])
def test_a_file_that_cant_be_read(tmp_path: Path, text: str | None, words: str) -> None:
    path = tmp_path / "readings.csv"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_readings(path)


def test_the_template_comes_back_empty(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    asked = [{"setup_id": "S1", "line_id": "A", "station_m": 12.5, "kind": "receiver_ma", "unit": "mA"},
             {"setup_id": "S1", "kind": "source_v", "station_m": float("nan"), "line_id": None}]  # fmt: skip
    write_template(path, asked)
    back = read_readings(path)
    assert list(back.columns) == list(READINGS.names)
    assert back["value"].tolist() == ["", ""]
    assert back["station_m"].tolist() == ["12.5", ""]
    found = check_readings(back, small_site(), set_ups_of(small_plan()), settings=ReadingSettings())
    assert found["value"].isna().all()
    assert path.read_text(encoding="utf-8").splitlines()[0] == ",".join(READINGS.names)


def test_a_template_of_no_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'volume'"):
        write_template(tmp_path / "r.csv", [{"setup_id": "S1", "kind": "volume"}])
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(OutputError, match="can't write"):
        write_template(tmp_path / "no" / "r.csv", [])


def test_inputs_are_left_alone() -> None:
    given = rows(50.0)
    before = given.copy()
    check_readings(given, small_site(), set_ups_of(small_plan()), settings=ReadingSettings())
    pd.testing.assert_frame_equal(given, before)


def test_no_cell_of_the_template_is_a_formula_and_names_come_back(tmp_path: Path) -> None:
    # OWASP, "CSV Injection": text of others that begins with = + - @ is put behind an apostrophe
    path = tmp_path / "readings.csv"
    write_template(path, [{"setup_id": "S1", "line_id": "=W", "kind": "receiver_ma", "x_m": -3.5}])
    cells = path.read_text(encoding="utf-8").splitlines()[1].split(",")
    assert "'=W" in cells
    assert "-3.5" in cells
    back = read_readings(path)
    assert back["line_id"].tolist() == ["=W"]
    assert back["x_m"].tolist() == ["-3.5"]
