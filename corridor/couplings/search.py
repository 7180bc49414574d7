"""Runs and crossings as arrays: from segments to what is reported, line by line, without a geometry object.

A line is looked at together with all segments of later lines near it. So everything that is said of a pair is known
when its first line has been looked at: pieces are joined and points told apart there and then, in a few kilobytes, and
only results are kept. Where the search is cut into chunks, and how many threads there are, changes nothing.
"""

import math
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.cells import Laid, lay_out, pairs_near
from corridor.couplings.pairs import SAME_POINT_M, join_pieces, keep_points
from corridor.couplings.segments import Segments
from corridor.threads import worked

__all__ = ["CHUNK_SEGMENTS", "Crossings", "Runs", "search"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Rows = NDArray[np.int32]
Part = tuple[NDArray[np.int32], Floats]

CHUNK_SEGMENTS = 8_000  # what a thread works on stays in its cache
_GUESS = 12  # candidates a segment; where there are more, the chunk is done again with room for them
_TOUCH_M = 1e-8  # rounding at a shared vertex must not lose the point between two segments
_PARALLEL_SINE = 1e-9  # below it, rounding decides where two segments meet
_END_CLEAR_M = 0.05  # nearer to a line's end it is a connection or a touch, not a crossing


@dataclass(frozen=True)
class Runs:
    """Parallel runs, by pair and along the first line; shape (k,) all.

    Attributes
    ----------
    line_a, line_b : ndarray of int
        Lines as in the segments, a < b.
    first, last : ndarray of int
        Segments of a on which the run begins and ends.
    from_m, to_m : ndarray of float, m
        Measures of its ends along a.
    covered_m : ndarray of float, m
        Summed length of its pieces.
    distance_sum_m2 : ndarray of float, m^2
        Integral of the plan distance over them; by ``covered_m`` it is the mean distance.
    distance_min_m : ndarray of float, m
        Least plan distance.
    """

    line_a: Rows
    line_b: Rows
    first: Rows
    last: Rows
    from_m: Floats
    to_m: Floats
    covered_m: Floats
    distance_sum_m2: Floats
    distance_min_m: Floats

    def __len__(self) -> int:
        return len(self.line_a)


@dataclass(frozen=True)
class Crossings:
    """Crossings, by pair and along the first line; shape (k,) all.

    Attributes
    ----------
    line_a, line_b : ndarray of int
        Lines as in the segments, a < b.
    measure_m : ndarray of float, m
        Along a.
    angle_deg : ndarray of float, deg
        Between the segments, 0 to 90; the least where several meet in the point.
    x_m, y_m : ndarray of float, m
        The point.
    """

    line_a: Rows
    line_b: Rows
    measure_m: Floats
    angle_deg: Floats
    x_m: Floats
    y_m: Floats

    def __len__(self) -> int:
        return len(self.line_a)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What counts as a parallel run; as in ``find_parallel_runs``."""

    max_separation_m: float = 3.0
    max_angle_deg: float = 10.0
    min_length_m: float = 5.0


def search(
    segments: Segments,
    ends_m: Floats | None = None,
    *,
    limits: Limits | None = None,
    chunk_segments: int = CHUNK_SEGMENTS,
) -> tuple[Runs, Crossings]:
    """Find the parallel runs and crossings of lines given as segments.

    Parameters
    ----------
    segments : Segments
        Of all lines.
    ends_m : ndarray of float, shape (lines, 4), m
        Easting and northing of each line's first and last vertex; None: crossings aren't looked for.
    limits : Limits, optional
        What counts as a run; None: runs aren't looked for.
    chunk_segments : int
        About so many segments are looked at in a go, >= 1: bounds what a thread holds beyond index and results.

    Returns
    -------
    runs : Runs
    crossings : Crossings
    """
    if not len(segments) or (ends_m is None and limits is None):
        return _runs(_none(4, 5)), _crossings(_none(2, 4))
    reach_m = limits.max_separation_m if limits else 0.0
    laid = lay_out(segments, grow_m=max(reach_m, _TOUCH_M))
    chunk = _Chunk(laid, max(reach_m, _TOUCH_M), ends_m, limits)
    parts = list(worked(chunk.done, _ranges(laid.first, max(chunk_segments, 1))))
    count = int(segments.line[-1]) + 1
    kinds = ((0, (4, 5)), (1, (2, 4)))
    runs, crossings = worked(lambda kind: _in_order([part[kind[0]] for part in parts], count, kind[1]), kinds)
    return _runs(runs), _crossings(crossings)


def _none(whole: int, real: int) -> Part:
    return np.empty((0, whole), np.int32), np.empty((0, real))


def _runs(part: Part) -> Runs:
    whole, real = part
    return Runs(*whole.T, *real.T)


def _crossings(part: Part) -> Crossings:
    whole, real = part
    return Crossings(*whole.T, *real.T)


def _ranges(first: Ints, chunk_segments: int) -> list[tuple[int, int]]:
    """Cut the lines into ranges of about so many segments, whole lines all."""
    wanted = np.arange(0, first[-1], chunk_segments)
    edges = np.unique(np.r_[np.searchsorted(first, wanted), len(first) - 1])
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


class _Chunk:
    """Looks at a range of lines; what it marks is lent from call to call."""

    def __init__(self, laid: Laid, grow_m: float, ends_m: Floats | None, limits: Limits | None) -> None:
        self._laid, self._grow_m, self._ends_m, self._limits = laid, grow_m, ends_m, limits
        self._marks: list[NDArray[np.int32]] = []

    def done(self, lines: tuple[int, int]) -> tuple[Part, Part]:
        """Return runs and crossings of the lines."""
        pairs = self._pairs(lines)
        runs, points = _none(4, 5), _none(2, 4)
        shapes, who = self._laid.shapes, self._laid.who
        room = len(pairs)
        if self._limits is not None:
            asked = self._limits
            # the tangents are the cheap test, the angle between them the exact one
            flat, steep = (math.tan(math.radians(min(asked.max_angle_deg + more, 90.0))) for more in (-1e-9, 1e-9))
            limits = (asked.max_separation_m, asked.max_angle_deg, flat, steep)
            found = np.empty((room, 4), np.int32), np.empty((room, 4))
            count = _beside(pairs, (shapes, who), limits, found)
            out = np.empty((count, 4), np.int32), np.empty((count, 5))
            count = join_pieces(count, found, asked.min_length_m, out)
            runs = out[0][:count].copy(), out[1][:count].copy()
        if self._ends_m is not None:
            found = np.empty((room, 4), np.int32), np.empty((room, 4))
            count = _meet(pairs, (shapes, who, self._ends_m), found)
            out = np.empty((count, 2), np.int32), np.empty((count, 4))
            count = keep_points(count, found, out)
            points = out[0][:count].copy(), out[1][:count].copy()
        return runs, points

    def _pairs(self, lines: tuple[int, int]) -> NDArray[np.int32]:
        laid = self._laid
        first, last = int(laid.first[lines[0]]), int(laid.first[lines[1]])
        seen = self._marks.pop() if self._marks else np.zeros(len(laid.shapes) + 1, np.int32)
        room = _GUESS * (last - first)
        while True:
            pairs = np.empty((room, 2), np.int32)
            count = pairs_near((first, last, self._grow_m), (laid.shapes, laid.who), laid.cells, (seen, pairs))
            if count <= room:
                break
            room = count
        self._marks.append(seen)
        return pairs[:count]


def _in_order(parts: list[Part], lines: int, columns: tuple[int, int]) -> Part:
    """Put parts, in which each line's findings stand together and in order, into the order of the lines."""
    if not parts:
        return _none(*columns)
    at = np.zeros(lines + 1, np.int64)
    for whole, _ in parts:
        _count(at[1:], whole)
    at = np.cumsum(at)[:-1]
    size = sum(len(whole) for whole, _ in parts)
    out = np.empty((size, columns[0]), np.int32), np.empty((size, columns[1]))
    for whole, real in parts:
        _place(at, whole, real, out)
    return out


@numba.njit(cache=True, nogil=True)
def _count(at: Any, whole: Any) -> None:  # pragma: no cover - compiled
    for k in range(whole.shape[0]):
        at[whole[k, 0]] += 1


@numba.njit(cache=True, nogil=True)
def _place(at: Any, whole: Any, real: Any, out: Any) -> None:  # pragma: no cover - compiled
    which, what = out
    for k in range(whole.shape[0]):
        to = at[whole[k, 0]]
        at[whole[k, 0]] += 1
        for m in range(whole.shape[1]):
            which[to, m] = whole[k, m]
        for m in range(real.shape[1]):
            what[to, m] = real[k, m]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _narrow(span: Any, straight: Any, least: float, most: float) -> Any:  # pragma: no cover - compiled
    """Narrow an interval to where least <= value + slope * s <= most; ``straight`` is value and slope."""
    low, high = span
    value, slope = straight
    if slope == 0.0:
        return (low, high) if least <= value <= most else (low, -math.inf)
    one, two = (least - value) / slope, (most - value) / slope
    return max(low, min(one, two)), min(high, max(one, two))


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _beside(pairs: Any, data: Any, limits: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Cut from segments i the pieces that have a foot on segments j: foot and signed distance are linear along i.

    Pieces are lines a and b, and segments j and i; from, to (m), integral of the distance (m^2) and least distance (m).
    """
    shapes, who = data
    reach, angle, flat, steep = limits
    whole, real = out
    count = 0
    for k in range(pairs.shape[0]):
        i, j = pairs[k, 0], pairs[k, 1]
        ux, uy, vx, vy = shapes[i, 2], shapes[i, 3], shapes[j, 2], shapes[j, 3]
        along, across = ux * vx + uy * vy, vx * uy - vy * ux
        if abs(across) > steep * abs(along):
            continue
        if abs(across) >= flat * abs(along) and math.degrees(math.atan2(abs(across), abs(along))) > angle:
            continue
        dx, dy = shapes[i, 0] - shapes[j, 0], shapes[i, 1] - shapes[j, 1]
        distance = vx * dy - vy * dx
        low, high = _narrow((0.0, shapes[i, 4]), (dx * vx + dy * vy, along), 0.0, shapes[j, 4])
        low, high = _narrow((low, high), (distance, across), -reach, reach)
        if not high > low:
            continue
        first, last = distance + across * low, distance + across * high
        near, far = min(abs(first), abs(last)), max(abs(first), abs(last))
        # the integral of |d|, d linear: a trapezoid, or two triangles where the sign changes
        mean = (near + far) / 2.0
        if first * last < 0.0:
            mean, near = (first * first + last * last) / (2.0 * (near + far)), 0.0
        whole[count, 0], whole[count, 1] = who[i, 0], who[j, 0]
        whole[count, 2], whole[count, 3] = who[j, 1], who[i, 1]
        real[count, 0], real[count, 1] = shapes[i, 5] + low, shapes[i, 5] + high
        real[count, 2], real[count, 3] = mean * (high - low), near
        count += 1
    return count


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _within(dx: float, dy: float, most: float) -> bool:  # pragma: no cover - compiled
    return bool(dx * dx + dy * dy <= most * most)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _meet(pairs: Any, data: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Find the points in which segments i and j meet, clear of their lines' ends.

    Points are lines a and b, and segments j and i; measure along a (m), angle (deg), easting and northing (m).
    """
    shapes, who, ends = data
    whole, real = out
    count = 0
    for k in range(pairs.shape[0]):
        i, j = pairs[k, 0], pairs[k, 1]
        ux, uy, vx, vy = shapes[i, 2], shapes[i, 3], shapes[j, 2], shapes[j, 3]
        across = ux * vy - uy * vx
        dx, dy = shapes[j, 0] - shapes[i, 0], shapes[j, 1] - shapes[i, 1]
        sign, sine = math.copysign(1.0, across), abs(across)
        up_i, up_j = sign * (dx * vy - dy * vx), sign * (dx * uy - dy * ux)
        touch = _TOUCH_M * sine
        inside = (up_i >= -touch) & (up_i <= shapes[i, 4] * sine + touch) & (up_j >= -touch)
        if not (inside & (up_j <= shapes[j, 4] * sine + touch) & (sine > _PARALLEL_SINE)):
            continue
        on_i = (dx * vy - dy * vx) / across
        a, b, x, y = who[i, 0], who[j, 0], shapes[i, 0] + ux * on_i, shapes[i, 1] + uy * on_i
        at_end = False
        for m in (0, 2):
            at_end |= _within(x - ends[a, m], y - ends[a, m + 1], _END_CLEAR_M)
            at_end |= _within(x - ends[b, m], y - ends[b, m + 1], _END_CLEAR_M)
            at_end |= _within(ends[a, m] - ends[b, 0], ends[a, m + 1] - ends[b, 1], SAME_POINT_M)
            at_end |= _within(ends[a, m] - ends[b, 2], ends[a, m + 1] - ends[b, 3], SAME_POINT_M)
        if at_end:
            continue
        whole[count, 0], whole[count, 1], whole[count, 2], whole[count, 3] = a, b, who[j, 1], who[i, 1]
        real[count, 0], real[count, 2], real[count, 3] = shapes[i, 5] + on_i, x, y
        real[count, 1] = math.degrees(math.atan2(abs(across), abs(ux * vx + uy * vy)))
        count += 1
    return count
