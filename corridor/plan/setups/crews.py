"""Several crews: set-ups shared out along the route, and frequencies that don't disturb another crew."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError

__all__ = ["Shares", "share_out"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WALK_M_PER_MIN = 50.0  # with instruments and cones, 3 km/h (engineering estimate)
_EQUAL_MIN = 1e-9


@dataclass(frozen=True)
class Shares:
    """Parts of the route, a crew each.

    Attributes
    ----------
    parts : tuple of ndarray of int
        Set-ups of each crew in walking order.
    minutes : ndarray, shape (crews at work,)
        Walking inside the part and work.
    crew : ndarray of int, shape (n,)
        Crew of each set-up, from 0.
    note : str or None
        Says so where some crews have nothing to do.
    """

    parts: tuple[Ints, ...]
    minutes: Floats
    crew: Ints
    note: str | None


def share_out(
    order: ArrayLike,
    legs_m: ArrayLike,
    work_min: ArrayLike,
    crews: int,
    *,
    walk_m_per_min: float = WALK_M_PER_MIN,
) -> Shares:
    """Cut a route into parts, one a crew, so that the longest takes as little time as possible.

    Exact, by dynamic programming over the cuts (the linear partition problem; Skiena 2008, The Algorithm Design Manual,
    section 8.5, from memory); of the cuts with the same longest part those with the least sum of squared times, so that
    the others are even too. The way to a crew's first set-up and from its last isn't counted.

    Parameters
    ----------
    order : array_like of int, shape (n,)
        Set-ups 0..n-1 in walking order.
    legs_m : array_like, shape (n - 1,)
        Way from each to the next, m.
    work_min : array_like, shape (n,) or scalar
        Minutes at each set-up, by set-up, not by order.
    crews : int
        >= 1.
    walk_m_per_min : float
        > 0.

    Returns
    -------
    Shares

    Raises
    ------
    DomainError
        If crews < 1, order isn't a permutation, or shapes and numbers don't fit.
    """
    o, legs = np.asarray(order, dtype=np.int64), np.asarray(legs_m, dtype=np.float64)
    n = o.size
    if crews != int(crews) or crews < 1:
        message = f"crews: expected a whole number of at least 1, got {crews!r}"
        raise DomainError(message)
    if sorted(o.tolist()) != list(range(n)) or legs.shape != (max(n - 1, 0),):
        message = (
            f"expected an order of set-ups from 0 on and a leg between each two, got {o.tolist()} and {legs.size} legs"
        )
        raise DomainError(message)
    work = np.asarray(work_min, dtype=np.float64)
    if work.shape not in ((), (n,)) or not (work >= 0).all() or not (legs >= 0).all() or not walk_m_per_min > 0:
        message = (
            f"expected minutes >= 0 for each of {n} set-ups, legs >= 0 and a speed > 0, got {work.size} minutes and "
            f"{walk_m_per_min} m/min"
        )
        raise DomainError(message)
    note = None
    if crews > n:
        note = f"{crews} crews are more than {n} set-ups: {crews - n} of them have nothing to do"
    minutes = _part_minutes(np.broadcast_to(work, n)[o], legs / walk_m_per_min)
    cuts = _even_cuts(minutes, min(int(crews), n))
    parts = tuple(o[a:b] for a, b in pairwise(cuts))
    crew = np.zeros(n, dtype=np.int64)
    for number, part in enumerate(parts):
        crew[part] = number
    return Shares(parts, np.array([minutes[a, b] for a, b in pairwise(cuts)]), crew, note)


def _part_minutes(work: Floats, walk: Floats) -> Floats:
    """Time of the part from a up to before b, (n + 1, n + 1); infinite where it is empty."""
    n = work.size
    done = np.concatenate([[0.0], np.cumsum(work)])
    walked = np.concatenate([[0.0], np.cumsum(walk), [0.0]])
    minutes = np.full((n + 1, n + 1), np.inf)
    for a in range(n):
        b = np.arange(a + 1, n + 1)
        minutes[a, b] = done[b] - done[a] + walked[b - 1] - walked[a]
    return minutes


def _even_cuts(minutes: Floats, parts: int) -> list[int]:
    n = len(minutes) - 1
    longest = np.full((parts + 1, n + 1), np.inf)
    longest[0, 0] = 0.0
    for k in range(1, parts + 1):
        longest[k] = np.maximum(longest[k - 1][:, None], minutes).min(axis=0)
    allowed = np.where(minutes <= longest[parts, n] + _EQUAL_MIN, minutes**2, np.inf)
    squares, before = np.full((parts + 1, n + 1), np.inf), np.zeros((parts + 1, n + 1), dtype=np.int64)
    squares[0, 0] = 0.0
    for k in range(1, parts + 1):
        sums = squares[k - 1][:, None] + allowed
        before[k] = np.argmin(sums, axis=0)
        squares[k] = sums.min(axis=0)
    cuts = [n]
    for k in range(parts, 0, -1):
        cuts.append(int(before[k, cuts[-1]]))
    return cuts[::-1]
