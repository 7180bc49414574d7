"""How well a cause explains readings: normal errors that belong together, a few readings that went wrong, exact sums.

Everything is on the scale of `corridor.readings.asked.to_scale`. Arrays: m readings, s soils, q quantities asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr

__all__ = ["Evidence", "Gauss", "conditional", "evidence", "mixture_quantiles", "separation"]

Real = NDArray[np.float64]

WRONG_MOST = 3  # at most one reading in so many went wrong
STEPS = 60  # of the bisection: 1e-15 of the range


@dataclass(frozen=True)
class Evidence:
    """What readings say of one cause in s soils.

    Attributes
    ----------
    log : ndarray, shape (s,)
        Logarithm of the readings' density.
    wrong : ndarray, shape (s, m)
        Probability that each reading went wrong.
    flagged : ndarray of bool, shape (s, m)
        The likeliest set of readings that did.
    """

    log: Real
    wrong: Real
    flagged: NDArray[np.bool_]


@dataclass(frozen=True)
class Gauss:
    """Normal distributions of q quantities in s soils, shape (s, q)."""

    mean: Real
    deviation: Real


def evidence(residual: Real, covariance: Real, *, outlier_share: float, outlier_spread: float) -> Evidence:
    """Return the density of readings under a normal law in which any of them may have gone wrong.

    A reading goes wrong with probability ``outlier_share``, and then has ``outlier_spread`` more of standard deviation.
    The sum over all sets of wrong readings is taken over those met when the one that gains most is added again and
    again, and over all that differ from the last by one more: sets that explain worse add next to nothing.

    Parameters
    ----------
    residual : ndarray, shape (s, m)
        Readings less expected ones.
    covariance : ndarray, shape (m, m)
        Of their errors, positive definite.
    outlier_share : float
        0 to 1.
    outlier_spread : float
        On the same scale.

    Returns
    -------
    Evidence
    """
    soils, count = residual.shape
    if count == 0:
        return Evidence(np.zeros(soils), np.zeros((soils, 0)), np.zeros((soils, 0), dtype=np.bool_))
    precision: Real = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    constant = -0.5 * (np.linalg.slogdet(covariance)[1] + count * math.log(2.0 * math.pi))
    constant += count * math.log1p(-outlier_share)
    odds = math.log(outlier_share) - math.log1p(-outlier_share)
    extra = outlier_spread**2
    log, wrong = np.empty(soils), np.zeros((soils, count))
    flagged = np.zeros((soils, count), dtype=np.bool_)
    for s in range(soils):
        K, u = precision, np.asarray(precision @ residual[s], dtype=np.float64)
        value = constant - 0.5 * float(residual[s] @ u)
        met = [value]
        for _ in range(max(count // WRONG_MOST, 1)):
            gain = _gain(K, u, extra) + odds
            gain[flagged[s]] = -np.inf
            best = int(gain.argmax())
            if gain[best] <= 0.0:
                break
            flagged[s, best], wrong[s, best] = True, 1.0 / (1.0 + math.exp(-min(gain[best], 700.0)))
            value += float(gain[best])
            met.append(value)
            column, factor = K[:, best], extra / (1.0 + extra * K[best, best])
            u = u - factor * column * u[best]
            K = K - factor * np.outer(column, column)
        gain = _gain(K, u, extra) + odds
        still = ~flagged[s]
        wrong[s, still] = 1.0 / (1.0 + np.exp(-gain[still]))
        log[s] = logsumexp(np.concatenate((met, value + gain[still])))
    return Evidence(log, wrong, flagged)


def _gain(K: Real, u: Real, extra: float) -> Real:
    """Return what more variance of each reading adds to the logarithm of the density (a rank-one update)."""
    size = 1.0 + extra * np.diag(K)
    return 0.5 * extra * u**2 / size - 0.5 * np.log(size)


def conditional(
    residual: Real,
    covariance: Real,
    cross: Real,
    *,
    variance: Real,
    extra: Real,
) -> Gauss:
    """Return what readings say of other quantities whose errors belong together with theirs.

    The conditional law of a normal distribution (textbook; in ensembles the smoother's update).

    Parameters
    ----------
    residual : ndarray, shape (s, m)
        Readings less expected ones.
    covariance : ndarray, shape (m, m)
        Of the readings' errors.
    cross : ndarray, shape (q, m)
        Covariance of the quantities with the readings.
    variance : ndarray, shape (q,)
        Of the quantities before the readings.
    extra : ndarray, shape (s, m)
        Variance that readings taken as wrong have more.

    Returns
    -------
    Gauss
        Means as shifts from the expected quantities.
    """
    mean = np.empty((len(residual), len(cross)))
    spread = np.empty_like(mean)
    if residual.shape[1] == 0:
        return Gauss(np.zeros_like(mean), np.broadcast_to(np.sqrt(variance), mean.shape).copy())
    known: dict[bytes, tuple[Real, Real]] = {}
    for s, (values, more) in enumerate(zip(residual, extra, strict=True)):
        key = more.tobytes()
        if key not in known:
            gain = np.linalg.solve(covariance + np.diag(more), cross.T).T
            left = np.maximum(variance - np.einsum("qm,qm->q", gain, cross), 1e-12)
            known[key] = np.asarray(gain, dtype=np.float64), np.sqrt(left)
        mean[s], spread[s] = known[key][0] @ values, known[key][1]
    return Gauss(mean, spread)


def mixture_quantiles(weight: Real, mean: Real, deviation: Real, levels: tuple[float, ...]) -> Real:
    """Return quantiles of mixtures of normal distributions, by bisection.

    Parameters
    ----------
    weight : ndarray, shape (k,)
        Adds up to 1.
    mean, deviation : ndarray, shape (k, q)
        Of q mixtures with the same weights.
    levels : tuple of float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (levels, q)
    """
    low = (mean - 10.0 * deviation).min(axis=0) * np.ones((len(levels), 1))
    high = (mean + 10.0 * deviation).max(axis=0) * np.ones((len(levels), 1))
    wanted = np.array(levels)[:, None]
    for _ in range(STEPS):
        middle = (low + high) / 2.0
        below = np.einsum("k,lkq->lq", weight, ndtr((middle[:, None, :] - mean) / deviation))
        low, high = np.where(below < wanted, middle, low), np.where(below < wanted, high, middle)
    return np.asarray((low + high) / 2.0)


def separation(expected: Real, others: Real, covariance: Real) -> float:
    """Return the log odds by which readings would tell two causes apart, whatever the soil.

    Half the squared distance, in standard deviations, between what one leads to expect and the nearest of what the
    other does in any soil.

    Parameters
    ----------
    expected : ndarray, shape (m,)
    others : ndarray, shape (k, m)
    covariance : ndarray, shape (m, m)
    """
    if not expected.size:
        return 0.0
    apart = others - expected
    return float(0.5 * np.einsum("km,km->k", apart, np.linalg.solve(covariance, apart.T).T).min())
