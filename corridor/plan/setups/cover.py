"""The fewest set-ups that show every segment as well as any could, nearly; or the best that so many can do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.plan.setups.greedy import greedy_choice
from corridor.plan.setups.problem import TIE, Problem, make_problem
from corridor.plan.setups.programme import Clock, Stage
from corridor.plan.setups.reduction import components, undominated
from corridor.plan.setups.stages import choose_fewest, choose_within, most_readable_m, refine

__all__ = ["Cover", "Stage", "choose_setups", "greedy_setups", "trade_off"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Cover:
    """Chosen set-ups, and how sure it is that none are better.

    Attributes
    ----------
    chosen : ndarray of int, shape (k,)
        Candidates, ascending.
    assigned : ndarray of int, shape (s,)
        Best chosen candidate of each segment, -1 where none reaches it.
    readable_m : float
        Sum of length times the value of the assigned set-up, m.
    preference : float
        Sum over the chosen.
    stages : tuple of Stage
        Each programme with its bound and size, in order; empty for a greedy choice.
    seconds : float
        Of the processor, inside the solver, all stages; not the same from run to run, so not for a file.
    """

    chosen: Ints
    assigned: Ints
    readable_m: float
    preference: float
    stages: tuple[Stage, ...] = ()
    seconds: float = 0.0

    @property
    def number(self) -> int:
        """How many set-ups."""
        return int(self.chosen.size)

    @property
    def gap(self) -> float:
        """The largest relative gap of any stage; 0 is an exact optimum, NaN a choice without bounds."""
        return max((stage.gap for stage in self.stages), default=math.nan)

    @property
    def proven(self) -> bool:
        """True where every stage was solved to its end."""
        return bool(self.stages) and all(stage.proven for stage in self.stages)

    @property
    def bound(self) -> float:
        """No choice that reads as much has fewer set-ups than this; NaN where nobody asked."""
        return next((stage.bound for stage in self.stages if stage.name == "number"), math.nan)


def choose_setups(
    length_m: ArrayLike,
    value: ArrayLike,
    *,
    preference: ArrayLike,
    near: float = 0.05,
    required: ArrayLike | None = None,
    max_setups: int | None = None,
    time_limit_s: float = 10.0,
) -> Cover:
    """Choose set-ups in strict order: length readable, number, preference, then what is left of the length.

    1. readable: the largest sum of length times value, where a value at most ``near`` below the segment's best counts
       as the best. Without ``max_setups`` (or where it suffices) that means: every segment that any candidate reaches
       has a chosen one at most ``near`` below its best.
    2. number: the fewest set-ups among those.
    3. preference: the least sum of preference among those. It comes before the last stage because near-best values
       are taken as equal: else the highest output would always win by a hair.
    4. length: the largest sum of length times value itself among those.

    Each is a mixed-integer programme (set covering, and p-median where lengths count) of ``scipy.optimize.milp``
    (HiGHS) with a relative gap of 0, after exact reductions: equal segments merged, groups that share no candidate
    apart, implied rows and dominated candidates dropped where the stage allows it (Beasley 1987, Eur. J. Oper. Res.
    31(1), 85-93, has the rules; from memory).

    Parameters
    ----------
    length_m : array_like, shape (s,)
        Lengths of the segments, m, >= 0.
    value : array_like, shape (s, c)
        Probability, or a score of 0..1, that a candidate shows a segment readable; NaN where it doesn't reach.
    preference : array_like, shape (c,)
        >= 0, lower is liked better.
    near : float
        0..1.
    required : array_like of bool, shape (s,), optional
        Segments that must have a near-best set-up even where ``max_setups`` leaves others without.
    max_setups : int, optional
        At most so many, >= 1.
    time_limit_s : float
        Solver seconds for all stages together, of the processor; one stage alone is cut short where it takes as long by
        the clock. Where that ends a stage, the best choice found so far stands, ``proven`` is False, and on another
        machine the choice may be another.

    Returns
    -------
    Cover

    Raises
    ------
    DomainError
        If shapes or values are wrong, no candidate reaches a required segment, or ``max_setups`` is too few for the
        required ones.
    """
    problem = make_problem(length_m, value, preference=preference, near=near, required=required)
    if not time_limit_s > 0:
        message = f"time_limit_s: expected seconds > 0, got {time_limit_s!r}"
        raise DomainError(message)
    if max_setups is not None:
        _check_count("max_setups", max_setups)
    clock = Clock(time_limit_s)
    groups = _groups(problem)
    fewest = [choose_fewest(group, clock=clock) for _, group in groups]
    if max_setups is not None and sum(chosen.size for chosen, _ in fewest) > max_setups:
        _check_required(problem, max_setups, clock=clock)
        chosen, stages = choose_within(problem, max_setups, clock=clock)
        return _cover(problem, chosen, stages=stages, seconds=clock.used_s)
    parts, solved = [], []
    for (columns, group), (few, number) in zip(groups, fewest, strict=True):
        chosen, stages = refine(group, few, clock=clock)
        parts.append(columns[chosen])
        solved += [number, *stages]
    chosen = np.sort(np.concatenate([np.zeros(0, dtype=np.int64), *parts]))
    readable_m = problem.readable_m(chosen, counted=True)
    first = Stage("readable", readable_m, readable_m, 0.0, 0, 0, proven=True)  # every row has a near-best candidate
    return _cover(problem, chosen, stages=(first, *_summed(solved)), seconds=clock.used_s)


def greedy_setups(
    length_m: ArrayLike,
    value: ArrayLike,
    *,
    preference: ArrayLike,
    near: float = 0.05,
    required: ArrayLike | None = None,
    max_setups: int | None = None,
) -> Cover:
    """Choose set-ups one by one, for comparison; parameters and errors as in `choose_setups`.

    Returns
    -------
    Cover
        Without bounds: ``gap`` is NaN and ``proven`` False.

    Raises
    ------
    DomainError
        As `choose_setups`.
    """
    problem = make_problem(length_m, value, preference=preference, near=near, required=required)
    if max_setups is not None:
        _check_count("max_setups", max_setups)
    return _cover(problem, greedy_choice(problem, max_setups=max_setups))


def trade_off(
    length_m: ArrayLike, value: ArrayLike, *, preference: ArrayLike, most: int, time_limit_s: float = 10.0
) -> list[tuple[int, float]]:
    """Return the best readable length for each number of set-ups from 1 to ``most``.

    Parameters
    ----------
    length_m, value, preference
        As in `choose_setups`.
    most : int
        >= 1.
    time_limit_s : float
        Solver seconds for all numbers together; what it cuts short is the best found so far.

    Returns
    -------
    list of (int, float)
        Number of set-ups, and sum of length times value, m: never falling.

    Raises
    ------
    DomainError
        If shapes or values are wrong, or ``most`` isn't a whole number >= 1.
    """
    problem = make_problem(length_m, value, preference=preference)
    _check_count("most", most)
    clock = Clock(time_limit_s)
    reduced = problem.part(columns=undominated(problem.near_best, value=problem.value))
    utmost = float(problem.length_m @ problem.best)
    found: list[tuple[int, float]] = []
    for number in range(1, most + 1):
        reached = found[-1][1] if found else 0.0
        if reached < utmost * (1 - TIE):
            reached = max(reached, most_readable_m(reduced, number, clock=clock))
        found.append((number, reached))
    return found


def _groups(problem: Problem) -> list[tuple[Ints, Problem]]:
    """Return the parts that share no near-best candidate, with the candidates' numbers in the whole."""
    return [(columns, problem.part(rows=rows, columns=columns)) for rows, columns in components(problem.near_best)]


