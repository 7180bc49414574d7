"""Set-ups chosen one by one."""

import math
from itertools import combinations

import numpy as np
import pytest

from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.problem import make_problem
from tests.plan.setups.choices import small_choice


@pytest.mark.parametrize("seed", range(10))
def test_so_many_show_at_least_what_is_proven_of_greedy(seed: int) -> None:
    # Nemhauser, Wolsey and Fisher (1978): at least 1 - 1/e of the best
    length, value, likes = small_choice(seed)
    problem = make_problem(length, value, preference=likes)
    for most in (1, 2, 4):
        best = max(problem.readable_m(np.array(c)) for c in combinations(range(9), most))
        greedy = greedy_choice(problem, max_setups=most)
        assert greedy.size <= most
        assert (1 - 1 / math.e) * best <= problem.readable_m(greedy) + 1e-9
    assert problem.readable_m(greedy_choice(problem, max_setups=1)) == pytest.approx(
        max(problem.readable_m(np.array([c])) for c in range(9))
    )


@pytest.mark.parametrize("seed", range(10))
def test_a_cover_takes_at_most_what_is_proven_of_greedy(seed: int) -> None:
    # Chvatal (1979): at most H(d) times the fewest, d the rows of the largest candidate
    length, value, likes = small_choice(seed)
    problem = make_problem(length, value, preference=likes)
    rows = problem.near_best.any(axis=1)
    fewest = next(
        k
        for k in range(1, 10)
        if any(problem.near_best[rows][:, list(c)].any(axis=1).all() for c in combinations(range(9), k))
    )
    greedy = greedy_choice(problem)
    assert problem.near_best[rows][:, greedy].any(axis=1).all()
    largest = int(problem.near_best.sum(axis=0).max())
    assert greedy.size <= fewest * sum(1 / k for k in range(1, largest + 1)) + 1e-9


def test_equals_go_to_the_liked_one_and_what_adds_nothing_stays_out() -> None:
    problem = make_problem([1.0, 1.0], np.ones((2, 3)), preference=[2, 1, 1])
    assert greedy_choice(problem).tolist() == [1]
    assert greedy_choice(problem, max_setups=3).tolist() == [1]
    assert greedy_choice(make_problem([1.0], [[0.0]], preference=[0.0])).size == 0


def test_required_rows_come_first() -> None:
    problem = make_problem([9.0, 1.0], np.eye(2), preference=[0, 0], required=[False, True])
    assert greedy_choice(problem, max_setups=1).tolist() == [1]
