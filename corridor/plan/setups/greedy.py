"""Set-ups chosen one by one, each the best at its turn: a comparison, and a start where time runs out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.problem import TIE, Problem

__all__ = ["greedy_choice"]


def greedy_choice(problem: Problem, *, max_setups: int | None = None) -> NDArray[np.int64]:
    """Return candidates chosen greedily; each step takes the liked one of equals, then the first.

    Without ``max_setups`` a step takes the candidate that is near-best for most rows still without one, until each that
    can be covered is (Chvatal 1979, Mathematics of Operations Research 4(3), 233-235: at most H(d) times as many as
    needed, d the rows of the largest candidate). With it, required rows first in the same way, then a step takes the
    candidate that adds most length (Nemhauser, Wolsey and Fisher 1978, Mathematical Programming 14, 265-294: at least
    1 - 1/e of the best length).

    Parameters
    ----------
    problem : Problem
        Rows and candidates.
    max_setups : int, optional
        Most candidates to take.

    Returns
    -------
    ndarray of int, shape (k,)
        Ascending.
    """
    open_rows = problem.near_best.any(axis=1) & (problem.required if max_setups is not None else True)
    most = problem.preference.size if max_setups is None else max_setups
    chosen: list[int] = []
    while open_rows.any() and len(chosen) < most:
        chosen.append(_liked(problem.near_best[open_rows].sum(axis=0), problem))
        open_rows &= ~problem.near_best[:, chosen[-1]]
    counted = problem.counted
    reached = counted[:, chosen].max(axis=1, initial=0.0)
    while max_setups is not None and len(chosen) < most:
        added = problem.length_m @ np.maximum(counted - reached[:, None], 0.0)
        if not added.size or added.max() <= TIE:
            break
        chosen.append(_liked(added, problem))
        reached = np.maximum(reached, counted[:, chosen[-1]])
    return np.array(sorted(chosen), dtype=np.int64)


def _liked(gain: NDArray[np.float64], problem: Problem) -> int:
    best = np.flatnonzero(gain >= gain.max() - TIE)
    return int(best[np.argmin(problem.preference[best])])
