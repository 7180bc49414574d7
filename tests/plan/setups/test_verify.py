"""What to verify first, against the whole table of states counted out."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups.verify import halves, verify_first

STATES = np.array(list(product([0, 1], repeat=6)))  # (64, 6): every combination of six bonds
PROBABILITY = np.array([0.3, 0.5, 0.1, 0.6, 0.2, 0.4])
WEIGHTS = np.prod(np.where(STATES == 1, PROBABILITY, 1 - PROBABILITY), axis=1)


def planned(readable: np.ndarray, length_m: np.ndarray, weights: np.ndarray) -> float:
    """The best plan's expected length: for each segment the candidate that is the best on average."""
    total = 0.0
    for segment, length in enumerate(length_m):
        means = [sum(w * r for w, r in zip(weights, row, strict=True)) for row in readable[segment]]
        total += length * max(means)
    return total


def counted_out(readable: np.ndarray, length_m: np.ndarray, states: np.ndarray, weights: np.ndarray) -> list[float]:
    """Gain of each unknown: look, then plan on the states that are left, for every outcome."""
    before = planned(readable, length_m, weights)
    gains = []
    for column in states.T:
        after = 0.0
        for state in sorted(set(column)):
            seen = np.where(column == state, weights, 0.0)
            if seen.sum() > 0:
                after += seen.sum() * planned(readable, length_m, seen / seen.sum())
        gains.append(after - before)
    return gains


