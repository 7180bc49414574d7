"""The choice of set-ups as a mixed-integer programme, and the values of earlier stages that it is held at."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from corridor.errors import SolverError
from corridor.plan.setups.problem import Problem

__all__ = ["Clock", "Levels", "Programme", "Stage", "make_levels"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_NOTHING: NDArray[Any] = np.zeros(0, dtype=np.int64)
_INFEASIBLE = 2  # status of scipy.optimize.milp


@dataclass(frozen=True)
class Stage:
    """One programme as solved.

    Attributes
    ----------
    name : str
        readable, number, preference or length.
    value, bound : float
        What the chosen set-ups reach, and what no others can better.
    seconds : float
        Of the processor, inside the solver; not the same from run to run.
    rows, columns : int
        Size of the programme after the reductions.
    proven : bool
        The solver finished.
    """

    name: str
    value: float
    bound: float
    seconds: float
    rows: int
    columns: int
    proven: bool

    @property
    def gap(self) -> float:
        """Relative distance of value and bound; 0 is an exact optimum."""
        return abs(self.value - self.bound) / max(abs(self.value), 1e-9)


@dataclass
class Clock:
    """Processor seconds left for all programmes together: others at work on the machine don't use them up."""

    left_s: float
    used_s: float = field(default=0.0)

    def spend(self, seconds: float) -> None:
        """Take seconds off."""
        self.used_s += seconds
        self.left_s -= seconds


@dataclass(frozen=True)
class Levels:
    """Variables that say whether the best chosen value of a row reaches a level.

    Attributes
    ----------
    matrix : csr_array, shape (q, c)
        Column c has exactly level q in its row.
    row : ndarray of int, shape (q,)
        The row; levels of a row stand together, ascending.
    top : ndarray of bool, shape (q,)
        The highest level of its row.
    true_m, counted_m : ndarray, shape (q,)
        Length gained by reaching a level and not only the one below, m; counted takes near-best values as the best.
    """

    matrix: sparse.csr_array
    row: Ints
    top: Bools
    true_m: Floats
    counted_m: Floats


def make_levels(problem: Problem, *, sure: bool) -> Levels:
    """Return the levels of each row that can be gained.

    One variable a level and not one a pair of row and column: the "radius" form of the p-median problem (Cornuejols,
    Nemhauser and Wolsey 1980, SIAM J. Alg. Disc. Meth. 1(3), 261-272), in the sparse form where each level follows
    from the one above or from a column exactly at it (Elloumi 2010, J. Comb. Optim. 19, 69-83). Both from memory.

    Parameters
    ----------
    problem : Problem
        Rows and columns.
    sure : bool
        Every row gets a near-best column anyway: only levels above the lowest near-best one are to be gained.

    Returns
    -------
    Levels
    """
    at_row, at_column, of_row, tops, true_m, counted_m = ([_NOTHING] for _ in range(6))
    used = problem.near_best if sure else problem.value > 0
    first = 1 if sure else 0
    n_levels = 0
    for row in np.flatnonzero(used.any(axis=1)).tolist():
        columns = np.flatnonzero(used[row])
        steps, step_of = np.unique(problem.value[row, columns], return_inverse=True)
        lowest_near = problem.value[row, columns[problem.near_best[row, columns]]].min(initial=np.inf)
        raised = np.where(steps >= lowest_near, problem.best[row], steps)
        above = step_of >= first
        at_row.append(n_levels + step_of[above] - first)
        at_column.append(columns[above])
        count = steps.size - first
        of_row.append(np.full(count, row))
        tops.append(np.arange(first, steps.size) == steps.size - 1)
        true_m.append(problem.length_m[row] * np.diff(steps, prepend=0.0)[first:])
        counted_m.append(problem.length_m[row] * np.diff(raised, prepend=0.0)[first:])
        n_levels += count
    rows, columns = np.concatenate(at_row), np.concatenate(at_column)
    matrix = sparse.coo_array((np.ones(rows.size), (rows, columns)), shape=(n_levels, problem.value.shape[1]))
    return Levels(
        matrix.tocsr(), np.concatenate(of_row), np.concatenate(tops).astype(bool),
        np.concatenate(true_m).astype(np.float64), np.concatenate(counted_m).astype(np.float64),
    )  # fmt: skip


