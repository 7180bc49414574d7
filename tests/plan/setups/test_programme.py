"""One programme: its levels, its bounds, its limits."""

import numpy as np
import pytest

from corridor.errors import SolverError
from corridor.plan.setups.problem import make_problem
from corridor.plan.setups.programme import Clock, Programme, Stage, make_levels


def test_levels_add_up_to_the_value_reached() -> None:
    problem = make_problem([10.0, 2.0], [[0.5, 0.8, 1.0], [0.25, 0, 0.25]], preference=np.zeros(3), near=0.25)
    levels = make_levels(problem, sure=False)
    assert levels.row.tolist() == [0, 0, 0, 1]
    assert levels.top.tolist() == [False, False, True, True]
    assert levels.true_m == pytest.approx([5, 3, 2, 0.5])
    assert levels.counted_m == pytest.approx([5, 5, 0, 0.5])  # 0.8 counts as 1
    assert levels.matrix.toarray().tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1]]
    sure = make_levels(problem, sure=True)
    assert sure.true_m == pytest.approx([2])
    assert sure.matrix.toarray().tolist() == [[0, 0, 1]]
    assert make_levels(problem.part(rows=np.array([1])), sure=True).row.size == 0


def test_the_most_length_of_one_column() -> None:
    problem = make_problem([10.0, 6.0], [[1, 0, 0.5], [0, 1, 0.9]], preference=np.zeros(3))
    levels = make_levels(problem, sure=False)
    programme = Programme(problem.near_best[:0], levels)
    programme.hold(np.ones(3), least=0, most=1)
    chosen, stage = programme.minimise(np.zeros(3), -levels.true_m, clock=Clock(10.0), name="length")
    assert chosen is not None
    assert chosen.tolist() == [2]  # 5 + 5.4 against 10 and 6
    assert stage.value == pytest.approx(-10.4)
    assert stage.bound == pytest.approx(-10.4)
    assert stage.proven


def test_no_time_gives_nothing_and_no_bound() -> None:
    clock = Clock(1.0)
    clock.spend(2.0)
    chosen, stage = Programme(np.eye(2, dtype=bool)).minimise(np.ones(2), clock=clock, name="number")
    assert chosen is None
    assert stage.bound == -np.inf
    assert not stage.proven
    assert clock.used_s == 2.0


def test_limits_that_nothing_keeps_are_told() -> None:
    programme = Programme(np.eye(2, dtype=bool))
    programme.hold(np.ones(2), least=0, most=1)
    with pytest.raises(SolverError, match="within the limits of stage 'number', the solver finds none"):
        programme.minimise(np.ones(2), clock=Clock(10.0), name="number")


def test_the_gap_is_relative() -> None:
    stage = Stage("number", 10.0, 9.0, 0.0, 1, 1, proven=False)
    assert stage.gap == pytest.approx(0.1)
    assert Stage("preference", 0.0, 0.0, 0.0, 0, 0, proven=True).gap == 0
