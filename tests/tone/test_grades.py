"""Grades: order, thresholds and edges."""

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.dictionary.results import GRADES
from corridor.errors import DomainError
from corridor.tone.grades import FAINT, MASKED, PULLED, READABLE, UNTRACEABLE, grade, grade_names, worst

SOUND: dict[str, Any] = {
    "peak_offset_m": 0.05,
    "depth_reading_m": 1.05,
    "depth_m": 1.0,
    "strength": 2.0,
    "floor": 1.0,
    "masked": False,
}


def test_codes_follow_the_dictionary() -> None:
    codes = (READABLE, PULLED, MASKED, FAINT, UNTRACEABLE)
    assert grade_names(codes).tolist() == list(GRADES)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, READABLE),
        ({"peak_offset_m": 0.15}, READABLE),
        ({"peak_offset_m": -0.151}, PULLED),
        ({"peak_offset_m": math.nan}, PULLED),
        ({"depth_reading_m": 1.15}, READABLE),
        ({"depth_reading_m": 0.85}, READABLE),
        ({"depth_reading_m": 1.151}, PULLED),
        ({"depth_reading_m": 0.849}, PULLED),
        ({"depth_reading_m": math.nan}, PULLED),
        ({"depth_m": math.nan}, READABLE),
        ({"depth_m": math.nan, "depth_reading_m": math.nan}, READABLE),
        ({"depth_m": 2.0, "depth_reading_m": 2.3}, READABLE),
        ({"masked": True}, MASKED),
        ({"masked": True, "peak_offset_m": 1.0}, MASKED),
        ({"strength": 1.0}, READABLE),
        ({"strength": 0.999}, FAINT),
        ({"strength": 0.999, "masked": True}, FAINT),
        ({"strength": math.nan}, FAINT),
        ({"strength": 0.0}, UNTRACEABLE),
        ({"traceable": False}, UNTRACEABLE),
        ({"traceable": False, "strength": math.nan, "masked": True}, UNTRACEABLE),
    ],
)
def test_first_reason_that_holds_gives_the_grade(change: dict[str, Any], expected: int) -> None:
    assert grade(**(SOUND | change)) == expected


def test_tolerances_are_settings() -> None:
    assert grade(**SOUND, offset_tolerance_m=0.04) == PULLED
    assert grade(**SOUND, depth_tolerance_share=0.04) == PULLED
    assert grade(**(SOUND | {"peak_offset_m": 0.3}), offset_tolerance_m=0.3) == READABLE


@pytest.mark.parametrize("depth", [0.3, 0.7, 1.0, 1.1, 1.9])
def test_a_difference_equal_to_the_tolerance_is_within(depth: float) -> None:
    # 0.15 * depth is rarely exact in binary; the last bit must not decide
    assert grade(**(SOUND | {"depth_m": depth, "depth_reading_m": round(depth * 1.15, 6)})) == READABLE


def test_arrays_broadcast() -> None:
    grades = grade(**(SOUND | {"peak_offset_m": np.zeros((3, 2)), "floor": [[1.0], [3.0], [1.0]], "masked": [0, 1]}))
    assert grades.dtype == np.int8
    assert grades.tolist() == [[READABLE, MASKED], [FAINT, FAINT], [READABLE, MASKED]]


@pytest.mark.parametrize("name", ["offset_tolerance_m", "depth_tolerance_share"])
def test_negative_tolerance_is_refused(name: str) -> None:
    with pytest.raises(DomainError, match=f"{name} must be >= 0, got -0.1"):
        grade(**SOUND, **{name: -0.1})


@given(st.floats(0.0, 2.0), st.floats(0.2, 3.0), st.floats(0.0, 3.0), st.floats(1.0, 2.0), st.booleans())
def test_a_worse_reading_never_grades_better(
    offset: float, reading: float, strength: float, factor: float, masked: bool
) -> None:
    here: dict[str, Any] = SOUND | {
        "peak_offset_m": offset,
        "depth_reading_m": reading,
        "strength": strength,
        "masked": masked,
    }
    base = grade(**here)
    assert grade(**(here | {"peak_offset_m": offset * factor})) >= base
    assert grade(**(here | {"strength": strength / factor})) >= base
    assert grade(**(here | {"masked": True})) >= base


def test_worst_is_the_later_in_the_list() -> None:
    for a, b in itertools.product(range(len(GRADES)), repeat=2):
        assert worst(a, b) == max(a, b)
    assert worst([READABLE, MASKED], [PULLED, PULLED], FAINT).tolist() == [FAINT, FAINT]
    assert worst([READABLE]).tolist() == [READABLE]


def test_names_keep_the_shape_and_refuse_what_is_no_grade() -> None:
    assert grade_names([[0, 4]]).tolist() == [["readable", "untraceable"]]
    assert grade_names(np.empty(0, dtype=int)).shape == (0,)
    with pytest.raises(DomainError, match="grades run from 0 to 4, got 0 to 5"):
        grade_names([0, 5])
