"""Parallel runs: stretches where two lines lie side by side."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numba
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.depths import depths_of
from corridor.couplings.near import Beside, beside
from corridor.couplings.segments import Segments, segments_of, sorted_lines, substrings
from corridor.errors import DomainError
from corridor.frames import empty_table, stamp, table_frame

__all__ = ["find_parallel_runs"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

JOIN_GAP_M = 1.0  # at the outside of a bend no foot lies inside either segment


def find_parallel_runs(
    lines: gpd.GeoDataFrame,
    *,
    max_separation_m: float = 3.0,
    max_angle_deg: float = 10.0,
    min_length_m: float = 5.0,
) -> gpd.GeoDataFrame:
    """Find where two lines run side by side.

    For lines a < b (by line_id as text): of each segment of a, the piece whose foot on a segment of b, undirected
    directions within ``max_angle_deg``, lies inside that segment at ``max_separation_m`` or less. Pieces of a pair are
    ordered along a; gaps of 1 m or less join them into a run.

    Parameters
    ----------
    lines : GeoDataFrame
        ``line_id``, LineStrings, and ``depth_m`` with its companions where they are there.
    max_separation_m : float, m
        Largest plan distance, >= 0.
    max_angle_deg : float, deg
        Largest angle between the segments, 0 to 90.
    min_length_m : float, m
        Shortest run, >= 0.

    Returns
    -------
    GeoDataFrame
        Table ``parallel_runs`` of the data dictionary, ordered by pair and along a.

    Raises
    ------
    CrsError
        If the CRS is missing or not in metres.
    InputError
        If ids or geometries can't be used.
    DomainError
        If a limit is out of range.
    """
    if not (max_separation_m >= 0 and 0 <= max_angle_deg <= 90 and min_length_m >= 0):
        message = (
            "expected max_separation_m >= 0, max_angle_deg from 0 to 90 and min_length_m >= 0, "
            f"got {max_separation_m}, {max_angle_deg} and {min_length_m}"
        )
        raise DomainError(message)
    ordered = sorted_lines(lines)
    segments = segments_of(ordered)
    pieces = beside(segments, reach_m=max_separation_m, angle_deg=max_angle_deg)
    limits = {"max_separation_m": max_separation_m, "max_angle_deg": max_angle_deg, "min_length_m": min_length_m}
    if not len(pieces.i):
        return stamp(empty_table("parallel_runs", lines.crs), find_parallel_runs, **limits)
    return stamp(_runs(ordered, segments, pieces, min_length_m), find_parallel_runs, **limits)


def _runs(lines: gpd.GeoDataFrame, segments: Segments, pieces: Beside, min_length_m: float) -> gpd.GeoDataFrame:
    a, b = segments.line[pieces.i], segments.line[pieces.j]
    order = np.argsort(a * len(lines) + b, kind="stable")
    _sort_pairs(order, (a, b), (pieces.from_m, pieces.to_m, pieces.j))
    which, real = _joined(
        order, (a, b, pieces.i), (pieces.from_m, pieces.to_m, pieces.distance_sum, pieces.distance_min)
    )
    long_enough = real[:, 1] - real[:, 0] >= min_length_m
    (a, b, first, last), (start, end, covered, total, least) = which[long_enough].T, real[long_enough].T
    number = _numbers(a, b)
    ids = lines["line_id"].to_numpy(dtype=object)
    difference, low, high = depths_of(lines).difference_m(a, b)
    return table_frame(
        "parallel_runs",
        {
            "run_id": [f"{ids[p]}~{ids[q]}~{n}" for p, q, n in zip(a, b, number, strict=True)],
            "line_a": ids[a],
            "line_b": ids[b],
            "length_m": end - start,
            "separation_mean_m": total / covered,
            "separation_min_m": least,
            "depth_difference_m": difference,
            "depth_difference_low_m": low,
            "depth_difference_high_m": high,
        },
        geometry=substrings(segments, first=first, from_m=start, last=last, to_m=end),
        crs=lines.crs,
    )


def _numbers(a: Ints, b: Ints) -> Ints:
    """Return the number of each run among those of its pair, from 1; runs of a pair follow each other."""
    place = np.arange(len(a))
    begins = np.r_[True, (np.diff(a) != 0) | (np.diff(b) != 0)][: len(a)]
    return place - np.maximum.accumulate(np.where(begins, place, 0)) + 1


def _joined(order: Ints, whole: tuple[Ints, ...], real: tuple[Floats, ...]) -> tuple[Ints, Floats]:
    """Join pieces, taken in an order by pair and along a, into runs.

    Returns
    -------
    ndarray of int, shape (runs, 4)
        Lines a and b, and the segments of a on which the run begins and ends.
    ndarray, shape (runs, 5)
        Its ends, m, the length of its pieces, m, the integral of their distances, m^2, and the least distance, m.
    """
    count = _join(order, whole, real, (np.empty((0, 4), np.int64), np.empty((0, 5))))
    found = np.empty((count, 4), np.int64), np.empty((count, 5))
    _join(order, whole, real, found)
    return found


@numba.njit(cache=True, nogil=True)
def _sort_pairs(order: Any, pair: Any, keys: Any) -> None:  # pragma: no cover - compiled
    """Sort each pair's pieces, which stand together, by their ends along a, and of equal ones by the segment beside."""
    a, b = pair
    from_m, to_m, j = keys
    first = 0
    for k in range(1, order.size + 1):
        if k < order.size and a[order[k]] == a[order[first]] and b[order[k]] == b[order[first]]:
            continue
        own = order[first:k]
        own[:] = own[np.argsort(j[own], kind="mergesort")]
        own[:] = own[np.argsort(to_m[own], kind="mergesort")]
        own[:] = own[np.argsort(from_m[own], kind="mergesort")]
        first = k


@numba.njit(cache=True, nogil=True)
def _join(order: Any, whole: Any, real: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Count the runs, and write them where there is room for them."""
    line_a, line_b, segment = whole
    from_m, to_m, total, least = real
    which, what = out
    run, a, b, end = -1, -1, -1, 0.0
    for k in order:
        if line_a[k] != a or line_b[k] != b or from_m[k] - end > JOIN_GAP_M:
            run, a, b, end = run + 1, line_a[k], line_b[k], -np.inf
            if which.shape[0]:
                which[run, 0], which[run, 1], which[run, 2] = a, b, segment[k]
                what[run, 0], what[run, 2], what[run, 3], what[run, 4] = from_m[k], 0.0, 0.0, np.inf
        if to_m[k] >= end:
            end = to_m[k]
            if which.shape[0]:
                which[run, 3], what[run, 1] = segment[k], end
        if which.shape[0]:
            what[run, 2] += to_m[k] - from_m[k]
            what[run, 3] += total[k]
            what[run, 4] = min(what[run, 4], least[k])
    return run + 1
