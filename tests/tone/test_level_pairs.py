"""Rows for pairs of level sections against the kernels that they stand for."""

import math

import numpy as np
import pytest

from corridor.tone.earth import air_reflection, potential_kernel_f, propagation_constant, vector_kernel_t
from corridor.tone.kernel_table import EarthTable
from corridor.tone.level_pairs import PAIRS_MIN, LevelPairs, level_pairs, read_level_pair, wave_rest

DEPTHS = (0.45, 0.9, 2.3)
OFFSETS = (0.0, 0.003, 0.2, 0.71, 3.3, 17.0, 88.0, 199.0)
SOILS = [(30.0, 100e3), (80.0, 500.0), (250.0, 50e3), (1000.0, 200e3)]


def sections_at(*depths: float) -> np.ndarray:
    """So many sections at each depth that all pairs of depths get a row."""
    return np.repeat(np.array(depths), math.isqrt(PAIRS_MIN) + 1)


def made(depth_m: np.ndarray, end_m: np.ndarray | None = None, *, soil: tuple[float, float] = SOILS[0]) -> LevelPairs:
    gamma, reflection = propagation_constant(*soil), air_reflection(*soil)
    table = EarthTable(complex(gamma), complex(reflection), rho_max_m=200.0, depth_sum_min_m=0.9, depth_sum_max_m=4.6)
    end = depth_m if end_m is None else end_m
    return level_pairs(depth_m, end, gamma=complex(gamma), rests=table.rests, scale=table.scale, rho_max_m=200.0)


@pytest.mark.parametrize("soil", SOILS)
def test_a_row_holds_the_smooth_parts_of_both_kernels(soil: tuple[float, float]) -> None:
    # against the closed forms (Foster 1931, Sunde 1949); bar 5e-4 of the whole kernels, what a table may cost
    pairs, gamma, reflection = made(sections_at(*DEPTHS), soil=soil), propagation_constant(*soil), air_reflection(*soil)
    for a, depth in enumerate(DEPTHS):
        for b, other in enumerate(DEPTHS):
            for rho in OFFSETS:
                r1, r2 = max(math.hypot(rho, depth - other), 1e-3), math.hypot(rho, depth + other)
                image = np.exp(-gamma * r2) / r2
                rest = np.expm1(-gamma * math.hypot(rho, depth - other)) / r1 - image
                induced = rest + vector_kernel_t(rho, depth + other, gamma)
                leaked = rest + (1 + reflection) * potential_kernel_f(rho, depth + other, gamma) - reflection / r2
                read = read_level_pair(pairs.rests[pairs.row_of[a, b]], pairs.scale, rho)
                if rho > 0 or depth != other:
                    assert abs(read[0] - induced) < 5e-4 * abs(1 / r1 + induced)
                    assert abs(read[1] - leaked) < 5e-4 * abs(1 / r1 + reflection / r2 + leaked)


def test_the_order_of_two_depths_does_not_matter() -> None:
    pairs = made(sections_at(*DEPTHS))
    np.testing.assert_array_equal(pairs.row_of, pairs.row_of.T)
    assert pairs.row_of.min() == 0
    assert pairs.row_of.max() == len(pairs.rests) - 1 == 5


def test_sections_that_slope_have_no_depth() -> None:
    start = sections_at(0.9)
    end = start.copy()
    end[3] += 0.2
    pairs = made(start, end)
    assert pairs.depth_of[3] == -1
    assert np.delete(pairs.depth_of, 3).tolist() == [0] * (len(start) - 1)


def test_depths_of_few_sections_get_no_row() -> None:
    pairs = made(np.concatenate([sections_at(0.9), [1.7]]))
    assert pairs.row_of.tolist() == [[0, -1], [-1, -1]]


def test_no_level_section_gives_an_empty_table() -> None:
    pairs = made(np.array([0.5, 0.6]), np.array([0.9, 0.9]))
    assert pairs.depth_of.tolist() == [-1, -1]
    assert pairs.rests.shape[0] == 0


def test_wave_rest_keeps_its_digits_nearby() -> None:
    gamma = 0.01 + 0.012j
    assert wave_rest(gamma, 0.0) == -gamma
    for distance in (1e-12, 1e-6, 1e-3):
        series = -gamma + gamma**2 * distance / 2  # of (exp(-x) - 1)/R
        assert wave_rest(gamma, distance) == pytest.approx(series, rel=1e-9)
    assert wave_rest(gamma, 50.0) == pytest.approx((np.exp(-gamma * 50) - 1) / 50, rel=1e-12)
