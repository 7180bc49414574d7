"""Cut a line into stretches that people can read: one set-up each, changed as seldom as the best grades allow."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["NOTHING", "Stretch", "best_choices", "cells", "cut_stretches"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

NOTHING = -1  # no choice brings tone to a station
_GAP = 2.0  # stations farther apart than this many spacings don't belong to one stretch


@dataclass(frozen=True)
class Stretch:
    """Stations ``first`` to ``last`` (inclusive) of one line under one choice.

    ``rank_worst`` and ``rank`` are positions in GRADES: the worst of the stations in the worst case, and in the nominal
    one.
    """

    first: int
    last: int
    choice: int
    rank_worst: int
    rank: int

    @property
    def stations(self) -> slice:
        """The stations as a slice."""
        return slice(self.first, self.last + 1)


def cells(
    station_m: Floats, parts: Sequence[tuple[float, float]], *, spacing_m: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return where the cell of each station starts and ends, m, and whether a gap precedes it.

    Parameters
    ----------
    station_m : ndarray, shape (n,)
        Distances along the line, ascending, m.
    parts : sequence of (float, float)
        Measures between which the line is wanted, m, ascending: no cell reaches beyond, and each part is a stretch of
        its own.
    spacing_m : float
        Usual spacing of stations. Cells meet midway; where more than two spacings lie between two stations of a part,
        they reach half a spacing; at a part's ends up to one spacing.

    Returns
    -------
    start_m, end_m : ndarray, shape (n,)
        The cells.
    gap : ndarray of bool, shape (n,)
        True at the first station of each part, and after each gap.
    """
    low, high = np.array(parts, dtype=float).reshape(-1, 2).T
    part = np.maximum(np.searchsorted(low, station_m, side="right") - 1, 0)
    step = np.diff(station_m)
    apart = part[1:] != part[:-1]
    broken = apart | (step > _GAP * spacing_m)
    half = np.where(apart, spacing_m, np.where(broken, spacing_m / 2, step / 2))
    start = station_m - np.concatenate(([spacing_m], half))
    end = station_m + np.concatenate((half, [spacing_m]))
    gap = np.concatenate(([True], broken))
    return np.maximum(start, low[part]), np.minimum(end, high[part]), gap


def best_choices(rank_worst: Ints, rank: Ints, usable: NDArray[np.bool_]) -> Ints:
    """Choose for each station among the choices of the best grade, with the fewest changes along the line.

    Parameters
    ----------
    rank_worst, rank : ndarray of int, shape (stations, choices)
        Grades as positions in GRADES (0 best), in the worst and in the nominal case.
    usable : ndarray of bool, shape (stations, choices)
        Whether a choice may be taken there.

    Returns
    -------
    ndarray of int, shape (stations,)
        Choice of each station, or NOTHING. The worst grade comes first, then the nominal one. A choice is held as long
        as it stays among the best, which makes the changes as few as can be; of choices that can be held equally long
        the first is taken, so order them by preference.
    """
    stations, _ = rank_worst.shape
    code = np.where(usable, rank_worst * 64 + rank, 64 * 64)
    best = usable & (code == code.min(axis=1, initial=64 * 64, keepdims=True))
    chosen = np.full(stations, NOTHING)
    if not stations:
        return chosen
    first, held = 0, best[0]
    for station in range(1, stations):
        both = held & best[station]
        if both.any() or not (held.any() or best[station].any()):
            held = both
        else:
            chosen[first:station] = _first(held)
            first, held = station, best[station]
    chosen[first:] = _first(held)
    return chosen


def _first(held: NDArray[np.bool_]) -> int:
    return int(held.argmax()) if held.any() else NOTHING


