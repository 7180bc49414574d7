"""Densities, outliers, conditional laws and mixtures, against scipy and against sums over all that may be."""

import math
from itertools import product

import numpy as np
import pytest
from scipy import stats
from scipy.special import logsumexp

from corridor.readings.likelihood import Gauss, conditional, evidence, mixture_quantiles, separation


def covariance(rng: np.random.Generator, size: int) -> np.ndarray:
    root = rng.normal(size=(size, size)) * 0.3
    return np.asarray(root @ root.T + np.eye(size) * 0.05)


@pytest.mark.parametrize("seed", range(3))
def test_without_outliers_it_is_the_normal_density(seed: int) -> None:
    # scipy.stats.multivariate_normal; an outlier share of 1e-12 leaves nothing of the other sum
    rng = np.random.default_rng(seed)
    matrix, residual = covariance(rng, 5), rng.normal(size=(4, 5)) * 0.2
    found = evidence(residual, matrix, outlier_share=1e-12, outlier_spread=1.0)
    assert found.log == pytest.approx(stats.multivariate_normal(np.zeros(5), matrix).logpdf(residual), abs=1e-7)
    assert not found.flagged.any()
    assert found.wrong.max() < 1e-6


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("wrong", [(), (2,), (0, 4)])
def test_outliers_agree_with_the_sum_over_all_sets(seed: int, wrong: tuple[int, ...]) -> None:
    # every set of wrong readings summed one by one (2^6); what the short sum leaves out stays under 0.1 in the log
    rng = np.random.default_rng(seed)
    matrix = np.eye(6) * 0.05**2 + 0.02**2
    residual = rng.multivariate_normal(np.zeros(6), matrix)
    residual[list(wrong)] += 1.0
    share, spread = 0.03, 1.0
    logs, sets = [], list(product((0, 1), repeat=6))
    for bad in sets:
        extra = np.diag(np.array(bad) * spread**2)
        prior = sum(bad) * math.log(share) + (6 - sum(bad)) * math.log1p(-share)
        logs.append(prior + stats.multivariate_normal(np.zeros(6), matrix + extra).logpdf(residual))
    found = evidence(residual[None], matrix, outlier_share=share, outlier_spread=spread)
    exact = float(logsumexp(logs))
    assert exact - 0.1 < found.log[0] <= exact + 1e-9
    chance = np.exp(np.array(logs) - exact) @ np.array(sets)
    assert found.wrong[0] == pytest.approx(chance, abs=0.05)
    assert set(np.flatnonzero(found.flagged[0])) == set(wrong)


def test_a_wrong_reading_costs_little_and_is_told() -> None:
    matrix = np.eye(5) * 0.05**2
    good = evidence(np.zeros((1, 5)), matrix, outlier_share=0.03, outlier_spread=1.0)
    bad = evidence(np.array([[0.0, 0.0, 1.5, 0.0, 0.0]]), matrix, outlier_share=0.03, outlier_spread=1.0)
    assert bad.wrong[0, 2] > 0.99
    assert good.wrong.max() < 0.01
    assert good.log[0] - bad.log[0] < 10.0  # without outliers it would be 450


def test_no_readings_say_nothing() -> None:
    found = evidence(np.zeros((3, 0)), np.zeros((0, 0)), outlier_share=0.03, outlier_spread=1.0)
    assert found.log.tolist() == [0.0, 0.0, 0.0]
    assert found.wrong.shape == (3, 0)
    law = conditional(np.zeros((3, 0)), np.zeros((0, 0)), np.zeros((2, 0)), variance=np.array([4.0, 9.0]),
                      extra=np.zeros((3, 0)))  # fmt: skip
    assert law.mean.tolist() == [[0.0, 0.0]] * 3
    assert law.deviation.tolist() == [[2.0, 3.0]] * 3


def test_the_conditional_law_is_that_of_the_joint_normal() -> None:
    # regression on many draws of the joint law; 1 % of the deviation with 200,000 draws
    rng = np.random.default_rng(5)
    joint = covariance(rng, 5)
    draws = rng.multivariate_normal(np.zeros(5), joint, size=200_000)
    seen, wanted = draws[:, :3], draws[:, 3:]
    slope, *_ = np.linalg.lstsq(seen, wanted, rcond=None)
    left = wanted - seen @ slope
    values = np.array([[0.3, -0.2, 0.1]])
    law = conditional(values, joint[:3, :3], joint[3:, :3], variance=np.diag(joint)[3:], extra=np.zeros((1, 3)))
    assert law.mean == pytest.approx(values @ slope, abs=0.01)
    assert law.deviation[0] == pytest.approx(left.std(axis=0), rel=0.01)


def test_a_reading_taken_as_wrong_says_next_to_nothing() -> None:
    matrix = np.array([[0.01, 0.0], [0.0, 0.01]])
    cross, variance = np.array([[0.009, 0.0]]), np.array([0.01])
    trusted = conditional(np.array([[1.0, 0.0]]), matrix, cross, variance=variance, extra=np.zeros((1, 2)))
    doubted = conditional(np.array([[1.0, 0.0]]), matrix, cross, variance=variance, extra=np.array([[100.0, 0.0]]))
    assert trusted.mean[0, 0] == pytest.approx(0.9)
    assert abs(doubted.mean[0, 0]) < 1e-3
    assert doubted.deviation[0, 0] == pytest.approx(0.1, rel=1e-3)


def test_quantiles_of_one_normal_are_the_tables() -> None:
    # standard normal distribution, any table: 5 % at -1.6449
    found = mixture_quantiles(np.ones(1), np.array([[0.0, 2.0]]), np.array([[1.0, 0.5]]), (0.05, 0.5, 0.95))
    assert found == pytest.approx(np.array([[-1.6449, 1.1776], [0.0, 2.0], [1.6449, 2.8224]]), abs=1e-4)


def test_quantiles_of_a_mixture_are_those_of_draws() -> None:
    weight, mean, deviation = np.array([0.3, 0.7]), np.array([[-1.0], [2.0]]), np.array([[0.2], [1.0]])
    found = mixture_quantiles(weight, mean, deviation, (0.05, 0.5, 0.95))
    below = [float(weight @ stats.norm.cdf(x, mean[:, 0], deviation[:, 0])) for x in found[:, 0]]
    assert below == pytest.approx([0.05, 0.5, 0.95], abs=1e-9)
    assert isinstance(Gauss(mean, deviation), Gauss)


def test_separation_is_half_the_squared_distance_to_the_nearest() -> None:
    matrix = np.diag([0.04, 0.01])
    others = np.array([[0.4, 0.0], [0.0, 0.3], [1.0, 1.0]])
    assert separation(np.zeros(2), others, matrix) == pytest.approx(0.5 * (0.4 / 0.2) ** 2)
    assert separation(np.zeros(2), np.zeros((1, 2)), matrix) == 0.0
    assert separation(np.zeros(0), np.zeros((1, 0)), np.zeros((0, 0))) == 0.0