@dataclass
class Programme:
    """Columns to choose, rows that need one of theirs, and what earlier stages fixed.

    Attributes
    ----------
    covers : ndarray of bool, shape (h, c)
        Each row needs a chosen column.
    levels : Levels or None
        Needed where lengths count.
    """

    covers: Bools
    levels: Levels | None = None
    _held: list[tuple[Floats, float, float]] = field(default_factory=list)

    @property
    def n_levels(self) -> int:
        """Number of level variables."""
        return 0 if self.levels is None else self.levels.row.size

    def hold(self, columns: Floats, levels: Floats | None = None, *, least: float, most: float) -> None:
        """Keep a weighted sum of columns (c,) and levels (q,) between two values in all later stages."""
        weights = np.zeros(self.n_levels) if levels is None else levels
        self._held.append((np.concatenate([columns, weights]), least, most))

    def minimise(
        self, columns: Floats, levels: Floats | None = None, *, clock: Clock, name: str
    ) -> tuple[Ints | None, Stage]:
        """Minimise a weighted sum of columns (c,) and levels (q,) by ``scipy.optimize.milp`` (HiGHS).

        Returns
        -------
        chosen : ndarray of int or None
            Columns; None where the time ended before any were found.
        stage : Stage
            Its value and bound are the solver's; a bound of minus infinity says that nothing is known.

        Raises
        ------
        SolverError
            If no choice keeps to the constraints.
        """
        cost = np.concatenate([columns, np.zeros(self.n_levels) if levels is None else levels])
        rows = self._rows()
        n_rows = len(rows.lb)
        if clock.left_s <= 0:
            return None, Stage(name, np.inf, -np.inf, 0.0, n_rows, cost.size, proven=False)
        begun = time.process_time()
        result = milp(
            cost,
            integrality=np.repeat([1, 0], [columns.size, self.n_levels]),
            bounds=Bounds(0, 1),
            constraints=rows,
            options={"mip_rel_gap": 0.0, "time_limit": clock.left_s},
        )
        seconds = time.process_time() - begun
        clock.spend(seconds)
        if result.status == _INFEASIBLE:
            message = f"expected a choice of set-ups within the limits of stage {name!r}, the solver finds none"
            raise SolverError(message)
        bound = -np.inf if result.mip_dual_bound is None else float(result.mip_dual_bound)
        if result.x is None:
            return None, Stage(name, np.inf, bound, seconds, n_rows, cost.size, proven=False)
        stage = Stage(name, float(result.fun), bound, seconds, n_rows, cost.size, proven=result.status == 0)
        return np.flatnonzero(result.x[: columns.size] > 0.5), stage

    def _rows(self) -> LinearConstraint:
        """All constraints in one matrix: cover rows, levels, what is held."""
        n_covers = len(self.covers)
        no_level = sparse.csr_array((n_covers, self.n_levels))
        parts = [sparse.hstack([sparse.csr_array(self.covers.astype(float)), no_level])]
        low, high = [np.ones(n_covers)], [np.full(n_covers, np.inf)]
        if self.levels is not None and self.n_levels:
            own = sparse.eye_array(self.n_levels)
            above = sparse.diags_array(1.0 * ~self.levels.top[:-1], offsets=1, shape=(self.n_levels,) * 2)
            parts.append(sparse.hstack([-self.levels.matrix, own - above]))
            low.append(np.full(self.n_levels, -np.inf))
            high.append(np.zeros(self.n_levels))
        for weights, least, most in self._held:
            parts.append(sparse.csr_array(weights[None, :]))
            low.append(np.array([least]))
            high.append(np.array([most]))
        return LinearConstraint(sparse.csc_array(sparse.vstack(parts)), np.concatenate(low), np.concatenate(high))
