"""Resistance and inductance from two frequencies."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from corridor.errors import DomainError
from corridor.plan.setups.signature import read_signature, separates, separation

STAKES_OHM, INDUCTANCE_H = np.array([40.0, 75.0]), 150e-6
FREQUENCIES_HZ = np.array([1e3, 1e5, 1e3, 1e5])
STAKE = np.array([0, 0, 1, 1])


def magnitude(resistance_ohm: np.ndarray, inductance_h: float, frequency_hz: np.ndarray) -> np.ndarray:
    return np.abs(resistance_ohm + 2j * math.pi * frequency_hz * inductance_h)


def test_without_noise_all_is_recovered() -> None:
    found = read_signature(FREQUENCIES_HZ, magnitude(STAKES_OHM[STAKE], INDUCTANCE_H, FREQUENCIES_HZ), STAKE)
    assert found.resistance_ohm == pytest.approx(STAKES_OHM, rel=1e-6)
    assert found.inductance_h == pytest.approx(INDUCTANCE_H, rel=1e-6)
    assert found.misfit == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_a_stake_of_40_ohm_and_150_microhenry_within_5_percent_at_2_percent_noise(seed: int) -> None:
    # noise: each reading off by up to 2 % either way, evenly; two frequencies, two stake positions, one reading each
    error = np.random.default_rng(seed).uniform(-0.02, 0.02, 4)
    readings = magnitude(STAKES_OHM[STAKE], INDUCTANCE_H, FREQUENCIES_HZ) * (1 + error)
    found = read_signature(FREQUENCIES_HZ, readings, STAKE)
    assert found.resistance_ohm[0] == pytest.approx(40, rel=0.05)
    assert found.inductance_h == pytest.approx(150e-6, rel=0.05)


def test_with_normal_noise_of_2_percent_19_in_20_lie_within_5_percent() -> None:
    # one reading of R alone lies within 5 % with probability 2 Phi(2.5) - 1 = 0.988
    inside = []
    for seed in range(400):
        error = np.random.default_rng(seed).normal(0, 0.02, 4)
        found = read_signature(
            FREQUENCIES_HZ, magnitude(STAKES_OHM[STAKE], INDUCTANCE_H, FREQUENCIES_HZ) * np.exp(error), STAKE
        )
        inside.append(abs(found.resistance_ohm[0] / 40 - 1) < 0.05 and abs(found.inductance_h / 150e-6 - 1) < 0.05)
    assert np.mean(inside) >= 0.95


def test_standard_errors_are_the_scatter_of_repeated_readings() -> None:
    found = []
    for seed in range(300):
        error = np.random.default_rng(seed).normal(0, 0.02, 4)
        found.append(
            read_signature(
                FREQUENCIES_HZ, magnitude(STAKES_OHM[STAKE], INDUCTANCE_H, FREQUENCIES_HZ) * np.exp(error), STAKE
            )
        )
    # tolerance: a standard deviation from 300 values is itself sure to 1 / sqrt(600), 4 %; three of those
    for k in range(2):
        scatter = np.std([one.resistance_ohm[k] for one in found])
        assert np.mean([one.resistance_error_ohm[k] for one in found]) == pytest.approx(scatter, rel=0.13)
    scatter = np.std([one.inductance_h for one in found])
    assert np.mean([one.inductance_error_h for one in found]) == pytest.approx(scatter, rel=0.13)


def test_a_low_frequency_alone_leaves_the_inductance_unsure_and_says_so() -> None:
    low = np.array([300.0, 1000.0])
    found = read_signature(low, magnitude(np.array([40.0, 40.0]), INDUCTANCE_H, low))
    assert found.resistance_ohm[0] == pytest.approx(40, rel=0.01)
    assert found.inductance_error_h > found.inductance_h


def test_readings_that_fall_with_frequency_hold_no_inductance_and_dont_fit() -> None:
    found = read_signature([1e3, 1e5], [50.0, 30.0])
    assert found.inductance_h * 2 * math.pi * 1e5 < 1
    assert found.misfit > 0.2


def test_more_noise_stated_means_larger_errors_not_other_values() -> None:
    readings = magnitude(STAKES_OHM[STAKE], INDUCTANCE_H, FREQUENCIES_HZ)
    one, other = (read_signature(FREQUENCIES_HZ, readings, STAKE, noise=noise) for noise in (0.02, 0.04))
    assert other.resistance_error_ohm == pytest.approx(2 * one.resistance_error_ohm)
    assert other.inductance_h == one.inductance_h


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 1e3), st.floats(1e-5, 1e-3))
def test_exact_readings_around_the_corner_give_the_values(resistance: float, inductance: float) -> None:
    corner = resistance / (2 * math.pi * inductance)
    f = np.array([0.2 * corner, 5 * corner])
    found = read_signature(f, magnitude(np.array([resistance]), inductance, f))
    assert found.resistance_ohm == pytest.approx([resistance], rel=1e-5)
    assert found.inductance_h == pytest.approx(inductance, rel=1e-5)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([1e3, 1e4], [40.0]), "expected a frequency, a reading and a stake position each"),
        (([1e3, -1e4], [40.0, 50.0]), "expected frequencies and readings > 0"),
        (([1e3, 1e4], [40.0, 0.0]), "expected frequencies and readings > 0"),
        (([1e3, 1e3], [40.0, 41.0]), "expected two different frequencies at least"),
        (([1e3, 1e4], [40.0, 41.0], [0, 1]), "one reading more than positions"),
        (([1e3, 1e4, 1e4], [40.0, 41.0, 41.0], [0, 2, 2]), "without gaps"),
    ],
)  # fmt: skip
def test_wrong_readings_are_told(arguments: tuple[list[float], ...], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        read_signature(*arguments)


def test_a_wrong_noise_is_told() -> None:
    with pytest.raises(DomainError, match="noise: expected a part > 0"):
        read_signature([1e3, 1e4], [40.0, 50.0], noise=0)


def spread(rng: np.random.Generator, centre: list[float], sigma: float, draws: int) -> np.ndarray:
    return np.array(centre) * np.exp(rng.normal(0, sigma, (draws, len(centre))))


def test_the_distance_is_mahalanobis_of_many_draws() -> None:
    rng = np.random.default_rng(0)
    a, b = spread(rng, [40, 60], 0.1, 20_000), spread(rng, [50, 60], 0.1, 20_000)
    expected = math.log(50 / 40) / math.hypot(0.1, 0.02)
    assert separation(a, b) == pytest.approx(expected, rel=0.02)


def test_few_draws_arent_taken_for_a_difference() -> None:
    # sixteen draws each of one and the same cause, two hundred times: the mean of the squared distances is about 0
    rng = np.random.default_rng(1)
    apart = [separation(spread(rng, [40, 60, 80], 0.3, 16), spread(rng, [40, 60, 80], 0.3, 16)) for _ in range(200)]
    assert np.mean(apart) < 0.5
    assert np.mean(np.array(apart) > 2.56) < 0.01


def test_a_signature_is_asked_for_only_where_it_separates() -> None:
    rng = np.random.default_rng(2)
    stake = np.exp(rng.normal(0, 0.25, (24, 1)))
    poor_stake = magnitude(400 * stake, 150e-6, np.array([1e3, 1e5]))
    open_joint = magnitude(60 * stake, 900e-6, np.array([1e3, 1e5]))
    dry_soil = magnitude(380 * np.exp(rng.normal(0, 0.25, (24, 1))), 160e-6, np.array([1e3, 1e5]))
    assert separates(poor_stake, open_joint)
    assert not separates(poor_stake, dry_soil)


def test_the_threshold_is_the_probability_of_the_wrong_cause() -> None:
    rng = np.random.default_rng(3)
    a, b = spread(rng, [40, 60], 0.1, 4000), spread(rng, [50, 60], 0.1, 4000)
    mistaken = norm.cdf(-separation(a, b) / 2)
    assert separates(a, b, mistaken=mistaken * 1.01)
    assert not separates(a, b, mistaken=mistaken * 0.99)


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        (np.ones((5, 2)), np.ones((5, 3)), "expected draws of the same readings"),
        (np.ones((0, 2)), np.ones((9, 2)), "expected draws of the same readings"),
        (np.ones(5), np.ones(5), "expected draws of the same readings"),
        (np.zeros((5, 2)), np.ones((5, 2)), "expected finite readings"),
        (np.ones((2, 2)), np.ones((2, 2)), "expected at least 6 draws for 2 readings, got 4"),
    ],
)
def test_wrong_draws_are_told(a: np.ndarray, b: np.ndarray, words: str) -> None:
    with pytest.raises(DomainError, match=words):
        separates(a, b)


def test_a_wrong_probability_is_told() -> None:
    with pytest.raises(DomainError, match="mistaken: expected a probability between 0 and 0"):
        separates(np.ones((5, 2)), np.ones((5, 2)), mistaken=0.5)