def _check_required(problem: Problem, max_setups: int, *, clock: Clock) -> None:
    needed = 0.0
    for _, group in _groups(problem.part(rows=np.flatnonzero(problem.required))):
        needed += choose_fewest(group, clock=clock)[1].bound
    if needed > max_setups:
        message = (
            f"max_setups: expected at least {needed:.0f}, so many the required segments need, got {max_setups}: "
            "allow more, or require less"
        )
        raise DomainError(message)


def _check_count(name: str, number: int) -> None:
    if number != int(number) or number < 1:
        message = f"{name}: expected a whole number >= 1, got {number!r}"
        raise DomainError(message)


def _summed(stages: Sequence[Stage]) -> list[Stage]:
    """Add the groups' stages up by name: they share nothing, so values and bounds add."""
    added = []
    for name in ("number", "preference", "length"):
        same = [stage for stage in stages if stage.name == name]
        added.append(
            Stage(
                name,
                math.fsum(stage.value for stage in same),
                math.fsum(stage.bound for stage in same),
                math.fsum(stage.seconds for stage in same),
                sum(stage.rows for stage in same),
                sum(stage.columns for stage in same),
                proven=all(stage.proven for stage in same),
            )
        )
    return added


def _cover(problem: Problem, chosen: Ints, *, stages: Sequence[Stage] = (), seconds: float = 0.0) -> Cover:
    return Cover(
        chosen, problem.assigned(chosen), problem.readable_m(chosen), float(problem.preference[chosen].sum()),
        tuple(stages), seconds,
    )  # fmt: skip
