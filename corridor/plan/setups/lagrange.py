"""A bound on the length that so many set-ups can show, and the candidates that it rules out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.problem import Problem

__all__ = ["Relaxed", "relax"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEPS = 400  # of the subgradient; on a block of streets the bound has settled by then
_PATIENCE = 15  # steps without a better bound, after which they are halved
_ROUNDING = 1e-7  # part of the length by which a bound may err in floating point, far above what it does


@dataclass(frozen=True)
class Relaxed:
    """What the relaxation says.

    Attributes
    ----------
    bound_m : float
        No choice shows more, m.
    chosen : ndarray of int
        The best choice met on the way, or the one given.
    ceiling_m : ndarray, shape (c,)
        No choice with that candidate shows more, m.
    """

    bound_m: float
    chosen: Ints
    ceiling_m: Floats

    def kept(self, readable_m: float) -> Ints:
        """Return the candidates that a choice which shows so much can have, ascending."""
        return np.flatnonzero(self.ceiling_m >= readable_m - _ROUNDING * max(1.0, readable_m))


def relax(problem: Problem, chosen: Ints, *, max_setups: int) -> Relaxed:
    """Bound the largest readable length by Lagrange multipliers, and drop candidates that can't be in a best choice.

    The rule that a row counts once is priced: for any prices p >= 0 of the rows, the sum of p and of the ``max_setups``
    largest worths w_c = sum_s max(0, length_s value_sc - p_s) bounds the length from above. Prices by subgradient steps
    (Cornuejols, Fisher and Nemhauser 1977, Management Science 23(8), 789-810; Held, Wolfe and Crowder 1974 for the
    steps; from memory). Forcing a candidate in lowers the bound to that candidate's ceiling: where a
    choice is known that shows more, no best one has it.

    Parameters
    ----------
    problem : Problem
        Its ``counted`` values count.
    chosen : ndarray of int
        A choice of at most ``max_setups``. Where it misses required rows, nothing is dropped.
    max_setups : int
        >= 1.

    Returns
    -------
    Relaxed
    """
    gain_m = problem.length_m[:, None] * problem.counted
    row, column = np.nonzero(gain_m)
    gain = gain_m[row, column]
    n_rows, n_columns = gain_m.shape
    most = min(max_setups, n_columns)
    utmost = float(problem.length_m @ problem.best)
    ceiling = np.full(n_columns, utmost)
    price = gain_m[:, chosen].max(axis=1, initial=0.0)
    best, reached, scale, idle = np.inf, _reached(problem, chosen), 1.0, 0
    if not np.isfinite(reached) or most == n_columns:
        return Relaxed(utmost, chosen, ceiling)
    for _ in range(_STEPS):
        over = gain - price[row]
        used = over > 0
        worth = np.bincount(column[used], weights=over[used], minlength=n_columns)
        ranked = np.argsort(-worth, kind="stable")
        taken = ranked[:most]
        bound = float(price.sum() + worth[taken].sum())
        slack = _ROUNDING * max(1.0, bound)
        if float(gain_m[:, taken].max(axis=1).sum()) > reached + slack:
            reached_here = _reached(problem, taken)
            if reached_here > reached:
                reached, chosen = reached_here, np.sort(taken)
        idle += 1
        if bound < best:
            best, idle = bound, 0
        # with a candidate outside the taken forced in, the least of the taken makes room
        ceiling = np.minimum(ceiling, bound - worth[taken[-1]] + np.minimum(worth, worth[taken[-1]]))
        if best - reached <= slack:
            break
        if idle == _PATIENCE:
            scale, idle = scale / 2, 0
        mine = np.zeros(n_columns, dtype=bool)
        mine[taken] = True
        times = np.bincount(row[used & mine[column]], minlength=n_rows)
        slope = 1.0 - times
        slope[(price <= 0) & (slope > 0)] = 0.0
        size = float(slope @ slope)
        if size == 0:
            break
        price = np.maximum(price - scale * (bound - reached) / size * slope, 0.0)
    return Relaxed(min(best, utmost), chosen, ceiling)


def _reached(problem: Problem, chosen: Ints) -> float:
    """Length that a choice shows, m; minus infinity where it misses a required row."""
    if not problem.near_best[problem.required][:, chosen].any(axis=1).all():
        return -np.inf
    return problem.readable_m(chosen, counted=True)
