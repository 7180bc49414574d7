"""Segments near each other, found over a grid of cells by compiled loops, and cut or crossed on the spot.

A segment is listed in the cells that it runs through. Whatever lies within some distance of it is listed in one of the
cells that it would run through if it were as thick as that. Cells go by their hash, so that one far-away record doesn't
make a grid of empty ones.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.segments import Segments
from corridor.threads import worked

__all__ = ["Beside", "Meeting", "beside", "meeting"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROWS = 50_000  # segments that one thread looks at in a go: bounds what it holds beyond its findings
_GUESS = 2  # findings a segment; where there are more, the go is done again with room for them
_CELL_LEAST_M = 1.0
_SLACK_M = 1e-6  # rounding of projected coordinates must not lose a candidate
_HASH_X, _HASH_Y = 73_856_093, 19_349_663  # Teschner et al. 2003, Optimized Spatial Hashing, from memory


@dataclass(frozen=True)
class Beside:
    """Pieces of segments i that have a foot on segments j, i's line before j's; shape (k,).

    Attributes
    ----------
    i, j : ndarray of int
        Segments.
    from_m, to_m : ndarray of float, m
        Measures of the piece along i's line.
    distance_sum : ndarray of float, m^2
        The integral of the distance along the piece.
    distance_min : ndarray of float, m
        The least distance.
    """

    i: Ints
    j: Ints
    from_m: Floats
    to_m: Floats
    distance_sum: Floats
    distance_min: Floats


@dataclass(frozen=True)
class Meeting:
    """Segments i and j that meet in a point, i's line before j's; shape (k,).

    Attributes
    ----------
    i, j : ndarray of int
        Segments.
    on_i : ndarray of float, m
        Distance of the point from i's start.
    angle_deg : ndarray of float, deg
        Between them, 0 to 90.
    """

    i: Ints
    j: Ints
    on_i: Floats
    angle_deg: Floats


def beside(segments: Segments, *, reach_m: float, angle_deg: float) -> Beside:
    """Cut from each segment the pieces beside segments of later lines.

    Foot and signed distance are linear along a segment, so a piece is an interval on it.

    Parameters
    ----------
    segments : Segments
        Of all lines.
    reach_m : float, m
        Largest distance.
    angle_deg : float, deg
        Largest angle between two segments.
    """
    limits = np.array([reach_m, angle_deg])
    whole, real = _all_rows(segments, _beside_rows, limits, grow_m=reach_m, columns=4)
    return Beside(whole[0], whole[1], *real)


def meeting(segments: Segments, *, touch_m: float, least_sine: float) -> Meeting:
    """Find the points in which segments meet segments of later lines.

    Parameters
    ----------
    segments : Segments
        Of all lines.
    touch_m : float, m
        A point so far beyond an end still counts: rounding at a shared vertex must not lose it.
    least_sine : float
        Of the angle between two segments; below it rounding decides where they meet.
    """
    limits = np.array([touch_m, least_sine])
    whole, real = _all_rows(segments, _meeting_rows, limits, grow_m=touch_m, columns=2)
    return Meeting(whole[0], whole[1], *real)


def _all_rows(
    segments: Segments, kernel: Callable[..., int], limits: Floats, *, grow_m: float, columns: int
) -> tuple[Ints, Floats]:
    """Run a kernel over all segments, in ranges on several threads; return segment numbers (2, k) and its columns."""
    n = len(segments)
    if not n:
        return np.empty((2, 0), np.int64), np.empty((columns, 0))
    size_m = max(_CELL_LEAST_M, 2.0 * grow_m, float(np.median(segments.length_m)))
    order = _by_place(segments, size_m)
    packed = _packed(segments, order)
    cells = _cells(packed, size_m)

    def run(first: int) -> tuple[Ints, Floats]:
        rows = np.array([first, min(first + ROWS, n)])
        room = _GUESS * (rows[1] - rows[0])
        while True:
            seen, found = np.full(n, -1, np.int32), np.empty(n, np.int32)
            whole, real = np.empty((2, room), np.int32), np.empty((columns, room))
            count = kernel(packed, cells, (rows, limits, grow_m + _SLACK_M), (seen, found, whole, real))
            if count <= room:
                return order[whole[:, :count]], real[:, :count].copy()
            room = count

    parts = list(worked(run, range(0, n, ROWS)))
    whole, real = (np.concatenate([part[k] for part in parts], axis=1) for k in (0, 1))
    return whole, real


def _by_place(segments: Segments, size_m: float) -> Ints:
    """Return the segments along a curve through their cells that keeps neighbours near (Morton 1966, from memory)."""
    keys = np.zeros(len(segments), np.uint64)
    middles = (segments.x_m + segments.end_x_m) / 2, (segments.y_m + segments.end_y_m) / 2
    for shift, middle in enumerate(middles):
        cell = np.minimum((middle - middle.min()) / size_m, 2.0**31 - 1).astype(np.uint64)
        for step, mask in ((16, 0x0000FFFF0000FFFF), (8, 0x00FF00FF00FF00FF), (4, 0x0F0F0F0F0F0F0F0F),
                           (2, 0x3333333333333333), (1, 0x5555555555555555)):  # fmt: skip
            cell = (cell | (cell << np.uint64(step))) & np.uint64(mask)
        keys |= cell << np.uint64(shift)
    return np.argsort(keys, kind="stable")


def _packed(segments: Segments, order: Ints) -> Floats:
    """Return start, direction, length, measure and line of each segment, (n, 8): one line of the processor's cache."""
    packed = np.zeros((len(segments), 8))
    names = ("x_m", "y_m", "ux", "uy", "length_m", "start_m", "line")
    for column, name in enumerate(names):
        packed[:, column] = getattr(segments, name)[order]
    return packed