def street(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Twelve segments and five candidates on six bonds; each pair reads or not by up to two of the first five bonds."""
    rng = np.random.default_rng(seed)
    readable = np.zeros((12, 5, 64), dtype=bool)
    for segment, candidate in product(range(12), range(5)):
        one, other = rng.choice(5, 2, replace=False)
        rule = rng.integers(0, 2, 4).astype(bool)
        readable[segment, candidate] = rule[2 * STATES[:, one] + STATES[:, other]]
    return readable, rng.uniform(5, 30, 12)


@pytest.mark.parametrize("seed", range(12))
def test_on_six_binary_unknowns_all_gains_and_the_first_equal_the_exhaustive_ones(seed: int) -> None:
    readable, length = street(seed)
    gains = verify_first(readable, length, STATES, WEIGHTS, seed=0, sampled=False)
    exhaustive = counted_out(readable, length, STATES, WEIGHTS)
    assert gains.gain_m == pytest.approx(exhaustive, abs=1e-9)
    assert gains.order[0] == int(np.argmax(exhaustive))


@pytest.mark.parametrize("seed", range(12))
def test_a_bond_that_no_plan_depends_on_ranks_last(seed: int) -> None:
    readable, length = street(seed)  # of which nothing depends on the sixth bond
    gains = verify_first(readable, length, STATES, WEIGHTS, seed=0, sampled=False)
    assert gains.order[-1] == 5
    assert gains.gain_m[5] == pytest.approx(0, abs=1e-9)


def test_a_bond_that_changes_readings_but_no_plan_gains_nothing() -> None:
    # with the bond both candidates fail, without it both read: nothing to choose
    readable = np.array([[[1, 0], [1, 0]]])
    gains = verify_first(readable, [10.0], [[0], [1]], seed=0, sampled=False)
    assert gains.gain_m.tolist() == [0.0]


def test_a_worked_case() -> None:
    # one reads only without the bond (probability 0.7), the other only with it: planned blind 7 m of 10, knowing 10
    readable = np.array([[[1, 0], [0, 1]]])
    gains = verify_first(readable, [10.0], [[0], [1]], [0.7, 0.3], seed=0, sampled=False)
    assert gains.gain_m == pytest.approx([3.0])
    # a third that reads in four of five cases whatever the bond: 8 m blind
    three = np.array([[[1, 0], [0, 1], [0.8, 0.8]]])
    assert verify_first(three, [10.0], [[0], [1]], [0.7, 0.3], seed=0, sampled=False).gain_m == pytest.approx([2.0])


def sampled_street(seed: int, *, draws: int = 32, unknowns: int = 20) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Noise everywhere; on 40 of 60 segments the first unknown says which of two candidates reads."""
    rng = np.random.default_rng(seed)
    states = (rng.random((draws, unknowns)) < 0.4).astype(float)
    states[:, unknowns // 2 :] = rng.normal(size=(draws, unknowns - unknowns // 2))
    readable = rng.random((60, 8, draws)) < 0.4
    readable[:40, 0] = states[:, 0] == 0
    readable[:40, 1] = states[:, 0] == 1
    return readable, np.full(60, 5.0), states


@pytest.mark.parametrize("seed", range(5))
def test_from_few_draws_the_planted_unknown_is_first_and_chance_is_taken_off(seed: int) -> None:
    readable, length, states = sampled_street(seed)
    gains = verify_first(readable, length, states, seed=3)
    assert gains.order[0] == 0
    assert gains.raw_m[0] > gains.chance_high_m[0]
    meaningless = np.arange(1, 20)
    assert gains.raw_m[meaningless].min() > 0  # noise alone seems to gain
    assert gains.gain_m[meaningless].max() < 0.5 * gains.gain_m[0]
    assert np.mean((gains.raw_m - gains.chance_m)[meaningless]) == pytest.approx(0, abs=0.1 * gains.gain_m[0])


def test_chance_is_measured_by_groups_where_states_are() -> None:
    # eight redrawn geometries of four draws each: what a geometry's unknown seems to gain by chance is more
    rng = np.random.default_rng(5)
    group = np.repeat(np.arange(8), 4)
    readable = (rng.random((60, 6, 8)) < 0.5)[:, :, group]
    states = rng.normal(size=(8, 30))[group]
    free = verify_first(readable, np.ones(60), states, seed=1)
    grouped = verify_first(readable, np.ones(60), states, seed=1, groups=group)
    assert (grouped.raw_m == free.raw_m).all()
    assert grouped.chance_m.mean() > 1.3 * free.chance_m.mean()
    assert (grouped.raw_m - grouped.chance_m).mean() == pytest.approx(0, abs=0.1 * grouped.raw_m.mean())


def test_the_same_seed_gives_the_same_and_other_unknowns_dont_disturb() -> None:
    readable, length, states = sampled_street(1)
    one = verify_first(readable, length, states, seed=3)
    again = verify_first(readable, length, states, seed=3)
    assert (one.gain_m == again.gain_m).all()
    fewer = verify_first(readable, length, states[:, :5], seed=3)
    np.testing.assert_allclose(fewer.gain_m, one.gain_m[:5], atol=1e-9)
    other = verify_first(readable, length, states, seed=4)
    assert (other.raw_m == one.raw_m).all()
    assert (other.chance_m != one.chance_m).any()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.integers(1, 4), st.integers(1, 9))
def test_gains_equal_the_loop_and_are_never_negative(seed: int, segments: int, candidates: int, draws: int) -> None:
    rng = np.random.default_rng(seed)
    readable, length = rng.random((segments, candidates, draws)), rng.uniform(0, 9, segments)
    states, weights = rng.integers(0, 2, (draws, 3)), rng.uniform(0.1, 1, draws)
    weights /= weights.sum()
    gains = verify_first(readable, length, states, weights, seed=0, sampled=False)
    assert gains.raw_m == pytest.approx(counted_out(readable, length, states, weights), abs=1e-9)
    assert (gains.raw_m >= 0).all()
    # no gain exceeds that of knowing everything
    everything = sum(w * planned(readable[:, :, [d]], length, np.ones(1)) for d, w in enumerate(weights))
    assert gains.raw_m.max() <= everything - planned(readable, length, weights) + 1e-9


def test_more_draws_in_blocks_give_what_one_block_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    readable, length, states = sampled_street(2)
    whole = verify_first(readable, length, states, seed=3)
    monkeypatch.setattr("corridor.plan.setups.verify._BLOCK", 2000)
    np.testing.assert_allclose(verify_first(readable, length, states, seed=3).gain_m, whole.gain_m, atol=1e-9)


def test_halves() -> None:
    assert halves([1.0, 1.0]).tolist() == [False, False]
    assert halves([2, 5, 2]).tolist() == [False, True, False]
    assert halves([0.1, 0.7, 0.3, 0.9]).tolist() == [False, True, False, True]
    assert halves([0, 1, 2, 2, 2]).tolist() == [False, False, True, True, True]
    assert halves([0, 1, 1, 2]).tolist() == [False, False, False, True]


def test_unknowns_with_one_state_and_empty_plans_gain_nothing() -> None:
    gains = verify_first(np.ones((2, 1, 3)), [1, 1], [[0, 1], [0, 1], [0, 2]], seed=0)
    assert gains.gain_m.tolist() == [0.0, 0.0]
    assert gains.order.tolist() == [0, 1]
    assert verify_first(np.zeros((0, 4, 3)), [], np.zeros((3, 2)), seed=0).gain_m.tolist() == [0, 0]
    assert verify_first(np.zeros((2, 0, 3)), [1, 1], np.eye(3), seed=0).gain_m.tolist() == [0, 0, 0]
    assert verify_first(np.ones((2, 1, 3)), [1, 1], np.zeros((3, 0)), seed=0).gain_m.size == 0
    unreached = verify_first(np.array([[[np.nan, np.nan], [1, 0]]]), [1.0], [[0], [1]], seed=0, sampled=False)
    assert unreached.gain_m.tolist() == [0.0]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"readable": np.ones((2, 3))}, "expected readable (segments, candidates, draws)"),
        ({"length_m": [1.0]}, "expected readable"),
        ({"states": np.ones((4, 2))}, "expected readable"),
        ({"readable": np.full((2, 1, 3), 2.0)}, "readable: expected 0 to 1, or NaN, got 2.0"),
        ({"length_m": [1.0, -2.0]}, "length_m: expected finite numbers >= 0, got -2.0"),
        ({"states": np.full((3, 2), np.nan)}, "states: expected finite numbers, got nan"),
        ({"weights": [1.0, 1.0]}, "weights: expected 3 finite numbers"),
        ({"weights": [0.0, 0.0, 0.0]}, "not all 0"),
        ({"groups": [1, 2]}, "groups: expected one label for each of 3 draws, got the shape (2,)"),
        ({"permutations": 0}, "permutations: expected at least 1, got 0"),
    ],
)
def test_wrong_input_is_told(changed: dict[str, object], words: str) -> None:
    now: dict[str, object] = {"readable": np.ones((2, 1, 3)), "length_m": [1.0, 2.0], "states": np.eye(3)[:, :2]}
    now |= changed
    with pytest.raises(DomainError) as told:
        verify_first(now.pop("readable"), now.pop("length_m"), now.pop("states"), seed=0, **now)  # type: ignore[arg-type]
    assert words in str(told.value)
