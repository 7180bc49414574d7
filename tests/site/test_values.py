"""Values as recorded, read as the dictionary wants them."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.dictionary import INPUT_TABLES
from corridor.site.findings import Findings
from corridor.site.units import UNITS, unit_factor
from corridor.site.values import as_text, numbers, read_values
from tests.site.records import labelled, messages

LINES = INPUT_TABLES["lines"]
DEPTH = LINES.column("depth_m")
DIAMETER = LINES.column("diameter_mm")


@pytest.mark.parametrize(
    ("text", "metres"),
    [("1.2", 1.2), (" 0,9 ", 0.9), ("4 ft", 1.2192), ("36 in", 0.9144), ('36"', 0.9144), ("3'", 0.9144), ("90cm", 0.9),
     ("1e0", 1.0), (".5 m", 0.5), ("-1", -1.0), ("2 METRES", 2.0)],
)  # fmt: skip
def test_numbers_are_read_with_their_unit(text: str, metres: float) -> None:
    value, strange = numbers(pd.Series([text]), DEPTH)
    assert value[0] == pytest.approx(metres, rel=1e-12)
    assert not strange[0]


@pytest.mark.parametrize("text", ["six feet", "1,200", "3 kV", "1.2 to 1.5", "about 2", "m", "inf"])
def test_what_is_no_number_is_strange(text: str) -> None:
    value, strange = numbers(pd.Series([text]), DEPTH)
    assert np.isnan(value[0])
    assert strange[0]


@pytest.mark.parametrize("nothing", [None, "", "  ", "NULL", "nan", float("nan"), "-"])
def test_nothing_is_not_strange(nothing: object) -> None:
    value, strange = numbers(pd.Series([nothing], dtype=object), DEPTH)
    assert np.isnan(value[0])
    assert not strange[0]


def test_numbers_stay_numbers() -> None:
    value, strange = numbers(pd.Series([1, 2]), DEPTH)
    assert value.tolist() == [1.0, 2.0]
    value, strange = numbers(pd.Series([1.0, np.nan, np.inf]), DEPTH)
    assert strange.tolist() == [False, False, True]


@given(st.floats(0.001, 1e5), st.sampled_from(["mm", "cm", "m", "in", "ft", "us_ft", "yd"]))
def test_units_convert_both_ways(size: float, unit: str) -> None:
    to_mm, to_m = unit_factor(unit, DIAMETER), unit_factor(unit, DEPTH)
    assert to_mm is not None
    assert to_m is not None
    assert size * to_mm == pytest.approx(size * to_m * 1000, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "column", "factor"),
    [("in", "diameter_mm", 25.4), ("ft", "depth_m", 0.3048), ("kcmil", "conductor_mm2", 0.506707),
     ("kV", "nominal_voltage_v", 1000.0), ("Inch", "diameter_mm", 25.4)],
)  # fmt: skip
def test_units_are_what_their_definitions_say(unit: str, column: str, factor: float) -> None:
    # international inch 25.4 mm exactly (1959 agreement, from memory); 1000 circular mil = 0.506707 mm2 (pi/4 mil^2)
    assert unit_factor(unit, LINES.column(column)) == pytest.approx(factor, rel=1e-6)


@pytest.mark.parametrize("unit", ["furlong", "kv", "mm2", ""])
def test_a_unit_of_another_kind_is_none(unit: str) -> None:
    assert unit_factor(unit, DEPTH) is None


def test_every_column_with_a_unit_has_one_that_converts() -> None:
    for table in INPUT_TABLES.values():
        for column in table.columns:
            if column.unit:
                assert any(unit_factor(unit, column) == 1.0 for unit in UNITS), column.name


def test_text_of_every_type() -> None:
    assert as_text(pd.Series([12.0, 1.5, np.nan])).tolist() == ["12", "1.5", None]
    assert as_text(pd.Series([12, 7])).tolist() == ["12", "7"]
    assert as_text(pd.Series([True, False])).tolist() == ["yes", "no"]
    assert as_text(pd.Series([" a ", "", None, "NULL"])).tolist() == ["a", None, None, None]
    dates = pd.Series([dt.datetime(2020, 5, 1), pd.NaT, dt.datetime(2020, 5, 1, 12)])
    assert as_text(dates).tolist() == ["2020-05-01", None, "2020-05-01T12:00:00"]


def read(**columns: list[object]) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    count = len(next(iter(columns.values())))
    rows = labelled([{name: values[i] for name, values in columns.items()} | {"geometry": None} for i in range(count)])
    findings = Findings()
    before = rows.copy(deep=True)
    result = read_values(rows, LINES, findings)
    assert rows.equals(before)
    assert set(LINES.names) <= set(result.columns)
    return result, messages(findings)


def test_six_feet_is_no_depth() -> None:
    result, told = read(depth_m=["six feet", "1.2"])
    assert result["depth_m"].isna().tolist() == [True, False]
    assert told == {"not_a_number": ["depth_m: expected a number in m, got 'six feet'"]}


@pytest.mark.parametrize("value", [-9999, 0, 999, -1.2])
def test_what_lies_outside_the_range_is_left_out(value: float) -> None:
    result, told = read(depth_m=[value])
    assert result["depth_m"].isna().all()
    assert told == {"out_of_range": [f"depth_m: expected 0.01 to 100 in m, got {value:g}"]}


@pytest.mark.parametrize(
    ("column", "word", "meant"),
    [("utility", "Fire-Water", "fire_water"), ("utility", "SANITARY", "sewer"), ("material", "D.I.", "ductile_iron"),
     ("material", "HDPE", "polyethylene"), ("material", "RCP", "reinforced_concrete"), ("tracer_wire", "Y", "yes"),
     ("tracer_wire", "1", "yes"), ("energized", "false", "no"), ("quality_level", "QL-B", "b"),
     ("sheath", "Pb", "lead"), ("coating", "FBE", "epoxy"),
     ("status", "Active", "in_service"), ("vertical_position", "underground", "underground"),
     ("joints", "push-on", "gasketed")],
)  # fmt: skip
def test_usual_words_are_known(column: str, word: str, meant: str) -> None:
    result, told = read(**{column: [word]})
    assert result[column].tolist() == [meant]
    assert not told


@pytest.mark.parametrize(
    ("column", "instead"),
    [("utility", "unknown"), ("status", "unknown"), ("material", "unknown"), ("energized", "unknown"),
     ("joints", "unknown"), ("quality_level", None), ("vertical_position", None)],
)  # fmt: skip
def test_a_word_nobody_knows_is_told_and_never_guessed(column: str, instead: str | None) -> None:
    result, told = read(**{column: ["zorb", None]})
    assert result[column].tolist() == [instead, None]
    (message,) = told["unknown_word"]
    assert message.startswith(f"{column}: expected one of ")
    assert message.endswith("got 'zorb'")


def test_blanks_in_ids_become_underscores_everywhere() -> None:
    result, told = read(line_id=["W 1", "W-2"], contained_in=["D  9", None])
    assert result["line_id"].tolist() == ["W_1", "W-2"]
    assert result["contained_in"].tolist() == ["D_9", None]
    assert len(told["changed_id"]) == 2


def test_numeric_ids_are_text() -> None:
    assert read(line_id=[101.0, 7.0])[0]["line_id"].tolist() == ["101", "7"]


def test_integers_are_rounded_and_free_text_is_kept() -> None:
    result, told = read(count=["3", 2.0], owner=["Harrow & Slate", None], install_year=["1931", "unknown"])
    assert result["count"].tolist() == [3.0, 2.0]
    assert result["owner"].tolist() == ["Harrow & Slate", None]
    assert list(told) == ["no_value"]


def test_columns_that_are_not_there_are_null() -> None:
    result, _ = read(line_id=["A"])
    assert result["depth_m"].isna().all()
    assert result["depth_m"].dtype == "float64"
    assert result["material"].tolist() == [None]
