"""Words of the crew sheet: units and ranges, compass sides, made-up names as people say them."""

import math

import pandas as pd
import pytest

from corridor.report.sheet.words import (
    Names,
    bearing_text,
    frequency_text,
    given,
    named_lines,
    number_text,
    octant,
    quantity,
    sentences,
    setup_number,
    short,
    span_text,
    spoken,
)
from tests.report.sheet.conftest import words


@pytest.mark.parametrize("value", [None, math.nan, pd.NA, pd.NaT, "", "  ", "None", "nan"])
def test_nothing_given_is_empty(value: object) -> None:
    assert given(value) == ""


def test_control_characters_dont_reach_the_sheet() -> None:
    assert given("a\x1b[31m\nb") == "a?[31m b"


@pytest.mark.parametrize(
    ("value", "text"), [(5.0, "5"), (0.0, "0"), (1005.2, "1005"), (0.06874, "0.0687"), (52.14, "52.1"), (math.nan, "?")]
)
def test_numbers_have_three_digits_and_whole_ones_no_decimals(value: float, text: str) -> None:
    assert number_text(value) == text


def test_every_quantity_has_its_unit_in_the_same_line() -> None:
    assert quantity(12.34, "mA") == "12.3\u00a0mA"
    assert quantity(180.0, "ohm") == "180\u00a0Ω"
    assert span_text(92.47, 451.1, "ohm") == "92.5 to 451\u00a0Ω"
    assert frequency_text(50_000.0) == "50\u202f000\u00a0Hz"
    assert frequency_text(512.5) == "512.5\u00a0Hz"


def test_a_range_without_ends_is_empty_and_one_of_a_single_number_is_that_number() -> None:
    assert span_text(None, 3.0, "mA") == ""
    assert span_text(math.nan, math.nan, "mA") == ""
    assert words(span_text(5.0, 5.0, "mA")) == "5 mA"
    assert frequency_text(math.nan) == ""


@pytest.mark.parametrize(
    ("bearing", "side"),
    [
        (0, "north"),
        (22, "north"),
        (23, "north-east"),
        (90, "east"),
        (180, "south"),
        (225, "south-west"),
        (359, "north"),
    ],
)
def test_compass_sides(bearing: float, side: str) -> None:
    assert octant(bearing) == side


def test_bearing_and_distance_of_a_point() -> None:
    assert bearing_text((0, 0), (3, 4)) == (5.0, "north-east")
    assert bearing_text((10, 10), (10, 2)) == (8.0, "south")


@pytest.mark.parametrize(
    ("name", "number"), [("S1", 1), ("S109", 109), ("sweep-first", None), ("S", None), ("S²", None)]
)
def test_the_number_is_that_of_the_set_up(name: str, number: int | None) -> None:
    assert setup_number(name) == number


def test_long_texts_are_cut_between_words_and_say_so() -> None:
    assert short("one two three four", 12) == "one two…"
    assert short("short", 12) == "short"
    assert len(short("x" * 500, 40).replace("\u200b", "")) == 40


def test_long_words_may_be_broken_but_stay_the_same_words() -> None:
    name = "service_entrance_communications~BE-014~E-020~T-017"
    assert "\u200b" in short(name, 100)
    assert words(short(name, 100)) == name


def test_units_stay_tied_when_a_text_is_shortened() -> None:
    assert short(f"loop {quantity(1.5, 'ohm')}", 40) == "loop 1.50\u00a0Ω"


def test_the_most_dangerous_lines_are_named_first_and_the_rest_counted() -> None:
    rows = [
        {"line_id": "A", "utility": "telecommunications", "energized": None},
        {"line_id": "B", "utility": "gas", "energized": None},
        {"line_id": "C", "utility": "water", "energized": "yes"},
        {"line_id": "D", "utility": "electricity", "energized": None},
    ]
    assert named_lines(rows) == "C (water), D (electricity), B (gas), A (telecommunications)"
    assert named_lines(rows, limit=2) == "C (water), D (electricity) and 2 more lines"
    assert named_lines([{"line_id": "Z", "utility": None}]) == "Z (unknown)"


def test_sentences_are_parted_and_end_with_a_stop() -> None:
    assert sentences("One thing. Another. ") == ["One thing.", "Another."]
    assert sentences(None) == []


def test_words_of_vocabularies_are_spoken() -> None:
    assert spoken("storm_drain") == "storm drain"


@pytest.fixture
def names() -> Names:
    hookups = pd.DataFrame(
        {
            "hookup_id": ["clamp:A:MH-1", "induction:A:7m"], "mode": ["clamp", "induction"], "line_id": ["A", "A"],
            "structure_id": ["MH-1", None], "at_m": [0.0, 7.2],
        }
    )  # fmt: skip
    setups = pd.DataFrame({"hookup_id": ["clamp:A:MH-1", None], "frequency_hz": [1000.0, math.nan],
                           "setup_id": ["S4", "sweep-first"]})  # fmt: skip
    bonds = pd.DataFrame({"bond_id": ["rule~BE-1~A~B", "B-1"], "line_a": ["A", "A"], "line_b": ["B", "C"],
                          "structure_id": ["BE-1", None], "evidence": ["inferred", "recorded"]})  # fmt: skip
    return Names(hookups, setups, bonds)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("clamp:A:MH-1 at 1000 Hz, 5 mA", "set-up S4, 5 mA"),
        ("clamp:A:MH-1 at 500 Hz", "clamp on A, at MH-1, 500 Hz"),
        ("confirm with induction:A:7m at 5000 Hz", "confirm with induction on A, 7 m along it, 5 000 Hz"),
        ("bond rule~BE-1~A~B must be checked", "inferred bond of A and B at BE-1 must be checked"),
        ("bond B-1 conducts", "bond B-1 conducts"),
        (None, ""),
    ],
)
def test_made_up_names_are_put_into_words(names: Names, text: str | None, said: str) -> None:
    assert words(names.worded(text)) == said


def test_without_tables_texts_stay_as_they_are() -> None:
    empty = Names(*(pd.DataFrame(columns=["hookup_id", "frequency_hz", "setup_id", "bond_id"]) for _ in range(3)))
    assert empty.worded("clamp:A:MH-1") == "clamp:A:MH-1"