def cut_stretches(
    chosen: Ints,
    rank_worst: Ints,
    rank: Ints,
    *,
    start_m: Floats,
    end_m: Floats,
    gap: NDArray[np.bool_],
    min_length_m: float,
) -> list[Stretch]:
    """Join stations of one choice and one grade to stretches, and absorb short ones where that hides nothing.

    Parameters
    ----------
    chosen : ndarray of int, shape (stations,)
        As `best_choices` returns it.
    rank_worst, rank : ndarray of int, shape (stations, choices)
        Grades as positions in GRADES; where there is no prediction, a number beyond them.
    start_m, end_m, gap : ndarray, shape (stations,)
        As `cells` returns them.
    min_length_m : float
        Shorter stretches are absorbed by a neighbour whose grades are the same or worse, if its choice grades no worse
        than their own there: what is shown is never better than what was predicted, and a short bad place is never
        hidden in a good stretch.

    Returns
    -------
    list of Stretch
        Along the line.
    """
    stretches = list(_runs(chosen, rank_worst, rank, gap))
    while True:
        merged = _absorb_one(
            stretches, rank_worst, rank, start_m=start_m, end_m=end_m, gap=gap, min_length_m=min_length_m
        )
        if merged is None:
            return stretches
        stretches = _joined(merged, gap)


def _joined(stretches: list[Stretch], gap: NDArray[np.bool_]) -> list[Stretch]:
    """Join neighbours that came to show the same."""
    joined = stretches[:1]
    for stretch in stretches[1:]:
        if replace(joined[-1], first=stretch.first, last=stretch.last) == stretch and not gap[stretch.first]:
            joined[-1] = replace(joined[-1], last=stretch.last)
        else:
            joined.append(stretch)
    return joined


def _runs(chosen: Ints, rank_worst: Ints, rank: Ints, gap: NDArray[np.bool_]) -> Iterator[Stretch]:
    rows = np.arange(len(chosen))
    lost = chosen == NOTHING
    worst = np.where(lost, NOTHING, rank_worst[rows, chosen])
    nominal = np.where(lost, NOTHING, rank[rows, chosen])
    key = np.stack((chosen, worst, nominal), axis=1)
    new = gap | np.concatenate(([True], (key[1:] != key[:-1]).any(axis=1)))
    starts = np.flatnonzero(new)
    for first, after in zip(starts, np.append(starts[1:], len(chosen)), strict=True):
        yield Stretch(int(first), int(after) - 1, int(chosen[first]), int(worst[first]), int(nominal[first]))


def _absorb_one(
    stretches: list[Stretch],
    rank_worst: Ints,
    rank: Ints,
    *,
    start_m: Floats,
    end_m: Floats,
    gap: NDArray[np.bool_],
    min_length_m: float,
) -> list[Stretch] | None:
    """Merge the shortest short stretch that a neighbour can absorb; None when there is none left."""
    short = sorted((float(end_m[s.last] - start_m[s.first]), n) for n, s in enumerate(stretches))
    for length, n in short:
        if length >= min_length_m:
            return None
        here = stretches[n]
        beside = []
        for m in (n - 1, n + 1):
            if 0 <= m < len(stretches) and not gap[max(here, stretches[m], key=lambda s: s.first).first]:
                other = stretches[m]
                if _hides_nothing(here, other, rank_worst, rank):
                    beside.append(((other.choice != here.choice, other.rank_worst, other.rank, m), other))
        if beside:
            (_, _, _, m), other = min(beside, key=lambda found: found[0])
            whole = replace(other, first=min(other.first, here.first), last=max(other.last, here.last))
            low = min(m, n)
            return [*stretches[:low], whole, *stretches[low + 2 :]]
    return None


def _hides_nothing(here: Stretch, other: Stretch, rank_worst: Ints, rank: Ints) -> bool:
    if NOTHING in (here.choice, other.choice):
        return False
    stations = here.stations
    as_good = bool(
        (rank_worst[stations, other.choice] <= here.rank_worst).all()
        and (rank[stations, other.choice] <= here.rank).all()
    )
    return as_good and other.rank_worst >= here.rank_worst and other.rank >= here.rank