def _cells(packed: Floats, size_m: float) -> tuple[float, int, Ints, NDArray[np.int32]]:
    """Return the size of the cells, the mask of their hashes, where each hash's list begins, and the lists."""
    mask = (1 << max(4, (2 * len(packed)).bit_length())) - 1
    count = np.zeros(mask + 2, np.int64)
    _list_cells(packed, size_m, mask, (count[1:], np.empty(0, np.int32)))
    begins = np.cumsum(count)
    members = np.empty(begins[-1], np.int32)
    _list_cells(packed, size_m, mask, (begins[:-1].copy(), members))
    return size_m, mask, begins, members


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _columns(ends: Any, grow: float, size: float, row: int) -> Any:  # pragma: no cover - compiled
    """Return the first and last cell of a row of cells through which a segment of some thickness runs."""
    x0, y0, x1, y1 = ends
    low, high = row * size - grow, (row + 1) * size + grow
    t0, t1 = 0.0, 1.0
    if y1 != y0:
        a, b = (low - y0) / (y1 - y0), (high - y0) / (y1 - y0)
        t0, t1 = max(0.0, min(a, b)), min(1.0, max(a, b))
    xa, xb = x0 + t0 * (x1 - x0), x0 + t1 * (x1 - x0)
    return math.floor((min(xa, xb) - grow) / size), math.floor((max(xa, xb) + grow) / size)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _ends(packed: Any, k: int) -> Any:  # pragma: no cover - compiled
    x, y, length = packed[k, 0], packed[k, 1], packed[k, 4]
    return x, y, x + packed[k, 2] * length, y + packed[k, 3] * length


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _list_cells(packed: Any, size: float, mask: int, out: Any) -> None:  # pragma: no cover - compiled
    """Count the segments of each hash, or, where there is room for them, list them."""
    at, members = out
    for k in range(packed.shape[0]):
        own = _ends(packed, k)
        south, north = min(own[1], own[3]) - _SLACK_M, max(own[1], own[3]) + _SLACK_M
        for row in range(math.floor(south / size), math.floor(north / size) + 1):
            west, east = _columns(own, _SLACK_M, size, row)
            for column in range(west, east + 1):
                slot = ((column * _HASH_X) ^ (row * _HASH_Y)) & mask
                if members.size:
                    members[at[slot]] = k
                at[slot] += 1


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _candidates(i: int, packed: Any, cells: Any, held: Any) -> int:  # pragma: no cover - compiled
    """Write the segments of later lines whose boxes meet that of i, grown; return how many."""
    size, mask, begins, members = cells
    grow, seen, found = held
    own = _ends(packed, i)
    line = packed[i, 6]
    west, east = min(own[0], own[2]) - grow, max(own[0], own[2]) + grow
    south, north = min(own[1], own[3]) - grow, max(own[1], own[3]) + grow
    count = 0
    for row in range(math.floor(south / size), math.floor(north / size) + 1):
        first, last = _columns(own, grow, size, row)
        for column in range(first, last + 1):
            slot = ((column * _HASH_X) ^ (row * _HASH_Y)) & mask
            for m in range(begins[slot], begins[slot + 1]):
                j = members[m]
                if seen[j] == i or packed[j, 6] <= line:
                    continue
                seen[j] = i
                x0, y0, x1, y1 = _ends(packed, j)
                if max(x0, x1) < west or min(x0, x1) > east or max(y0, y1) < south or min(y0, y1) > north:
                    continue
                found[count] = j
                count += 1
    return count


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
def _beside_rows(packed: Any, cells: Any, asked: Any, out: Any) -> int:  # pragma: no cover - compiled
    rows, (reach, angle), grow = asked
    seen, found, whole, real = out
    steep = math.tan(math.radians(min(angle + 1e-9, 90.0)))
    count = 0
    for i in range(rows[0], rows[1]):
        x, y, ux, uy, length, measure = (
            packed[i, 0],
            packed[i, 1],
            packed[i, 2],
            packed[i, 3],
            packed[i, 4],
            packed[i, 5],
        )
        for k in range(_candidates(i, packed, cells, (grow, seen, found))):
            j = found[k]
            vx, vy = packed[j, 2], packed[j, 3]
            along, across = ux * vx + uy * vy, vx * uy - vy * ux
            if abs(across) > steep * abs(along) or math.degrees(math.atan2(abs(across), abs(along))) > angle:
                continue  # the first is the cheap test, the second the exact one
            dx, dy = x - packed[j, 0], y - packed[j, 1]
            distance = vx * dy - vy * dx
            span = _narrow((0.0, length), (dx * vx + dy * vy, along), 0.0, packed[j, 4])
            low, high = _narrow(span, (distance, across), -reach, reach)
            if not high > low:
                continue
            if count < whole.shape[1]:
                first, last = distance + across * low, distance + across * high
                near, far = min(abs(first), abs(last)), max(abs(first), abs(last))
                # the integral of |d|, d linear: a trapezoid, or two triangles where the sign changes
                mean = (near + far) / 2.0
                if first * last < 0.0:
                    mean, near = (first * first + last * last) / (2.0 * (near + far)), 0.0
                whole[0, count], whole[1, count] = i, j
                real[0, count], real[1, count] = measure + low, measure + high
                real[2, count], real[3, count] = mean * (high - low), near
            count += 1
    return count


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _meeting_rows(packed: Any, cells: Any, asked: Any, out: Any) -> int:  # pragma: no cover - compiled
    rows, (touch, least_sine), grow = asked
    seen, found, whole, real = out
    count = 0
    for i in range(rows[0], rows[1]):
        x, y, ux, uy, length = packed[i, 0], packed[i, 1], packed[i, 2], packed[i, 3], packed[i, 4]
        for k in range(_candidates(i, packed, cells, (grow, seen, found))):
            j = found[k]
            vx, vy = packed[j, 2], packed[j, 3]
            across = ux * vy - uy * vx
            if abs(across) <= least_sine:
                continue
            dx, dy = packed[j, 0] - x, packed[j, 1] - y
            on_i = (dx * vy - dy * vx) / across
            on_j = (dx * uy - dy * ux) / across
            if not (-touch <= on_i <= length + touch and -touch <= on_j <= packed[j, 4] + touch):
                continue
            if count < whole.shape[1]:
                whole[0, count], whole[1, count] = i, j
                real[0, count] = on_i
                real[1, count] = math.degrees(math.atan2(abs(across), abs(ux * vx + uy * vy)))
            count += 1
    return count
