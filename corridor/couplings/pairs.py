"""What a line has with each later line near it: pieces joined into runs, points told apart."""

import math
from typing import Any

import numba
import numpy as np

__all__ = ["JOIN_GAP_M", "SAME_POINT_M", "join_pieces", "keep_points"]

JOIN_GAP_M = 1.0  # at the outside of a bend no foot lies inside either segment
SAME_POINT_M = 0.001


@numba.njit(cache=True, nogil=True)
def _before(one: int, other: int, whole: Any, real: Any) -> bool:  # pragma: no cover - compiled
    if whole[one, 1] != whole[other, 1]:
        return whole[one, 1] < whole[other, 1]
    if real[one, 0] != real[other, 0]:
        return real[one, 0] < real[other, 0]
    if real[one, 1] != real[other, 1]:
        return real[one, 1] < real[other, 1]
    return whole[one, 2] < whole[other, 2]


@numba.njit(cache=True, nogil=True)
def _sort(order: Any, spare: Any, whole: Any, real: Any) -> None:  # pragma: no cover - compiled
    """Sort findings of one line by the other line, both figures and the other segment; equal ones keep their order."""
    size, step = order.size, 8
    for k in range(1, size):
        one, m = order[k], k
        while m % step and _before(one, order[m - 1], whole, real):
            order[m] = order[m - 1]
            m -= 1
        order[m] = one
    while step < size:
        for left in range(0, size, 2 * step):
            middle, right = min(left + step, size), min(left + 2 * step, size)
            p, q = left, middle
            for k in range(left, right):
                if p < middle and (q >= right or not _before(order[q], order[p], whole, real)):
                    spare[k] = order[p]
                    p += 1
                else:
                    spare[k] = order[q]
                    q += 1
        order[:] = spare[:size]
        step *= 2


@numba.njit(cache=True, nogil=True)
def _sorted_by_line(count: int, whole: Any, real: Any) -> Any:  # pragma: no cover - compiled
    """Return the order of findings, in which each first line's stand together already, sorted within each."""
    order, spare = np.arange(count), np.empty(count, np.int64)
    first = 0
    for k in range(1, count + 1):
        if k == count or whole[k, 0] != whole[first, 0]:
            _sort(order[first:k], spare, whole, real)
            first = k
    return order


@numba.njit(cache=True, nogil=True)
def join_pieces(count: int, found: Any, least_length: float, out: Any) -> int:  # pragma: no cover - compiled
    """Join pieces into runs and write those that are long enough; return how many there are.

    Parameters
    ----------
    count : int
        How many pieces.
    found : tuple of ndarray
        Lines a and b, segments of b and a, (count, 4); from, to (m along a), integral of the distance (m^2) and least
        distance (m), (count, 4). Pieces of one line a stand together.
    least_length : float, m
        Of a run.
    out : tuple of ndarray
        Columns as the attributes of ``Runs``: (count, 4) and (count, 5).
    """
    whole, real = found
    which, what = out
    at = -1
    for k in _sorted_by_line(count, whole, real):
        a, b, own = whole[k, 0], whole[k, 1], whole[k, 3]
        if at < 0 or a != which[at, 0] or b != which[at, 1] or real[k, 0] - what[at, 1] > JOIN_GAP_M:
            if at < 0 or what[at, 1] - what[at, 0] >= least_length:
                at += 1  # else it is written over
            which[at, 0], which[at, 1], which[at, 2], which[at, 3] = a, b, own, own
            what[at, 0], what[at, 1], what[at, 2] = real[k, 0], -math.inf, 0.0
            what[at, 3], what[at, 4] = 0.0, math.inf
        if real[k, 1] >= what[at, 1]:
            which[at, 3], what[at, 1] = own, real[k, 1]
        what[at, 2] += real[k, 1] - real[k, 0]
        what[at, 3] += real[k, 2]
        what[at, 4] = min(what[at, 4], real[k, 3])
    return at + 1 if at < 0 or what[at, 1] - what[at, 0] >= least_length else at


@numba.njit(cache=True, nogil=True)
def keep_points(count: int, found: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Write one of the points of a pair that are equal to 1 mm, the one of least angle; return how many there are.

    Parameters
    ----------
    count : int
        How many points.
    found : tuple of ndarray
        Lines a and b, segments of b and a, (count, 4); measure along a (m), angle (deg), easting, northing (m),
        (count, 4). Points of one line a stand together.
    out : tuple of ndarray
        Columns as the attributes of ``Crossings``: (count, 2) and (count, 4).
    """
    whole, real = found
    which, what = out
    order = _sorted_by_line(count, whole, real)
    first, at = 0, 0
    while first < count:
        last, one = first + 1, order[first]
        while last < count and whole[order[last], 0] == whole[one, 0] and whole[order[last], 1] == whole[one, 1]:
            last += 1
        alone = last - first == 1
        same = np.zeros(0 if alone else last - first, np.bool_)
        if not alone:
            _mark_same(order[first:last], real, same)
        for k in range(first, last):
            if alone or not same[k - first]:
                which[at, 0], which[at, 1] = whole[one, 0], whole[one, 1]
                for m in range(4):
                    what[at, m] = real[order[k], m]
                at += 1
        first = last
    return at


@numba.njit(cache=True, nogil=True)
def _mark_same(points: Any, real: Any, same: Any) -> None:  # pragma: no cover - compiled
    """Mark those of a pair's points that lie on one of a smaller angle, or of the same angle and an earlier one."""
    for k in range(points.size):  # along the first line: what lies on a point is near it in measure too, or on a loop
        one = points[k]
        for m in range(k + 1, points.size):
            other = points[m]
            if math.hypot(real[other, 2] - real[one, 2], real[other, 3] - real[one, 3]) <= SAME_POINT_M:
                same[m if real[other, 1] >= real[one, 1] else k] = True
