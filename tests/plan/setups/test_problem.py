"""The arrays of a choice, checked and merged; what is wrong with them is told in test_cover."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from corridor.plan.setups.problem import make_problem


def test_equal_segments_are_one_row() -> None:
    problem = make_problem(
        [1, 2, 4], [[1, math.nan], [0.5, 0.5], [1, 0]], preference=[0, 0], required=[False, False, True]
    )
    assert problem.length_m.tolist() == [5, 2]
    assert problem.row_of.tolist() == [0, 1, 0]
    assert problem.required.tolist() == [True, False]
    assert problem.best.tolist() == [1, 0.5]


def test_near_best_needs_a_value_above_nothing() -> None:
    problem = make_problem([1, 1], [[0.03, 0, 0.01], [1, 0.95, 0.94]], preference=[0, 0, 0], near=0.05)
    assert problem.near_best.tolist() == [[True, False, True], [True, True, False]]
    assert problem.counted.tolist() == [[0.03, 0, 0.03], [1, 1, 0.94]]


def test_a_part_keeps_what_the_whole_calls_best() -> None:
    problem = make_problem([1.0], [[1.0, 0.96]], preference=[0, 0], near=0.05).part(columns=np.array([1]))
    assert problem.best.tolist() == [1.0]
    assert problem.counted.tolist() == [[1.0]]
    assert problem.readable_m(np.array([0])) == 0.96


def test_assigned_goes_back_to_segments() -> None:
    problem = make_problem([1, 2, 4, 1], [[1, 1], [0.5, 0.6], [1, 1], [0, 0]], preference=[2, 1])
    assert problem.assigned(np.array([0, 1])).tolist() == [1, 1, 1, -1]
    assert problem.assigned(np.array([], dtype=int)).tolist() == [-1] * 4


@given(st.integers(0, 2**32 - 1))
def test_merging_changes_no_length(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value, length = rng.integers(0, 2, (9, 3)) / 1.0, rng.uniform(0, 5, 9)
    problem = make_problem(length, value, preference=np.zeros(3))
    for chosen in ([0], [1, 2], [0, 1, 2]):
        assert math.isclose(
            problem.readable_m(np.array(chosen)), float(length @ value[:, chosen].max(axis=1)), abs_tol=1e-9
        )
    assert len(np.unique(problem.value, axis=0)) == len(problem.value)
