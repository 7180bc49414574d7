"""Causes of low and high readings, with effects planted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups.causes import rank_causes

NAMES = ["bond", "joint", "stake", "soil", "wrong line", "coating"]
KINDS = ["bond", "joint", "stake", "soil", "line", "coating"]


def planted(seed: int, draws: int) -> tuple[np.ndarray, np.ndarray]:
    """A current through a stake and the soil: a bond raises it, an open joint cuts it, the last two mean nothing."""
    rng = np.random.default_rng(seed)
    bond, joint = rng.random(draws) < 0.15, rng.random(draws) < 0.1
    stake, soil = np.exp(rng.normal(0, 0.2, draws)), np.exp(rng.normal(0, 0.1, draws))
    reading = 30 / stake / soil * np.where(bond, 4, 1) * np.where(joint, 0.1, 1)
    states = np.column_stack([bond, joint, stake, soil, rng.random(draws) < 0.3, rng.normal(size=draws)])
    return reading, states


@pytest.mark.parametrize("seed", range(8))
def test_planted_causes_lead_their_side(seed: int) -> None:
    reading, states = planted(seed, 256)
    causes = rank_causes(reading, states, NAMES, KINDS)
    assert causes.low[0].name == "joint"
    assert causes.low[0].upper
    assert causes.high[0].name == "bond"
    assert causes.high[0].kind == "bond"
    assert causes.high[0].upper
    assert causes.low[0].stands_out
    assert causes.high[0].stands_out
    assert len(causes.low) == len(causes.high) == 6


@pytest.mark.parametrize("seed", range(8))
def test_with_32_draws_the_planted_cause_is_among_the_first_two(seed: int) -> None:
    reading, states = planted(seed, 32)
    if states[:, 0].sum() >= 2:
        assert "bond" in [cause.name for cause in rank_causes(reading, states, NAMES, KINDS).high[:2]]


def test_the_direction_of_a_continuous_cause() -> None:
    rng = np.random.default_rng(3)
    stake = np.exp(rng.normal(0, 1, 200))
    causes = rank_causes(10 / stake, np.column_stack([stake, rng.normal(size=200)]), ["stake", "other"], ["", ""])
    assert causes.low[0].name == "stake"
    assert causes.low[0].upper  # a resistive stake reads low
    assert not causes.high[0].upper
    assert causes.low[0].correlation == pytest.approx(-1)
    assert causes.low[0].posterior == pytest.approx(1.0)
    assert causes.low[0].prior == pytest.approx(0.5)


def test_posteriors_follow_bayes_rule() -> None:
    # 100 draws; the ten lowest hold 8 of the 20 with the bond: P(bond | low) = 8 / 10 against 20 / 100
    reading = np.arange(100.0)
    bond = np.zeros(100)
    bond[[0, 1, 2, 3, 4, 5, 6, 7]] = 1
    bond[50:62] = 1
    (cause,) = rank_causes(reading, bond[:, None], ["b"], ["bond"]).low
    assert cause.posterior == pytest.approx(0.8)
    assert cause.prior == pytest.approx(0.2)
    # a standard deviation of what ten draws of 0.2 give by chance
    assert cause.score == pytest.approx(0.6 - np.sqrt(0.2 * 0.8 / 10))


def test_weights_count_as_repeated_draws() -> None:
    reading, states = planted(1, 60)
    times = np.random.default_rng(0).integers(1, 4, 60)
    weighted = rank_causes(reading, states[:, [0, 1, 4]], ["a", "b", "c"], ["", "", ""], weights=times)
    repeated = rank_causes(
        np.repeat(reading, times), np.repeat(states[:, [0, 1, 4]], times, axis=0), ["a", "b", "c"], ["", "", ""]
    )
    for one, other in zip(weighted.high, repeated.high, strict=True):
        assert one.prior == pytest.approx(other.prior)


def test_equal_readings_and_single_states_cause_nothing() -> None:
    causes = rank_causes(np.ones(20), np.column_stack([np.arange(20) % 2, np.ones(20)]), ["a", "b"], ["", ""])
    for cause in (*causes.low, *causes.high):
        assert cause.score == 0
        assert not cause.stands_out
    assert [cause.name for cause in causes.low] == ["a", "b"]
    assert rank_causes([1.0, 2.0], np.zeros((2, 0)), [], []).low == ()


def test_equal_scores_go_by_correlation() -> None:
    reading = np.arange(40.0)
    weak, strong = np.zeros(40), np.zeros(40)
    weak[[0, 1, 2, 3, 4, 5, 6, 7, 30, 31]] = 1
    strong[[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]] = 1
    causes = rank_causes(reading, np.column_stack([weak, strong]), ["a weak", "strong"], ["", ""])
    assert causes.low[0].score == causes.low[1].score
    assert causes.low[0].name == "strong"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
def test_turning_the_reading_round_swaps_the_sides(seed: int, draws: int) -> None:
    rng = np.random.default_rng(seed)
    reading, states = rng.normal(size=draws), rng.integers(0, 2, (draws, 3))
    one, other = rank_causes(reading, states, "abc", "xyz"), rank_causes(-reading, states, "abc", "xyz")
    assert [(c.name, c.score, c.upper) for c in one.low] == [(c.name, c.score, c.upper) for c in other.high]
    for cause in one.low:
        assert 0 <= cause.prior <= cause.posterior <= 1 + 1e-12
        assert 0 <= cause.score <= 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"reading": [1.0]}, "expected one reading"),
        ({"states": np.ones((3, 1))}, "expected one reading"),
        ({"kinds": ["x"]}, "a name and a kind each"),
        ({"weights": [1.0]}, "expected one reading and weight"),
        ({"weights": [0.0, 0.0, 0.0]}, "not all 0"),
        ({"reading": [1.0, 2.0, np.nan]}, "expected finite numbers"),
        ({"states": np.full((3, 2), np.inf)}, "expected finite numbers"),
    ],
)
def test_wrong_input_is_told(changed: dict[str, object], words: str) -> None:
    now: dict[str, object] = {
        "reading": [1.0, 2.0, 3.0],
        "states": np.eye(3)[:, :2],
        "names": ["a", "b"],
        "kinds": ["", ""],
    }
    with pytest.raises(DomainError, match=words):
        rank_causes(**(now | changed))  # type: ignore[arg-type]
