"""Which lines lie within reach of points, exactly: points in cells, segments looking through those they run past."""

import math
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.cells import columns_of, slot_of
from corridor.threads import worked

__all__ = ["lines_near"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SLACK_M = 1e-6  # rounding of projected coordinates must not lose a candidate
_CELL_REACHES = 4.0  # least size of the cells, in reaches
_CELL_STEPS = 3.0  # and in mean segments: fewer cells, longer lists; from 2 to 4 it hardly matters
_CHUNK = 100_000  # vertices looked at in a go


def lines_near(xy_m: Floats, line: Ints, points_m: Floats, *, reach_m: float) -> tuple[Ints, Ints]:
    """Find the lines within reach of points, by the arithmetic of GEOS' distance from a point to a segment.

    Parameters
    ----------
    xy_m : ndarray of float, shape (vertices, 2), m
        Easting and northing of the vertices of all lines.
    line : ndarray of int, shape (vertices,)
        Row of each one's line, ascending.
    points_m : ndarray of float, shape (points, 2), m
        Easting and northing; one that isn't finite is near nothing.
    reach_m : float, m
        Largest plan distance, >= 0.

    Returns
    -------
    point, line : ndarray of int, shape (k,)
        Rows, ordered by point and line.
    """
    asked = np.flatnonzero(np.isfinite(points_m).all(axis=1))
    if not len(asked) or len(line) < 2:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    places = np.ascontiguousarray(points_m[asked])
    box_m = np.r_[places.min(axis=0), places.max(axis=0)]
    size_m = max(_CELL_REACHES * reach_m, _CELL_STEPS * _mean_step_m(xy_m, line), _SLACK_M)
    cells = _listed(places, np.array([size_m, *box_m[:2], 0.0, 1.0 / size_m]))

    def run(first: int) -> NDArray[np.int32]:
        part, room = (first, min(first + _CHUNK, len(line)), reach_m), _CHUNK
        while True:
            found = np.empty((room, 2), np.int32)
            count = _near(part, (xy_m, line, box_m), cells, found)
            if count <= room:
                return found[:count].copy()
            room = count

    pairs = np.concatenate(list(worked(run, range(1, len(line), _CHUNK))))
    width = int(line[-1]) + 1
    keys = pairs[:, 0].astype(np.int64) * width + pairs[:, 1]
    keys.sort()
    keys = keys[np.r_[True, keys[1:] != keys[:-1]][: len(keys)]]
    return asked[keys // width], keys % width


@numba.njit(cache=True, nogil=True)
def _mean_step_m(xy: Any, line: Any) -> float:  # pragma: no cover - compiled
    """Mean length of the segments: a few very long ones must not run through cells without number."""
    total_m, count = 0.0, 0
    for k in range(1, line.size):
        step_m = math.hypot(xy[k, 0] - xy[k - 1, 0], xy[k, 1] - xy[k - 1, 1])
        if line[k] == line[k - 1] and math.isfinite(step_m):
            total_m += step_m
            count += 1
    return total_m / max(count, 1)


def _listed(places: Floats, grid: Floats) -> tuple[Floats, int, Ints, NDArray[np.int32], Floats]:
    """Return the cells: grid, mask of the hash, where each hash's list begins, and the lists, rows and places."""
    mask = (1 << max(4, len(places).bit_length())) - 1
    at = np.zeros(mask + 2, np.int64)
    _list_places(places, grid, (mask, at[1:], np.empty(0, np.int32)))
    begins = np.cumsum(at)
    order = np.empty(len(places), np.int32)
    _list_places(places, grid, (mask, begins[:-1].copy(), order))
    return grid, mask, begins, order, places[order]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _list_places(places: Any, grid: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Count the places by the hash of their cell, or, where there is room for them, list them."""
    mask, at, listed = out
    for k in range(places.shape[0]):
        column, row = (places[k, 0] - grid[1]) * grid[4], (places[k, 1] - grid[2]) * grid[4]
        slot = slot_of(math.floor(row), math.floor(column), mask)
        if listed.size:
            listed[at[slot]] = k
        at[slot] += 1


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _distance(place: Any, start: Any, end: Any) -> float:  # pragma: no cover - compiled
    """Distance of a point from a segment, step by step as GEOS works it out, so that both agree at the limit."""
    px, py = place
    x0, y0 = start
    x1, y1 = end
    dx, dy = x1 - x0, y1 - y0
    squared = dx * dx + dy * dy
    if x0 == x1 and y0 == y1:
        return math.sqrt((px - x0) * (px - x0) + (py - y0) * (py - y0))
    along = ((px - x0) * dx + (py - y0) * dy) / squared
    if along <= 0.0:
        return math.sqrt((px - x0) * (px - x0) + (py - y0) * (py - y0))
    if along >= 1.0:
        return math.sqrt((px - x1) * (px - x1) + (py - y1) * (py - y1))
    return abs(((y0 - py) * dx - (x0 - px) * dy) / squared) * math.sqrt(squared)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _near(asked: Any, data: Any, cells: Any, found: Any) -> int:  # pragma: no cover - compiled
    """Write places and lines within reach, some twice; return how many, of which no more than fit are written."""
    begin, end, reach = asked
    xy, line, box = data
    grid, mask, begins, order, listed = cells
    grow, per_m, count = reach + _SLACK_M, grid[4], 0
    for k in range(begin, end):
        x0, y0, x1, y1 = xy[k - 1, 0], xy[k - 1, 1], xy[k, 0], xy[k, 1]
        if line[k] != line[k - 1] or not (math.isfinite(x0 + y0) and math.isfinite(x1 + y1)):
            continue
        west, east, south, north = min(x0, x1) - grow, max(x0, x1) + grow, min(y0, y1) - grow, max(y0, y1) + grow
        if not ((east >= box[0]) & (north >= box[1]) & (west <= box[2]) & (south <= box[3])):
            continue
        own = (x0 - grid[1], y0 - grid[2], x1 - grid[1], y1 - grid[2])
        low, high = max(south, box[1]) - grid[2], min(north, box[3]) - grid[2]
        for row in range(math.floor(low * per_m), math.floor(high * per_m) + 1):
            column, last = columns_of(own, grow, grid, row)
            while column <= last:
                slot = slot_of(row, column, mask)
                many = min(last - column + 1, mask + 1 - slot)
                column += many
                for m in range(begins[slot], begins[slot + many]):
                    x, y = listed[m, 0], listed[m, 1]
                    if not ((x >= west) & (x <= east) & (y >= south) & (y <= north)):
                        continue
                    if _distance((x, y), (x0, y0), (x1, y1)) <= reach:
                        if count < found.shape[0]:
                            found[count, 0], found[count, 1] = order[m], line[k]
                        count += 1
    return count
