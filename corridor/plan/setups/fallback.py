"""What to do where a set-up doesn't come off: the next best hook-ups for the same segments."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from corridor.errors import DomainError

__all__ = ["Fallback", "fallbacks"]


@dataclass(frozen=True)
class Fallback:
    """A candidate in the place of another.

    Attributes
    ----------
    candidate : int
        Its number.
    readable_m : float
        Sum of length times value over the segments that the other was to show, m.
    part : float
        That, over what the other would show.
    """

    candidate: int
    readable_m: float
    part: float


def fallbacks(
    value: ArrayLike,
    assigned: ArrayLike,
    chosen: ArrayLike,
    hookup_of: Sequence[Hashable],
    *,
    length_m: ArrayLike | None = None,
    preference: ArrayLike | None = None,
    most: int = 2,
) -> dict[int, tuple[Fallback, ...]]:
    """Return for each chosen set-up the next best candidates for its segments, each with another hook-up.

    Parameters
    ----------
    value : array_like, shape (s, c)
        0..1, NaN where a candidate doesn't reach.
    assigned : array_like of int, shape (s,)
        Chosen candidate of each segment, -1 for none.
    chosen : array_like of int, shape (k,)
        Candidates.
    hookup_of : sequence, length c
        What each candidate hooks up to; candidates of one hook-up differ in frequency or output only.
    length_m : array_like, shape (s,), optional
        Lengths, m; 1 where not given.
    preference : array_like, shape (c,), optional
        Lower is liked better, where candidates read the same.
    most : int
        How many fallbacks.

    Returns
    -------
    dict
        Fallbacks by chosen candidate, the best first, of hook-ups that differ from the chosen one's and from each
        other; fewer where no more show anything.

    Raises
    ------
    DomainError
        If shapes differ or a candidate isn't there.
    """
    v = np.nan_to_num(np.asarray(value, dtype=np.float64), nan=0.0)
    of_segment, picks = np.asarray(assigned, dtype=np.int64), np.asarray(chosen, dtype=np.int64)
    lengths = np.ones(of_segment.shape) if length_m is None else np.asarray(length_m, dtype=np.float64)
    if v.ndim != 2 or of_segment.shape != v.shape[:1] or lengths.shape != v.shape[:1] or len(hookup_of) != v.shape[1]:
        message = (
            "expected value (segments, candidates), assigned and length_m (segments,) and a hook-up a candidate, got "
            f"{v.shape}, {of_segment.shape}, {lengths.shape} and {len(hookup_of)}"
        )
        raise DomainError(message)
    likes = np.zeros(v.shape[1]) if preference is None else np.asarray(preference, dtype=np.float64)
    strange = sorted(set(picks.tolist()) - set(range(v.shape[1])))
    if likes.shape != v.shape[1:] or strange:
        message = f"expected candidates and preferences of 0 to {v.shape[1] - 1}, got {strange} and {likes.shape}"
        raise DomainError(message)
    found: dict[int, tuple[Fallback, ...]] = {}
    for pick in picks.tolist():
        own = of_segment == pick
        reads = np.round(lengths[own] @ v[own], 9)
        taken = {hookup_of[pick]}
        next_best: list[Fallback] = []
        for candidate in np.lexsort((np.arange(likes.size), likes, -reads)).tolist():
            if len(next_best) == most or reads[candidate] <= 0:
                break
            if hookup_of[candidate] not in taken:
                taken.add(hookup_of[candidate])
                part = float(reads[candidate] / reads[pick]) if reads[pick] > 0 else np.inf
                next_best.append(Fallback(candidate, float(reads[candidate]), part))
        found[pick] = tuple(next_best)
    return found
