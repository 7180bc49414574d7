"""Ranges of readings: quantiles against numpy and the normal distribution, electrical identities."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from corridor.errors import DomainError
from corridor.plan.setups.expected import battery_hours, interval, power_drawn, source_readings


def test_with_many_draws_the_points_are_numpys_hazen_quantiles() -> None:
    # numpy.quantile(method="hazen") is type 5 of Hyndman and Fan (1996)
    values = np.random.default_rng(0).gamma(4, 3, 400)
    found = interval(values)
    points = [found.stop_low, found.low, found.high, found.stop_high]
    assert points == pytest.approx(np.quantile(values, [0.01, 0.1, 0.9, 0.99], method="hazen"))
    assert found.tells
    assert not found.capped


def test_with_few_draws_the_tail_is_log_normal() -> None:
    # 32 draws at the quantiles of a log-normal distribution: its 1 % and 99 % points by scipy.stats. Tolerance: linear
    # interpolation between draws
    sigma, median = 0.5, 20.0
    values = stats.lognorm.ppf((np.arange(32) + 0.5) / 32, sigma, scale=median)
    found = interval(values)
    assert found.stop_low == pytest.approx(stats.lognorm.ppf(0.01, sigma, scale=median), rel=0.02)
    assert found.stop_high == pytest.approx(stats.lognorm.ppf(0.99, sigma, scale=median), rel=0.02)
    assert found.low == pytest.approx(stats.lognorm.ppf(0.10, sigma, scale=median), rel=0.01)
    assert found.high == pytest.approx(stats.lognorm.ppf(0.90, sigma, scale=median), rel=0.01)


def test_ranges_beyond_all_numbers_stay_numbers() -> None:
    found = interval([1e-300, 1e-300, 1e-300, 1e6])
    assert np.isfinite(found.stop_high)
    assert found.stop_high >= 1e6
    assert not found.tells


def test_the_stop_never_lies_inside_the_outermost_draw() -> None:
    values = np.full(20, 10.0)
    values[0], values[-1] = 1.0, 90.0
    found = interval(values)
    assert found.low == found.high == 10.0
    assert found.stop_low == 1.0
    assert found.stop_high == 90.0


def test_four_in_five_fresh_draws_lie_inside_and_one_in_fifty_beyond_the_stop() -> None:
    # the promise on the sheet; over 400 sets of 32 draws of a log-normal reading, each judged by its true distribution
    rng = np.random.default_rng(4)
    inside, beyond = [], []
    for _ in range(400):
        found = interval(np.exp(rng.normal(3, 0.6, 32)))
        low, high, stop_low, stop_high = stats.norm.cdf(
            np.log([found.low, found.high, found.stop_low, found.stop_high]), 3, 0.6
        )
        inside.append(high - low)
        beyond.append(1 - (stop_high - stop_low))
    assert np.mean(inside) == pytest.approx(0.8, abs=0.03)
    assert np.mean(beyond) < 0.04


def test_weights_count_as_repeated_draws() -> None:
    values, times = np.array([3.0, 5.0, 8.0, 9.0, 20.0]), np.array([30, 80, 50, 100, 40])
    weighted, repeated = interval(values, times), interval(np.repeat(values, times))
    # midpoints of repeated draws lie a little apart: equal where the points fall on one draw's repeats
    assert weighted.low == pytest.approx(np.interp(0.1, (np.cumsum(times) - times / 2) / times.sum(), values))
    assert weighted.high == pytest.approx(repeated.high, rel=0.15)
    alone = interval(values, [0, 0, 1, 0, 0])
    assert (alone.stop_low, alone.low, alone.high, alone.stop_high) == (8.0, 8.0, 8.0, 8.0)


def test_ten_fold_is_where_a_reading_stops_to_tell() -> None:
    assert interval(np.linspace(1.0, 10.0, 200)).tells
    assert interval(np.geomspace(1.0, 10.0, 200)).tells
    assert not interval(np.geomspace(1.0, 20.0, 200)).tells
    assert not interval(np.repeat([0.0, 5.0], [40, 60])).tells
    assert not interval(np.zeros(5)).tells


def test_a_safety_limit_caps_all_points_and_says_so() -> None:
    values = np.linspace(10, 60, 200)
    assert interval(values, cap=100.0) == interval(values)
    capped = interval(values, cap=50.0)
    assert capped.capped
    assert capped.stop_high == 50.0
    assert capped.high == 50.0
    assert capped.low == interval(values).low
    assert capped.tells == interval(values).tells


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=60), st.floats(1e-3, 1e3))
def test_points_are_ordered_and_follow_the_unit(values: list[float], factor: float) -> None:
    found = interval(values)
    assert found.stop_low <= found.low <= found.high <= found.stop_high
    scaled = interval(np.array(values) * factor)
    assert scaled.low == pytest.approx(found.low * factor, rel=1e-9)
    assert found.low <= np.median(values) <= found.high or len(values) < 5


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([],), "values: expected at least one finite number"),
        (([1.0, math.nan],), "values: expected"),
        (([1.0, math.inf],), "values: expected"),
        (([-1.0],), "values: expected"),
        (([1.0, 2.0], [1.0]), "weights: expected finite numbers"),
        (([1.0, 2.0], [0.0, 0.0]), "not all 0"),
        (([1.0, 2.0], [1.0, -1.0]), "weights: expected"),
    ],
)
def test_wrong_draws_are_told(arguments: tuple[list[float], ...], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        interval(*arguments)


def test_a_wrong_cap_is_told() -> None:
    with pytest.raises(DomainError, match="cap: expected a limit > 0, got 0"):
        interval([1.0], cap=0)


def test_the_source_drives_its_level_or_what_it_can() -> None:
    found = source_readings([30 + 40j, 300 - 400j], [1.0, 0.02], 0.05)
    assert found.current_a.tolist() == [0.05, 0.02]
    assert found.loop_ohm == pytest.approx([50, 500])
    assert found.voltage_v == pytest.approx([2.5, 10.0])  # Ohm's law
    assert found.limited.tolist() == [False, True]
    assert source_readings([10.0], 0.01, 0.05).current_a.tolist() == [0.01]


@pytest.mark.parametrize(
    ("loop", "available", "level"), [([math.inf], 1.0, 0.1), ([10.0], -1.0, 0.1), ([10.0], 1.0, 0.0)]
)
def test_wrong_source_input_is_told(loop: list[float], available: float, level: float) -> None:
    with pytest.raises(DomainError, match="expected finite loop_ohm, available_a >= 0 and level_a > 0"):
        source_readings(loop, available, level)


def test_power_is_that_of_the_resistance_alone() -> None:
    # Joule: 0.1 A rms through 50 ohm is 0.5 W; the reactance takes none
    assert power_drawn([0.1, 0.1], [50, 50 + 400j], efficiency=0.5) == pytest.approx([1.0, 1.0])
    assert power_drawn(0.1, 50.0, efficiency=0.5, idle_w=2.0) == pytest.approx(3.0)


def test_power_equals_voltage_times_current_times_the_cosine_of_the_phase() -> None:
    z = np.random.default_rng(1).normal(size=20) ** 2 * 100 + 1j * np.random.default_rng(2).normal(size=20) * 100
    source = source_readings(z, 1.0, 0.2)
    expected = source.voltage_v * source.current_a * np.cos(np.angle(z))
    assert power_drawn(source.current_a, z, efficiency=1.0) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("loop", "options"),
    [
        (10.0, {"efficiency": 0.0}),
        (10.0, {"efficiency": 1.2}),
        (10.0, {"efficiency": 0.5, "idle_w": -1.0}),
        (-1.0, {"efficiency": 0.5}),
    ],
)
def test_wrong_power_input_is_told(loop: float, options: dict[str, float]) -> None:
    with pytest.raises(DomainError, match="expected efficiency above 0 up to 1"):
        power_drawn(0.1, loop, **options)


def test_hours_of_a_battery() -> None:
    hours = battery_hours([10.0, 0.0], 90.0)
    assert hours is not None
    assert hours.tolist() == [9.0, math.inf]
    assert battery_hours([10.0], None) is None
    with pytest.raises(DomainError, match="expected capacity_wh > 0"):
        battery_hours([10.0], 0.0)
    with pytest.raises(DomainError, match=r"power_w >= 0, got 90\.0 and -1\.0"):
        battery_hours([-1.0], 90.0)
