"""The stages of the choice, one after another: each keeps what those before it reached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.lagrange import relax
from corridor.plan.setups.problem import Problem
from corridor.plan.setups.programme import Clock, Levels, Programme, Stage, make_levels
from corridor.plan.setups.reduction import least_rows, undominated

__all__ = ["choose_fewest", "choose_within", "most_readable_m", "refine"]

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
    return chosen, _closed(stage, float(chosen.size), bound)


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
        stages.append(_length_stage(reduced, problem.readable_m(chosen), stage, levels))
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
    relaxed = relax(reduced, greedy_choice(reduced, max_setups=max_setups), max_setups=max_setups)
    chosen = columns[relaxed.chosen]
    stages: list[Stage] = []
    for name in ("readable", "number", "preference", "length"):
        readable_m = problem.readable_m(chosen, counted=True)
        kept = columns[relaxed.kept(readable_m)]
        reduced = problem.part(columns=kept)
        levels, ones, likes = make_levels(reduced, sure=False), np.ones(kept.size), reduced.preference
        programme = Programme(reduced.near_best[reduced.required], levels)
        programme.hold(ones, least=0.0, most=max_setups if name in ("readable", "number") else chosen.size)
        if name != "readable":
            programme.hold(0 * ones, levels.counted_m, least=2 * readable_m - _above(readable_m), most=np.inf)
        if name == "length":
            programme.hold(likes, least=0.0, most=_above(_liked(problem, chosen)))
        costs: dict[str, tuple[Floats, Floats | None]] = {
            "readable": (0 * ones, -levels.counted_m),
            "number": (ones, None),
            "preference": (likes, None),
            "length": (0 * ones, -levels.true_m),
        }
        found, stage = programme.minimise(*costs[name], clock=clock, name=name)
        chosen = _better(problem, chosen, None if found is None else kept[found])
        reached = dict(zip(costs, _reached(problem, chosen), strict=True))[name]
        utmost = float(problem.length_m @ problem.best)
        bound = {
            "readable": min(relaxed.bound_m, -stage.bound),
            "number": max(float(chosen.size > 0), np.ceil(stage.bound - _WHOLE)),
            "preference": max(0.0, stage.bound),
            "length": min(utmost, -stage.bound),
        }[name]
        stages.append(_closed(stage, reached, bound))
    return chosen, stages


def most_readable_m(problem: Problem, max_setups: int, *, clock: Clock) -> float:
    """Return the largest sum of length times value that so many columns reach, m; where time ends, the best found.

    Parameters
    ----------
    problem : Problem
        Made with ``near`` 0 and nothing required.
    max_setups : int
        Most columns.
    clock : Clock
        Solver seconds left.
    """
    relaxed = relax(problem, greedy_choice(problem, max_setups=max_setups), max_setups=max_setups)
    readable_m = problem.readable_m(relaxed.chosen)
    if relaxed.bound_m <= _above(readable_m):
        return readable_m
    reduced = problem.part(columns=relaxed.kept(readable_m))
    levels, ones = make_levels(reduced, sure=False), np.ones(reduced.preference.size)
    programme = Programme(reduced.near_best[:0], levels)
    programme.hold(ones, least=0.0, most=max_setups)
    found, _ = programme.minimise(0 * ones, -levels.true_m, clock=clock, name="length")
    return readable_m if found is None else max(readable_m, reduced.readable_m(found))


def _liked(problem: Problem, chosen: Ints) -> float:
    return float(problem.preference[chosen].sum())


def _above(value: float) -> float:
    return value + _SLACK * max(1.0, value)


def _better(problem: Problem, chosen: Ints, found: Ints | None) -> Ints:
    """Return what the solver found unless it is worse in the order of the stages than what was there."""
    if found is None:
        return chosen
    for new, old in zip(_worth(problem, found), _worth(problem, chosen), strict=True):
        if new > old + _SLACK * max(1.0, abs(old)):
            return chosen
        if new < old - _SLACK * max(1.0, abs(old)):
            return found
    return found


def _worth(problem: Problem, chosen: Ints) -> tuple[float, ...]:
    """Return what a choice reaches in the order of the stages, less being better."""
    uncovered = float((problem.required & ~problem.near_best[:, chosen].any(axis=1)).sum())
    readable_m, number, liked, length_m = _reached(problem, chosen)
    return uncovered, -readable_m, number, liked, -length_m


def _reached(problem: Problem, chosen: Ints) -> tuple[float, float, float, float]:
    readable_m = problem.readable_m(chosen, counted=True)
    return readable_m, float(chosen.size), _liked(problem, chosen), problem.readable_m(chosen)


def _settled(name: str, value: float) -> Stage:
    """Return a stage that the reductions leave nothing of."""
    return Stage(name, value, value, 0.0, 0, 0, proven=True)


def _closed(stage: Stage, value: float, bound: float) -> Stage:
    """Fill in value and bound; they are one, and that proven, where only the solver's tolerance lies between."""
    one = abs(value - bound) <= _SLACK * max(1.0, abs(value))
    return replace(stage, value=value, bound=value if one else bound, proven=stage.proven or one)


def _length_stage(problem: Problem, readable_m: float, stage: Stage, levels: Levels) -> Stage:
    utmost = float(problem.length_m @ problem.value.max(axis=1, initial=0.0))
    sure_m = utmost - float(levels.true_m.sum())
    return _closed(stage, readable_m, min(utmost, sure_m - stage.bound))
