"""Segments laid out for a search: along a curve through the plane, with the cells that they run through.

A segment is listed in each cell that it runs through. Whatever lies within some distance of it is listed in one of the
cells that it would run through if it were as thick as that. Cells go by a hash under which those of a row follow one
another: a row of cells is read in one go, and one far-away record doesn't make a grid of empty ones.
"""

import math
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.couplings.segments import Segments
from corridor.threads import in_parallel, worked

__all__ = ["Laid", "columns_of", "lay_out", "pairs_near", "slot_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Places = NDArray[np.int32]

_SLACK_M = 1e-6  # rounding of projected coordinates must not lose a candidate
_CELL_LEAST_M = 2.0
_CELL_SIZE = 1.5  # times what is looked for: fewer cells, longer lists; from 1 to 3 it hardly matters
_ROW_STEP = 5_700_357_409_661_599_243  # rows far apart: half of 2^64 over the golden ratio, odd (Knuth, from memory)
_UNIT_M = 1e-3  # of boxes as whole numbers; larger where they don't fit into four bytes
_UNITS = 2**30
_CROWDED = 64  # a longer list is sorted by line, so that a search passes over its own line and those before it


@dataclass(frozen=True)
class Laid:
    """Segments of n lines in the order of a search.

    Attributes
    ----------
    rows : ndarray of int, shape (n,)
        The lines' rows in the frame, in the order of the search.
    first : ndarray of int, shape (n + 1,)
        Where each one's segments begin; they keep their order.
    shapes : ndarray of float, shape (segments, 6)
        Start (m), unit vector, length (m) and measure of the start (m).
    who : ndarray of int, shape (segments, 2)
        Row of the line in the frame, and number of the segment before.
    cells : tuple
        Size of the cells and origin of the boxes (m), units of the boxes and cells in a metre; mask of the hash, where
        each hash's list begins, and the lists: row of the line, place in ``shapes``, and west, east, south and north
        of the box, rounded outwards.
    """

    rows: Ints
    first: Ints
    shapes: Floats
    who: Places
    cells: tuple[Floats, int, Places | Ints, Places]


def lay_out(segments: Segments, *, grow_m: float) -> Laid:
    """Lay out segments, at least one, for a search for others within a distance.

    Parameters
    ----------
    segments : Segments
        Of all lines, in their order.
    grow_m : float, m
        The distance; cells are about as large.
    """
    begins = np.flatnonzero(np.r_[True, segments.line[1:] != segments.line[:-1]])
    counts = np.diff(np.r_[begins, len(segments)])
    mean_m = float(segments.length_m.sum()) / len(segments)
    # no smaller than the mean segment: a few very long ones must not fill the lists
    size_m = _CELL_SIZE * max(_CELL_LEAST_M, 2.0 * grow_m, mean_m)
    middle = begins + counts // 2
    order = _along_curve(segments.x_m[middle], segments.y_m[middle], size_m=size_m)
    first = np.r_[0, np.cumsum(counts[order])]
    shapes, who = np.empty((len(segments), 6)), np.empty((len(segments), 2), np.int32)
    names = ("x_m", "y_m", "ux", "uy", "length_m", "start_m")
    columns = tuple(getattr(segments, name) for name in names)
    begins = begins[order]
    edges = _edges(len(order))
    boxes_m = worked(
        lambda t: _pack((edges[t], edges[t + 1], begins, first), segments.line, columns, (shapes, who)),
        range(len(edges) - 1),
    )
    west_m, south_m, east_m, north_m = np.array(list(boxes_m)).T
    box_m = west_m.min(), south_m.min(), east_m.max(), north_m.max()
    return Laid(segments.line[begins], first, shapes, who, _listed(shapes, who, size_m, box_m=box_m))


def _edges(count: int) -> Ints:
    """Return the ends of as many ranges as there are threads."""
    return np.linspace(0, count, min(numba.get_num_threads(), count) + 1).astype(np.int64)


def _along_curve(x_m: Floats, y_m: Floats, *, size_m: float) -> Ints:
    """Return an order of places along a curve that keeps neighbours near (Morton 1966, from memory)."""
    keys = np.zeros(len(x_m), np.uint64)
    for shift, middle in enumerate((x_m, y_m)):
        cell = np.minimum((middle - middle.min()) / size_m, 2.0**31 - 1).astype(np.uint64)
        for step, mask in ((16, 0x0000FFFF0000FFFF), (8, 0x00FF00FF00FF00FF), (4, 0x0F0F0F0F0F0F0F0F),
                           (2, 0x3333333333333333), (1, 0x5555555555555555)):  # fmt: skip
            cell = (cell | (cell << np.uint64(step))) & np.uint64(mask)
        keys |= cell << np.uint64(shift)
    return np.argsort(keys, kind="stable")


@numba.njit(cache=True, nogil=True)
def _pack(ranges: Any, line: Any, columns: Any, out: Any) -> Any:  # pragma: no cover - compiled
    """Write the segments in their new order, and return the box round them."""
    from_line, to_line, begins, first = ranges
    x, y, ux, uy, length, start = columns
    shapes, who = out
    west, south, east, north = math.inf, math.inf, -math.inf, -math.inf
    for p in range(from_line, to_line):
        shift = begins[p] - first[p]
        for to in range(first[p], first[p + 1]):
            k = to + shift
            shapes[to, 0], shapes[to, 1], shapes[to, 2], shapes[to, 3] = x[k], y[k], ux[k], uy[k]
            shapes[to, 4], shapes[to, 5] = length[k], start[k]
            who[to, 0], who[to, 1] = line[k], k
            x1, y1 = x[k] + ux[k] * length[k], y[k] + uy[k] * length[k]
            west, east = min(west, x[k], x1), max(east, x[k], x1)
            south, north = min(south, y[k], y1), max(north, y[k], y1)
    return west, south, east, north


def _listed(
    shapes: Floats, who: Places, size_m: float, *, box_m: tuple[float, ...]
) -> tuple[Floats, int, Places | Ints, Places]:
    mask = (1 << max(4, len(shapes).bit_length())) - 1
    west_m, south_m, east_m, north_m = box_m
    unit_m = max(_UNIT_M, max(east_m - west_m, north_m - south_m) / _UNITS)
    grid = np.array([size_m, west_m, south_m, 1.0 / unit_m, 1.0 / size_m])
    edges = _edges(len(shapes))
    parts = range(len(edges) - 1)
    at = np.zeros((len(parts), mask + 2), np.int64)
    none = np.empty((0, 6), np.int32)
    slots = _edges(mask + 1)
    in_parallel(lambda t: _list_cells((edges[t], edges[t + 1]), (shapes, who), grid, (mask, at[t, 1:], none)), parts)
    begins = np.cumsum(at.sum(axis=0))
    at[:, :-1] = begins[:-1] + np.cumsum(at[:, 1:], axis=0) - at[:, 1:]
    lists = np.empty((begins[-1], 6), np.int32)
    in_parallel(lambda t: _list_cells((edges[t], edges[t + 1]), (shapes, who), grid, (mask, at[t], lists)), parts)
    in_parallel(lambda t: _sort_crowded((slots[t], slots[t + 1]), begins, lists), range(len(slots) - 1))
    small: Places | Ints = begins.astype(np.int32) if begins[-1] < 2**31 else begins
    return grid, mask, small, lists


@numba.njit(cache=True, nogil=True, error_model="numpy")
def slot_of(row: Any, column: Any, mask: Any) -> Any:  # pragma: no cover - compiled
    """Return the place of a cell's list; a row's cells follow one another."""
    return (row * _ROW_STEP + column) & mask


@numba.njit(cache=True, nogil=True, error_model="numpy")
def columns_of(ends: Any, grow: float, grid: Any, row: int) -> Any:  # pragma: no cover - compiled
    """Return the first and last cell of a row of cells through which a segment of some thickness runs."""
    x0, y0, x1, y1 = ends
    size, per_m = grid[0], grid[4]
    low, high = row * size - grow, (row + 1) * size + grow
    t0, t1 = 0.0, 1.0
    if y1 != y0:
        per_rise = 1.0 / (y1 - y0)
        a, b = (low - y0) * per_rise, (high - y0) * per_rise
        t0, t1 = max(0.0, min(a, b)), min(1.0, max(a, b))
    xa, xb = x0 + t0 * (x1 - x0), x0 + t1 * (x1 - x0)
    return math.floor((min(xa, xb) - grow) * per_m), math.floor((max(xa, xb) + grow) * per_m)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _ends(shapes: Any, k: int, grid: Any) -> Any:  # pragma: no cover - compiled
    """Return both ends of a segment from the grid's origin."""
    x, y, length = shapes[k, 0] - grid[1], shapes[k, 1] - grid[2], shapes[k, 4]
    return x, y, x + shapes[k, 2] * length, y + shapes[k, 3] * length


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _list_cells(part: Any, data: Any, grid: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Count a range of segments by hash, or, where there is room for them, list them."""
    shapes, who = data
    mask, at, lists = out
    per_unit, per_m, listed = grid[3], grid[4], lists.shape[0] > 0
    for k in range(part[0], part[1]):
        x0, y0, x1, y1 = own = _ends(shapes, k, grid)
        south, north = min(y0, y1), max(y0, y1)
        west_unit, east_unit = math.floor(min(x0, x1) * per_unit), math.ceil(max(x0, x1) * per_unit)
        south_unit, north_unit = math.floor(south * per_unit), math.ceil(north * per_unit)
        for row in range(math.floor((south - _SLACK_M) * per_m), math.floor((north + _SLACK_M) * per_m) + 1):
            first, last = columns_of(own, _SLACK_M, grid, row)
            for column in range(first, last + 1):
                slot = slot_of(row, column, mask)
                if listed:
                    to = at[slot]
                    lists[to, 0], lists[to, 1] = who[k, 0], k
                    lists[to, 2], lists[to, 3] = west_unit, east_unit
                    lists[to, 4], lists[to, 5] = south_unit, north_unit
                at[slot] += 1


@numba.njit(cache=True, nogil=True)
def _sort_crowded(part: Any, begins: Any, lists: Any) -> None:  # pragma: no cover - compiled
    """Sort the long ones among a range of lists by line; equal ones keep their order."""
    for slot in range(part[0], part[1]):
        if begins[slot + 1] - begins[slot] > _CROWDED:
            crowd = lists[begins[slot] : begins[slot + 1]]
            order, kept = np.argsort(crowd[:, 0], kind="mergesort"), crowd.copy()
            for k in range(order.size):  # arrays set at once compile the texts of their errors too: twice the time
                for column in range(crowd.shape[1]):
                    crowd[k, column] = kept[order[k], column]


@numba.njit(cache=True, nogil=True)
def _after(lists: Any, first: Any, last: Any, line: Any) -> Any:  # pragma: no cover - compiled
    """Return where in a sorted list the lines after one begin."""
    while first < last:
        middle = (first + last) // 2
        if lists[middle, 0] > line:
            last = middle
        else:
            first = middle + 1
    return first


@numba.njit(cache=True, nogil=True, error_model="numpy")
def pairs_near(asked: Any, data: Any, cells: Any, out: Any) -> int:  # pragma: no cover - compiled
    """Write the pairs of segments whose boxes, one of them grown, meet, the first one's line before the second's.

    Parameters
    ----------
    asked : tuple of int, int, float
        First segment and end of a range of the first ones, and by how much their boxes grow, m.
    data, cells : tuple
        ``shapes`` and ``who``, and ``cells``, of ``Laid``.
    out : tuple of ndarray of int
        Marks, shape (segments + 1,), kept from call to call; pairs, shape (room, 2).

    Returns
    -------
    int
        How many there are; with more than there is room for, not all are written.
    """
    begin, end, grow = asked
    shapes, who = data
    grid, mask, begins, lists = cells
    seen, pairs = out
    grow += _SLACK_M
    per_unit, per_m, count, room, mark = grid[3], grid[4], 0, pairs.shape[0], seen[-1]
    for i in range(begin, end):
        line = who[i, 0]
        mark += 1
        x0, y0, x1, y1 = own = _ends(shapes, i, grid)
        low, high = min(y0, y1) - grow, max(y0, y1) + grow
        west, east = math.floor((min(x0, x1) - grow) * per_unit), math.ceil((max(x0, x1) + grow) * per_unit)
        south, north = math.floor(low * per_unit), math.ceil(high * per_unit)
        for row in range(math.floor(low * per_m), math.floor(high * per_m) + 1):
            column, last = columns_of(own, grow, grid, row)
            while column <= last:
                slot = slot_of(row, column, mask)
                many = min(last - column + 1, mask + 1 - slot)
                start, stop = begins[slot], begins[slot + many]
                if stop - start > _CROWDED:  # cell by cell
                    many, stop = 1, begins[slot + 1]
                    if stop - start > _CROWDED:
                        start = _after(lists, start, stop, line)
                column += many
                for m in range(start, stop):
                    # one branch, not five that nobody can foretell
                    if (
                        (lists[m, 0] > line)
                        & (lists[m, 2] <= east)
                        & (lists[m, 3] >= west)
                        & (lists[m, 4] <= north)
                        & (lists[m, 5] >= south)
                    ) and seen[lists[m, 1]] != mark:
                        seen[lists[m, 1]] = mark
                        if count < room:
                            pairs[count, 0], pairs[count, 1] = i, lists[m, 1]
                        count += 1
    seen[-1] = mark
    return count
