"""What to verify first: how much more would read if one unknown were known before the plan is made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError

__all__ = ["Gains", "halves", "verify_first"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

Kind = tuple[int, tuple[int, ...]]

_CONSTANT: Kind = (0, ())  # an unknown with one state only
_BLOCK = 1 << 22  # numbers held at once, about 30 MB


@dataclass(frozen=True)
class Gains:
    """Expected gain from knowing each unknown.

    Attributes
    ----------
    gain_m : ndarray, shape (u,)
        ``raw_m`` less ``chance_m``, at least 0, m.
    raw_m : ndarray, shape (u,)
        As the draws give it, m, >= 0.
    chance_m : ndarray, shape (u,)
        Mean of what unknowns that mean nothing would seem to gain, m; 0 where the draws are the full table.
    chance_high_m : ndarray, shape (u,)
        The most that one of those seemed to gain, m: a ``raw_m`` not above it can't be told from chance.
    order : ndarray of int, shape (u,)
        Unknowns, the first to verify first; equal ones as they came.
    """

    gain_m: Floats
    raw_m: Floats
    chance_m: Floats
    chance_high_m: Floats
    order: Ints


def verify_first(
    readable: ArrayLike,
    length_m: ArrayLike,
    states: ArrayLike,
    weights: ArrayLike | None = None,
    *,
    seed: int,
    permutations: int = 32,
    sampled: bool = True,
    groups: ArrayLike | None = None,
) -> Gains:
    """Return the expected gain in length graded readable from knowing each unknown before planning.

    The expected value of partial perfect information (Raiffa and Schlaifer 1961, Applied Statistical Decision Theory,
    Harvard; section 4.5 from memory): the mean over the unknown's states of the best choice for each segment given the
    state, less the best choice on average. From few draws the best of noisy means is too high, so that even an unknown
    that means nothing seems to gain. What it would seem to gain is measured: the same states are dealt to the draws at
    random, and the mean is taken off. An unknown with more than two states counts in two halves, at its median.

    The best choice is free for each segment: how many set-ups it takes doesn't count. Unknowns that tell only together
    show no gain alone.

    Parameters
    ----------
    readable : array_like of bool or float, shape (s, c, d)
        Whether, or with which probability (0..1), candidate c shows segment s in draw d; NaN where it doesn't reach.
    length_m : array_like, shape (s,)
        Lengths, m, >= 0.
    states : array_like, shape (d, u)
        State of each unknown in each draw.
    weights : array_like, shape (d,), optional
        Of the draws, >= 0; equal where not given.
    seed : int
        Of the permutations.
    permutations : int
        How often states are dealt, >= 1.
    sampled : bool
        False where the draws are every combination of the states with its probability as weight: then nothing is
        taken off.
    groups : array_like of int, shape (d,), optional
        Draws that share some unknowns' states, such as those solved on one redrawn geometry. An unknown that is the
        same within every group is dealt to groups: they are all the draws that it has.

    Returns
    -------
    Gains

    Raises
    ------
    DomainError
        If shapes differ, a number is out of range, or all weights are 0.
    """
    r, lengths, table, w = _checked(readable, length_m, states, weights=weights)
    if permutations < 1:
        message = f"permutations: expected at least 1, got {permutations}"
        raise DomainError(message)
    n_draws, n_unknowns = table.shape
    split = np.array([halves(column) for column in table.T], dtype=bool).reshape(n_unknowns, n_draws)
    kinds = _kinds(split, _labels(groups, n_draws))
    wanted = sorted(set(kinds) - {_CONSTANT}) if sampled else []
    dealt = [_dealt(size, np.array(labels), seed=seed, permutations=permutations) for size, labels in wanted]
    gain = _gains(r, lengths, w, np.concatenate([split, *dealt]))
    raw, null = gain[:n_unknowns], gain[n_unknowns:].reshape(len(wanted), permutations)
    of_kind = {kind: (float(row.mean()), float(row.max())) for kind, row in zip(wanted, null, strict=True)}
    chance, chance_high = np.array([of_kind.get(kind, (0.0, 0.0)) for kind in kinds]).reshape(n_unknowns, 2).T
    order = np.lexsort((np.arange(n_unknowns), -np.round(raw, 6), -np.round(raw - chance, 6)))
    return Gains(np.maximum(raw - chance, 0.0), raw, chance, chance_high, order)


def _checked(
    readable: ArrayLike, length_m: ArrayLike, states: ArrayLike, *, weights: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Floats]:
    r = np.nan_to_num(np.asarray(readable, dtype=np.float64), nan=0.0)
    lengths, table = np.asarray(length_m, dtype=np.float64), np.asarray(states, dtype=np.float64)
    if r.ndim != 3 or lengths.shape != r.shape[:1] or table.ndim != 2 or table.shape[0] != r.shape[2] or not len(table):
        message = (
            "expected readable (segments, candidates, draws), length_m (segments,) and states (draws, unknowns) with "
            f"at least one draw, got {r.shape}, {lengths.shape} and {table.shape}"
        )
        raise DomainError(message)
    w = np.ones(len(table)) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != table.shape[:1] or not (np.isfinite(w) & (w >= 0)).all() or w.sum() <= 0:
        message = f"weights: expected {len(table)} finite numbers >= 0, not all 0, got {w}"
        raise DomainError(message)
    for name, allowed, numbers, good in (
        ("readable", "0 to 1, or NaN", r, (r >= 0) & (r <= 1)),
        ("length_m", "finite numbers >= 0", lengths, np.isfinite(lengths) & (lengths >= 0)),
        ("states", "finite numbers", table, np.isfinite(table)),
    ):
        if not good.all():
            message = f"{name}: expected {allowed}, got {numbers[~good][0]}"
            raise DomainError(message)
    return r, lengths, table, w / w.sum()


def halves(states: ArrayLike) -> Bools:
    """Return True for the upper part: of two states the higher, of more those above the median.

    Parameters
    ----------
    states : array_like, shape (d,)
        Of one unknown; all False where it has one state only.

    Returns
    -------
    ndarray of bool, shape (d,)
    """
    table = np.asarray(states, dtype=np.float64)
    kinds = np.unique(table)
    if kinds.size <= 2:
        return table > kinds[0]
    upper = table > np.median(table)
    return upper if upper.any() else table >= np.median(table)


def _labels(groups: ArrayLike | None, n_draws: int) -> Ints:
    """Return the groups numbered from 0; each draw is its own where none are given."""
    if groups is None:
        return np.arange(n_draws)
    given = np.asarray(groups)
    if given.shape != (n_draws,):
        message = f"groups: expected one label for each of {n_draws} draws, got the shape {given.shape}"
        raise DomainError(message)
    return np.unique(given, return_inverse=True)[1].astype(np.int64)


def _kinds(split: Bools, labels: Ints) -> list[Kind]:
    """Return how each unknown is dealt: the number of draws, or groups, in the smaller part, and their labels.

    Dealt at random only that number counts, and parts of k and of n - k are the same division: so many unknowns share
    one kind.
    """
    first = np.unique(labels, return_index=True)[1]
    by_group = (split == split[:, first][:, labels]).all(axis=1)
    kinds = []
    for row, grouped in zip(split, by_group, strict=True):
        parts, of_draw = (row[first], labels) if grouped else (row, np.arange(row.size))
        size = int(min(parts.sum(), parts.size - parts.sum()))
        kinds.append((size, tuple(of_draw.tolist())) if size else _CONSTANT)
    return kinds


def _dealt(size: int, labels: Ints, *, seed: int, permutations: int) -> Bools:
    """Return seeded random divisions, shape (permutations, d), the same for a kind whatever else there is."""
    n_parts = int(labels.max()) + 1
    rng = np.random.default_rng([seed, size, n_parts])
    ranks = np.argsort(rng.random((permutations, n_parts)), axis=1, kind="stable")
    return (ranks < size)[:, labels]


def _gains(r: Floats, lengths: Floats, w: Floats, divisions: Bools) -> Floats:
    """Gain of each division of the draws in two, m, shape (k,)."""
    n_candidates, n_draws = r.shape[1:]
    gain = np.zeros(len(divisions))
    if not n_candidates or not len(divisions):
        return gain
    # a segment whose best candidate is the best in every draw gains nothing whatever is known
    held = (r >= r.max(axis=1, keepdims=True)).all(axis=2).any(axis=1)
    wanted = np.flatnonzero(~held & (lengths > 0))
    if not wanted.size:
        return gain
    upper = np.ascontiguousarray((divisions * w).T)
    for segments in np.array_split(wanted, max(1, -(-wanted.size * n_candidates * len(divisions) // _BLOCK))):
        rows = r[segments].reshape(-1, n_draws)
        mean = (rows @ w).reshape(segments.size, n_candidates)
        above = (rows @ upper).reshape(segments.size, n_candidates, -1)
        best = above.max(axis=1)
        np.subtract(mean[:, :, None], above, out=above)
        best += above.max(axis=1)
        gain += lengths[segments] @ np.maximum(best - mean.max(axis=1)[:, None], 0.0)
    return gain
