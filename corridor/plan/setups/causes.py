"""If a reading lies below or above its range: which unknowns the draws hold responsible."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from corridor.errors import DomainError
from corridor.plan.setups.verify import halves

__all__ = ["Cause", "Causes", "rank_causes"]

Floats = NDArray[np.float64]

_TAIL = 0.1  # the part of the draws outside the expected range on one side
_LEAST_DRAWS = 8  # of fewer, the tail of few draws says nothing (engineering estimate)


@dataclass(frozen=True)
class Cause:
    """One unknown as a cause of a low, or high, reading.

    Attributes
    ----------
    name, kind : str
        Of the unknown.
    upper : bool
        The cause is its higher state (or half), else its lower.
    prior, posterior : float
        Probability of that state among all draws, and among those of the tail.
    score : float
        posterior less prior, less one standard deviation of what chance gives, at least 0: what the ranking goes by.
    stands_out : bool
        posterior less prior is more than two such standard deviations.
    correlation : float
        Spearman's, of reading and state, over all draws.
    """

    name: str
    kind: str
    upper: bool
    prior: float
    posterior: float
    score: float
    stands_out: bool
    correlation: float


@dataclass(frozen=True)
class Causes:
    """Causes of a reading below and above its range, the likeliest first."""

    low: tuple[Cause, ...]
    high: tuple[Cause, ...]


def rank_causes(
    reading: ArrayLike,
    states: ArrayLike,
    names: Sequence[str],
    kinds: Sequence[str],
    *,
    weights: ArrayLike | None = None,
) -> Causes:
    """Rank unknowns by how much likelier a low, or a high, reading makes one of their states.

    By Bayes' rule over the draws: the share of a state in the tenth of the draws that read lowest (highest), less its
    share in all. So a rare state with a large effect comes before a common one, and one with no effect comes last. Of
    few draws the tail is the outer eight, at most half of them.

    Parameters
    ----------
    reading : array_like, shape (d,)
        Of one quantity in each draw.
    states : array_like, shape (d, u)
        State of each unknown; more than two states count as two halves.
    names, kinds : sequence of str, length u
        Of the unknowns.
    weights : array_like, shape (d,), optional
        Of the draws, >= 0.

    Returns
    -------
    Causes
        Every unknown on both sides; equal scores by rank correlation, then by name.

    Raises
    ------
    DomainError
        If shapes differ, there are fewer than two draws, a number isn't finite, or all weights are 0.
    """
    y, table = np.asarray(reading, dtype=np.float64), np.asarray(states, dtype=np.float64)
    w = np.ones(y.shape) if weights is None else np.asarray(weights, dtype=np.float64)
    if (
        y.ndim != 1
        or y.size < 2
        or table.shape != (y.size, len(names))
        or len(kinds) != len(names)
        or w.shape != y.shape
    ):
        message = (
            "expected one reading and weight for each of at least two draws, and states (draws, unknowns) with a name "
            f"and a kind each, got {y.shape}, {w.shape}, {table.shape}, {len(names)} and {len(kinds)}"
        )
        raise DomainError(message)
    if not np.isfinite(y).all() or not np.isfinite(table).all() or not (w >= 0).all() or not 0 < w.sum() < math.inf:
        message = "reading, states, weights: expected finite numbers, weights >= 0 and not all 0"
        raise DomainError(message)
    w = w / w.sum()
    upper = np.array([halves(column) for column in table.T], dtype=bool).reshape(len(names), y.size)
    ranks = stats.rankdata(y)
    correlation = np.array([_correlation(ranks, stats.rankdata(column)) for column in table.T])
    sides = [_side(tail, upper, w) for tail in (_outer(y, w), _outer(-y, w))]
    low, high = (
        tuple(
            sorted(
                (
                    Cause(name, kind, *lift, correlation=rho)
                    for name, kind, lift, rho in zip(names, kinds, side, correlation.tolist(), strict=True)
                ),
                key=lambda cause: (-round(cause.score, 9), -round(abs(cause.correlation), 9), cause.name),
            )
        )
        for side in sides
    )
    return Causes(low, high)


def _outer(y: Floats, w: Floats) -> Floats:
    """Return the weights of the draws in the lower tail, summing to 1; draws that read the same share its end."""
    order = np.argsort(y, kind="stable")
    least = min(_LEAST_DRAWS, y.size // 2)
    wanted = max(_TAIL, float(np.cumsum(w[order])[least - 1]))
    values, group = np.unique(y, return_inverse=True)
    mass = np.bincount(group, weights=w, minlength=values.size)
    before = np.cumsum(mass) - mass
    taken = np.clip(wanted - before, 0.0, mass)
    part = np.divide(taken, mass, out=np.zeros_like(mass), where=mass > 0)
    tail = w * part[group]
    return tail / tail.sum()


def _side(tail: Floats, upper: NDArray[np.bool_], w: Floats) -> list[tuple[bool, float, float, float, bool]]:
    found = []
    draws_in_tail = 1 / float((tail**2).sum())
    for row in upper:
        prior, posterior = float(w[row].sum()), float(tail[row].sum())
        rising = posterior >= prior
        if not rising:
            prior, posterior = 1 - prior, 1 - posterior
        chance = math.sqrt(max(prior * (1 - prior), 0.0) / draws_in_tail)
        lift = posterior - prior
        found.append((bool(rising), prior, posterior, max(lift - chance, 0.0), bool(lift > 2 * chance)))
    return found


def _correlation(a: Floats, b: Floats) -> float:
    if np.ptp(a) == 0 or np.ptp(b) == 0:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])
