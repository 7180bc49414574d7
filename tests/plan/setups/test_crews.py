"""The route shared out among crews, against every way to cut it."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups.crews import share_out


def times(order: list[int], legs_m: np.ndarray, work_min: np.ndarray, cuts: tuple[int, ...]) -> list[float]:
    bounds = [0, *cuts, len(order)]
    return [sum(work_min[k] for k in order[a:b]) + sum(legs_m[a : b - 1]) / 50 for a, b in pairwise(bounds)]


def test_an_even_route_is_halved() -> None:
    shares = share_out([0, 1, 2, 3], [50, 100, 50], 10.0, 2)
    assert [part.tolist() for part in shares.parts] == [[0, 1], [2, 3]]
    assert shares.minutes == pytest.approx([21, 21])
    assert shares.crew.tolist() == [0, 0, 1, 1]
    assert shares.note is None


def test_minutes_belong_to_set_ups_not_to_places_in_the_order() -> None:
    shares = share_out([2, 0, 1], [0, 0], [1, 2, 30], 2)
    assert [part.tolist() for part in shares.parts] == [[2], [0, 1]]
    assert shares.minutes == pytest.approx([30, 3])


def test_one_crew_does_all() -> None:
    shares = share_out([1, 0], [500], 5.0, 1, walk_m_per_min=25)
    assert shares.minutes == pytest.approx([30])
    assert shares.parts[0].tolist() == [1, 0]


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("crews", [1, 2, 3, 4])
def test_the_longest_and_then_the_squares_equal_brute_force(seed: int, crews: int) -> None:
    rng = np.random.default_rng(seed)
    order, legs, work = rng.permutation(8), rng.uniform(0, 500, 7), rng.uniform(5, 30, 8)
    best = min(
        (round(max(spans), 9), sum(span**2 for span in spans))
        for spans in (times(order.tolist(), legs, work, cuts) for cuts in combinations(range(1, 8), crews - 1))
    )
    shares = share_out(order, legs, work, crews)
    assert shares.minutes.max() == pytest.approx(best[0])
    assert (shares.minutes**2).sum() == pytest.approx(best[1])
    assert np.concatenate(shares.parts).tolist() == order.tolist()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 12))
def test_one_crew_more_never_takes_longer(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    order, legs, work = rng.permutation(n), rng.uniform(0, 500, n - 1), rng.uniform(5, 30, n)
    longest = [share_out(order, legs, work, crews).minutes.max() for crews in range(1, n + 1)]
    assert all(after <= before + 1e-9 for before, after in pairwise(longest))
    assert longest[-1] == pytest.approx(work.max())


def test_more_crews_than_set_ups_is_told() -> None:
    shares = share_out([0, 1], [10], 5.0, 5)
    assert shares.note == "5 crews are more than 2 set-ups: 3 of them have nothing to do"
    assert len(shares.parts) == 2
    assert share_out([], [], 5.0, 1).parts == ()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0, 1], [10.0], 5.0, 0), "crews: expected a whole number of at least 1, got 0"),
        (([0, 1], [10.0], 5.0, 1.5), "crews: expected a whole number"),
        (([0, 2], [10.0], 5.0, 1), "expected an order of set-ups from 0 on"),
        (([0, 1], [10.0, 1.0], 5.0, 1), "a leg between each two"),
        (([0, 1], [10.0], [5.0], 1), "expected minutes >= 0 for each of 2 set-ups"),
        (([0, 1], [10.0], -5.0, 1), "expected minutes >= 0"),
        (([0, 1], [-10.0], 5.0, 1), "legs >= 0"),
    ],
)
def test_wrong_input_is_told(arguments: tuple[object, ...], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        share_out(*arguments)  # type: ignore[arg-type]


def test_a_wrong_speed_is_told() -> None:
    with pytest.raises(DomainError, match="a speed > 0"):
        share_out([0], [], 5.0, 1, walk_m_per_min=0)
