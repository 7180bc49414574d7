"""Words and numbers: nothing steers a terminal, nothing is called nothing that isn't."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.report.text import (
    LINE_MAX,
    clipped,
    current_text,
    joined,
    percent,
    plain,
    range_text,
    share_text,
    wrapped,
)


@given(st.text())
def test_no_control_character_gets_through(text: str) -> None:
    assert all(unicodedata.category(c)[0] != "C" or unicodedata.category(c) == "Cn" for c in plain(text))
    assert "\n" not in plain(text)
    assert plain(plain(text)) == plain(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("\x1b[31mred\x1b[0m", "?[31mred?[0m"),
        ("a\nb\tc", "a b c"),
        ("left\u202eright", "left?right"),  # the override that turns text round
        (None, ""),
        ("Ω·m", "Ω·m"),
    ],
)
def test_plain(text: str | None, expected: str) -> None:
    assert plain(text) == expected


def test_clipped() -> None:
    assert clipped("a" * LINE_MAX) == "a" * LINE_MAX
    assert clipped("a" * (LINE_MAX + 1)) == "a" * (LINE_MAX - 1) + "…"


def test_joined_counts_the_rest() -> None:
    assert joined(["a", "b"]) == "a; b"
    assert joined([]) == ""
    assert joined(["one", "two", "three"], limit=8) == "one; two; and 1 more"
    assert joined(["x" * 100, "y"], limit=8) == "x" * 100 + "; and 1 more"


def test_joined_says_where_the_rest_stands() -> None:
    assert joined(["a", "b"], limit=1, separator=", ", see="layer x") == "a, and 1 more: see layer x"


def test_wrapped() -> None:
    assert wrapped("one two three", width=9, indent=" ", hanging="  ") == [" one two", "   three"]
    assert wrapped("one two three", width=7, hanging="", lines_max=1) == ["one tw…"]
    assert wrapped("") == [""]


@given(st.text(), st.integers(12, 60))
def test_wrapped_loses_no_word_and_keeps_the_width(text: str, width: int) -> None:
    lines = wrapped(text, width=width)
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(plain(text).split())
    assert len(wrapped(text, width=width, lines_max=2)) <= 2


@pytest.mark.parametrize(
    ("share", "expected"), [(0.004, "<1 %"), (10.0, "1000 %"), (10.01, "10 times"), (65.04, "65 times")]
)
def test_a_share_of_many_times_is_no_percentage(share: float, expected: str) -> None:
    assert share_text(share) == expected


@pytest.mark.parametrize(("share", "expected"), [(0.0, "0 %"), (0.004, "<1 %"), (0.5, "50 %"), (1.0, "100 %")])
def test_percent(share: float, expected: str) -> None:
    assert percent(share) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, "?"),
        (float("nan"), "?"),
        (0.0, "0"),
        (123.456, "123"),
        (12.345, "12.3"),
        (1.2345, "1.23"),
        (0.00123, "0.0012"),
    ],
)
def test_current_text(value: float | None, expected: str) -> None:
    assert current_text(value) == expected


def test_range_text() -> None:
    assert range_text(12.0, 8.1, None, unit="mA") == "12.0 mA (8.10 to ?)"
