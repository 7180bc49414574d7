"""The stages of the choice, one after another: each keeps what those before it reached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.problem import Problem
from corridor.plan.setups.programme import Clock, Levels, Programme, Stage, make_levels
from corridor.plan.setups.reduction import least_rows, undominated

__all__ = ["choose_fewest", "choose_within", "refine"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_WHOLE = 1e-6  # a bound on a count rounds up to the next whole number, but for the solver's own tolerance
_SLACK = 1e-6  # part of a sum by which later stages may miss it, and within which value and bound are one: HiGHS'
# feasibility and absolute gap tolerances are 1e-6 (its manual)


def choose_fewest(problem: Problem, *, clock: Clock) -> tuple[Ints, Stage]:
    """Return the fewest columns that cover each row by a near-best one.

    Parameters
    ----------
    problem : Problem
        Each row has a near-best column.
    clock : Clock
        Solver seconds left.

    Returns
    -------
    chosen : ndarray of int
        Ascending.
    stage : Stage
        number, with its bound.
    """
    rows, columns = np.arange(problem.length_m.size), np.arange(problem.preference.size)
    while True:
        fewer_rows = rows[least_rows(problem.near_best[np.ix_(rows, columns)])]
        fewer = columns[undominated(problem.near_best[np.ix_(fewer_rows, columns)])]
        if fewer_rows.size == rows.size and fewer.size == columns.size:
            break
        rows, columns = fewer_rows, fewer
    if columns.size == 1 or rows.size == 0:
        return columns[: rows.size], _settled("number", float(rows.size > 0))
    programme = Programme(problem.near_best[np.ix_(rows, columns)])
    found, stage = programme.minimise(np.ones(columns.size), clock=clock, name="number")
    chosen = _better(problem, greedy_choice(problem), None if found is None else columns[found])
    bound = max(1.0, np.ceil(stage.bound - _WHOLE))
    return chosen, replace(stage, value=float(chosen.size), bound=bound, proven=bound >= chosen.size)


def refine(problem: Problem, chosen: Ints, *, clock: Clock) -> tuple[Ints, list[Stage]]:
    """Keep the number that covers each row, take the liked columns, then those that read most.

    Parameters
    ----------
    problem : Problem
        Each row has a near-best column.
    chosen : ndarray of int
        The fewest columns that cover each row by a near-best one.
    clock : Clock
        Solver seconds left.

    Returns
    -------
    chosen : ndarray of int
        Ascending.
    stages : list of Stage
        preference and length.
    """
    near_value = np.where(problem.near_best, problem.value, 0.0)
    columns = undominated(problem.near_best, value=near_value, preference=problem.preference)
    reduced = problem.part(columns=columns)
    covers = reduced.near_best[least_rows(reduced.near_best)]
    if columns.size == chosen.size:  # all that is left is needed
        liked = _settled("preference", _liked(problem, columns))
        return columns, [liked, _settled("length", problem.readable_m(columns))]
    ones, likes = np.ones(columns.size), reduced.preference
    stages = []
    if np.ptp(likes) > 0:
        programme = Programme(covers)
        programme.hold(ones, least=0.0, most=chosen.size)
        found, stage = programme.minimise(likes, clock=clock, name="preference")
        chosen = _better(problem, chosen, None if found is None else columns[found])
        stages.append(_closed(stage, _liked(problem, chosen), max(0.0, stage.bound)))
    else:
        chosen = _better(problem, chosen, None)
        stages.append(_settled("preference", float(likes[0]) * chosen.size))
    levels = make_levels(reduced, sure=True)
    if levels.row.size:
        programme = Programme(covers, levels)
        programme.hold(ones, least=0.0, most=chosen.size)
        programme.hold(likes, least=0.0, most=_above(_liked(problem, chosen)))
        found, stage = programme.minimise(0 * ones, -levels.true_m, clock=clock, name="length")
        chosen = _better(problem, chosen, None if found is None else columns[found])
        stages.append(_length_stage(problem, chosen, stage, levels))
    else:
        stages.append(_settled("length", problem.readable_m(chosen)))
    return chosen, stages


def choose_within(problem: Problem, max_setups: int, *, clock: Clock) -> tuple[Ints, list[Stage]]:
    """Return at most so many columns: most length, then fewest, then liked, then most length to the last.

    Parameters
    ----------
    problem : Problem
        Rows and columns; those of ``required`` can be covered by so many.
    max_setups : int
        Most columns.
    clock : Clock
        Solver seconds left.

    Returns
    -------
    chosen : ndarray of int
        Ascending.
    stages : list of Stage
        readable, number, preference and length.
    """
    columns = undominated(problem.near_best, value=problem.value, preference=problem.preference)
    reduced = problem.part(columns=columns)
    ones, likes = np.ones(columns.size), reduced.preference
    levels = make_levels(reduced, sure=False)
    programme = Programme(reduced.near_best[reduced.required], levels)
    programme.hold(ones, least=0.0, most=max_setups)
    utmost = float(problem.length_m @ problem.best)

    def step(start: Ints, name: str, costs: tuple[Floats, Floats | None]) -> tuple[Ints, Stage]:
        found, stage = programme.minimise(costs[0], costs[1], clock=clock, name=name)
        return _better(problem, start, None if found is None else columns[found]), stage

    chosen, stage = step(greedy_choice(problem, max_setups=max_setups), "readable", (0 * ones, -levels.counted_m))
    readable_m = problem.readable_m(chosen, counted=True)
    stages = [_closed(stage, readable_m, min(utmost, -stage.bound))]
    programme.hold(0 * ones, levels.counted_m, least=2 * readable_m - _above(readable_m), most=np.inf)

    chosen, stage = step(chosen, "number", (ones, None))
    bound = max(float(chosen.size > 0), np.ceil(stage.bound - _WHOLE))
    stages.append(_closed(stage, float(chosen.size), bound))
    programme.hold(ones, least=0.0, most=chosen.size)

    chosen, stage = step(chosen, "preference", (likes, None))
    stages.append(_closed(stage, _liked(problem, chosen), max(0.0, stage.bound)))
    programme.hold(likes, least=0.0, most=_above(_liked(problem, chosen)))

    chosen, stage = step(chosen, "length", (0 * ones, -levels.true_m))
    return chosen, [*stages, _length_stage(problem, chosen, stage, levels)]


def _liked(problem: Problem, chosen: Ints) -> float:
    return float(problem.preference[chosen].sum())


def _above(value: float) -> float:
    return value + _SLACK * max(1.0, value)


def _better(problem: Problem, chosen: Ints, found: Ints | None) -> Ints:
    """Return what the solver found unless it is worse in the order of the stages than what was there."""
    if found is None:
        return chosen
    for new, old in zip(_key(problem, found), _key(problem, chosen), strict=True):
        if new > old + _SLACK * max(1.0, abs(old)):
            return chosen
        if new < old - _SLACK * max(1.0, abs(old)):
            return found
    return found


def _key(problem: Problem, chosen: Ints) -> tuple[float, float, float, float]:
    uncovered = float((problem.required & ~problem.near_best[:, chosen].any(axis=1)).sum())
    readable_m = problem.readable_m(chosen, counted=True)
    return uncovered, -readable_m, float(chosen.size), _liked(problem, chosen)


def _settled(name: str, value: float) -> Stage:
    """Return a stage that the reductions leave nothing of."""
    return Stage(name, value, value, 0.0, 0, 0, proven=True)


def _closed(stage: Stage, value: float, bound: float) -> Stage:
    """Fill in value and bound; they are one where only the solver's tolerance lies between."""
    if abs(value - bound) <= _SLACK * max(1.0, abs(value)):
        bound = value
    return replace(stage, value=value, bound=bound)


def _length_stage(problem: Problem, chosen: Ints, stage: Stage, levels: Levels) -> Stage:
    utmost = float(problem.length_m @ problem.best)
    sure_m = utmost - float(levels.true_m.sum())
    return _closed(stage, problem.readable_m(chosen), min(utmost, sure_m - stage.bound))
