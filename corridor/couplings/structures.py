"""Ends of lines at structures, as arrays: which structures hold two or more lines together."""

import math
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.threads import worked

__all__ = ["EndPairs", "end_pairs"]

Floats = NDArray[np.float64]
Rows = NDArray[np.int32]

_CELL_REACHES = 4.0  # size of the cells, in reaches
_STEP_X, _STEP_Y = 73_856_093, 19_349_663  # Teschner et al. 2003, Optimized Spatial Hashing, from memory


@dataclass(frozen=True)
class EndPairs:
    """Pairs of lines with an end at one point; shape (k,) all, by point, line a and line b.

    Attributes
    ----------
    point : ndarray of int
        Row of the point.
    line_a, line_b : ndarray of int
        Rows of the lines, a < b.
    """

    point: Rows
    line_a: Rows
    line_b: Rows

    def __len__(self) -> int:
        return len(self.point)


def end_pairs(ends_m: Floats, points_m: Floats, *, reach_m: float, chunk_points: int = 20_000) -> EndPairs:
    """Find the pairs of lines that have an end within reach of one point.

    Parameters
    ----------
    ends_m : ndarray of float, shape (lines, 4), m
        Easting and northing of each line's first and last vertex.
    points_m : ndarray of float, shape (points, 2), m
        Easting and northing.
    reach_m : float, m
        Largest distance, > 0.
    chunk_points : int
        So many points are looked at in a go, >= 1.

    Returns
    -------
    EndPairs
    """
    ends = np.ascontiguousarray(ends_m).reshape(-1, 2)
    mask = (1 << max(4, len(ends).bit_length())) - 1
    grid = (1.0 / (_CELL_REACHES * reach_m), mask)
    at = np.zeros(mask + 2, np.int64)
    _list_ends(ends, grid, at[1:], np.empty(0, np.int32))
    begins = np.cumsum(at)
    lists = np.empty(len(ends), np.int32)
    _list_ends(ends, grid, begins[:-1].copy(), lists)

    def run(first: int) -> Rows:
        part = first, min(first + chunk_points, len(points_m))
        room = (2 * chunk_points, 64)
        while True:
            found = np.empty((room[0], 3), np.int32)
            count, most = _pairs_at(part, (points_m, ends), (*grid, begins, lists, reach_m), (room[1], found))
            if count <= room[0] and most <= room[1]:
                return found[:count].copy()
            room = max(count, room[0]), max(most, room[1])

    parts = list(worked(run, range(0, len(points_m), max(chunk_points, 1))))
    return EndPairs(*(np.concatenate(parts) if parts else np.empty((0, 3), np.int32)).T)


@numba.njit(cache=True, nogil=True)
def _list_ends(ends: Any, grid: Any, at: Any, lists: Any) -> None:  # pragma: no cover - compiled
    """Count the ends by the hash of their cell, or, where there is room for them, list them."""
    per_m, mask = grid
    for k in range(ends.shape[0]):
        column, row = math.floor(ends[k, 0] * per_m), math.floor(ends[k, 1] * per_m)
        slot = ((column * _STEP_X) ^ (row * _STEP_Y)) & mask
        if lists.size:
            lists[at[slot]] = k
        at[slot] += 1


@numba.njit(cache=True, nogil=True)
def _put(here: Any, lines: int, line: int) -> int:  # pragma: no cover - compiled
    """Put a line into its place among those at a point, unless it's there; return how many there are now."""
    if lines >= here.size:
        return lines + 1
    k = lines
    while k and here[k - 1] > line:
        k -= 1
    if k and here[k - 1] == line:
        return lines
    for m in range(lines, k, -1):
        here[m] = here[m - 1]
    here[k] = line
    return lines + 1


@numba.njit(cache=True, nogil=True)
def _pairs_at(part: Any, data: Any, cells: Any, out: Any) -> Any:  # pragma: no cover - compiled
    """Write the pairs of lines at each point; return how many, and how many lines the fullest point has."""
    points, ends = data
    per_m, mask, begins, lists, reach = cells
    room, found = out
    here = np.empty(room, np.int32)
    count, most = 0, 0
    for p in range(part[0], part[1]):
        x, y = points[p, 0], points[p, 1]
        if not (math.isfinite(x) and math.isfinite(y)):
            continue
        lines = 0
        for row in range(math.floor((y - reach) * per_m), math.floor((y + reach) * per_m) + 1):
            for column in range(math.floor((x - reach) * per_m), math.floor((x + reach) * per_m) + 1):
                slot = ((column * _STEP_X) ^ (row * _STEP_Y)) & mask
                for k in range(begins[slot], begins[slot + 1]):
                    end = lists[k]
                    dx, dy = ends[end, 0] - x, ends[end, 1] - y
                    if dx * dx + dy * dy <= reach * reach:
                        lines = _put(here, lines, end // 2)
        most = max(most, lines)
        for a in range(min(lines, room)):
            for b in range(a + 1, min(lines, room)):
                if count < found.shape[0]:
                    found[count, 0], found[count, 1], found[count, 2] = p, here[a], here[b]
                count += 1
    return count, most
