"""Each stage alone; all of them together stand in test_cover."""

from itertools import combinations

import numpy as np
import pytest

from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.problem import Problem, make_problem
from corridor.plan.setups.programme import Clock
from corridor.plan.setups.stages import choose_fewest, choose_within, most_readable_m, refine
from tests.plan.setups.choices import small_choice


def covered(seed: int, near: float = 0.1) -> Problem:
    length, value, likes = small_choice(seed)
    problem = make_problem(length, value, preference=likes, near=near)
    return problem.part(rows=np.flatnonzero(problem.near_best.any(axis=1)))


@pytest.mark.parametrize("seed", range(10))
def test_the_fewest(seed: int) -> None:
    problem = covered(seed)
    chosen, stage = choose_fewest(problem, clock=Clock(10.0))
    sizes = (
        size
        for size in range(1, 10)
        if any(problem.near_best[:, list(c)].any(axis=1).all() for c in combinations(range(9), size))
    )
    assert chosen.size == next(sizes) == stage.value == stage.bound
    assert problem.near_best[:, chosen].any(axis=1).all()
    assert chosen.size <= greedy_choice(problem).size


@pytest.mark.parametrize("seed", range(10))
def test_refining_keeps_number_and_cover(seed: int) -> None:
    problem = covered(seed, near=0.4)
    few, _ = choose_fewest(problem, clock=Clock(10.0))
    chosen, stages = refine(problem, few, clock=Clock(10.0))
    assert chosen.size == few.size
    assert problem.near_best[:, chosen].any(axis=1).all()
    assert problem.preference[chosen].sum() <= problem.preference[few].sum()
    assert [stage.name for stage in stages] == ["preference", "length"]
    assert all(stage.gap == 0 for stage in stages)
    assert stages[1].value == pytest.approx(problem.readable_m(chosen))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("most", [1, 3])
def test_the_most_length_of_so_many(seed: int, most: int) -> None:
    length, value, likes = small_choice(seed)
    problem = make_problem(length, value, preference=likes)
    best = max(problem.readable_m(np.array(c)) for c in combinations(range(9), most))
    assert most_readable_m(problem, most, clock=Clock(10.0)) == pytest.approx(best)
    chosen, stages = choose_within(problem, most, clock=Clock(10.0))
    assert problem.readable_m(chosen) == pytest.approx(best)
    assert stages[0].bound == pytest.approx(best)


def test_out_of_time_the_greedy_choice_stands() -> None:
    problem = covered(4)
    late = Clock(-1.0)
    chosen, stage = choose_fewest(problem, clock=late)
    if not stage.proven:
        assert chosen.tolist() == greedy_choice(problem).tolist()
    within, stages = choose_within(problem, 2, clock=late)
    assert within.size <= 2
    assert [one.name for one in stages] == ["readable", "number", "preference", "length"]
