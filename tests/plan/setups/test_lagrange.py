"""Bounds on the length that some set-ups show, against all choices."""

from itertools import combinations

import numpy as np
import pytest

from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.lagrange import relax
from corridor.plan.setups.problem import Problem, make_problem
from tests.plan.setups.choices import small_choice, street_block


def some_problem(seed: int, near: float = 0.1) -> Problem:
    length, value, likes = small_choice(seed, segments=10, candidates=9)
    return make_problem(length, value, preference=likes, near=near)


def all_choices(problem: Problem, most: int) -> dict[tuple[int, ...], float]:
    columns = range(problem.preference.size)
    choices = (c for k in range(1, most + 1) for c in combinations(columns, k))
    return {c: problem.readable_m(np.array(c), counted=True) for c in choices}


@pytest.mark.parametrize("seed", range(15))
@pytest.mark.parametrize("most", [1, 2, 4])
def test_no_choice_is_above_the_bound_or_its_candidates_ceilings(seed: int, most: int) -> None:
    problem = some_problem(seed)
    relaxed = relax(problem, greedy_choice(problem, max_setups=most), max_setups=most)
    choices = all_choices(problem, most)
    best = max(choices.values())
    assert relaxed.bound_m >= best - 1e-6
    for choice, readable_m in choices.items():
        assert relaxed.ceiling_m[list(choice)].min() >= readable_m - 1e-6
    # the best choices survive whatever is known
    kept = set(relaxed.kept(best).tolist())
    assert all(set(choice) <= kept for choice, readable_m in choices.items() if readable_m > best - 1e-9)
    assert problem.readable_m(relaxed.chosen, counted=True) <= best + 1e-9
    assert problem.readable_m(relaxed.chosen, counted=True) >= problem.readable_m(
        greedy_choice(problem, max_setups=most), counted=True
    )


def test_one_set_up_is_bounded_exactly() -> None:
    # with prices at what the best one gives, no other adds: the bound is the best
    problem = make_problem([1.0, 2.0, 3.0], np.array([[1, 0.2], [1, 0.2], [1, 0.2]]), preference=[0, 0])
    relaxed = relax(problem, np.array([0]), max_setups=1)
    assert relaxed.bound_m == pytest.approx(6.0)


def test_on_a_block_of_streets_the_bound_lies_within_one_percent_and_rules_most_out() -> None:
    length, value, likes = street_block(5, lines=12, points=8, variants=2)
    problem = make_problem(length, value, preference=likes, near=0.05)
    relaxed = relax(problem, greedy_choice(problem, max_setups=6), max_setups=6)
    readable_m = problem.readable_m(relaxed.chosen, counted=True)
    assert readable_m <= relaxed.bound_m <= 1.01 * readable_m
    assert relaxed.kept(readable_m).size < problem.preference.size / 2


def test_a_start_that_misses_required_rows_rules_nothing_out() -> None:
    problem = make_problem([9.0, 1.0], np.eye(2), preference=[0, 0], required=[False, True])
    relaxed = relax(problem, np.array([0]), max_setups=1)
    assert relaxed.kept(9.0).tolist() == [0, 1]
    assert relaxed.bound_m == pytest.approx(10.0)


def test_as_many_set_ups_as_candidates_are_bounded_by_the_best_of_all() -> None:
    problem = some_problem(0)
    relaxed = relax(problem, greedy_choice(problem, max_setups=9), max_setups=50)
    assert relaxed.bound_m == pytest.approx(float(problem.length_m @ problem.best))
