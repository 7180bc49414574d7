"""Lines as whole arrays of straight segments."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numba
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.errors import InputError
from corridor.frames import check_metric

__all__ = [
    "Segments",
    "ends_among",
    "pieces",
    "segments_and_ends",
    "segments_of",
    "sorted_lines",
    "sorted_with",
    "substrings",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Rows = NDArray[np.int32] | Ints


@dataclass(frozen=True)
class Segments:
    """Straight pieces of lines, in the order of the lines and along each; all arrays have shape (n,).

    Attributes
    ----------
    line : ndarray of int
        Row of the line in the frame that the segments were made from.
    x_m, y_m : ndarray of float, m
        Start of the segment.
    ux, uy : ndarray of float
        Unit vector along it.
    length_m : ndarray of float, m
        Its length, > 0.
    start_m : ndarray of float, m
        Measure of its start along its line.
    """

    line: Ints
    x_m: Floats
    y_m: Floats
    ux: Floats
    uy: Floats
    length_m: Floats
    start_m: Floats

    def __len__(self) -> int:
        return len(self.line)

    @property
    def end_x_m(self) -> Floats:
        """Easting of the segment's end, m."""
        return self.x_m + self.ux * self.length_m

    @property
    def end_y_m(self) -> Floats:
        """Northing of the segment's end, m."""
        return self.y_m + self.uy * self.length_m


def sorted_lines(lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the lines ordered by line_id as text with a fresh index, so that a < b by row is a < b by id.

    Raises
    ------
    CrsError
        If the CRS is missing or not in metres.
    InputError
        If there is no line_id, an id is missing or comes twice, or a geometry is not a LineString.
    """
    order, _ = _order(lines)
    return _taken(lines.assign(line_id=lines["line_id"].astype(str)), order)


def sorted_with(lines: gpd.GeoDataFrame, columns: Iterable[str]) -> gpd.GeoDataFrame:
    """Return what ``sorted_lines`` does, of some columns where they are there, with ids as texts of Python.

    Raises
    ------
    CrsError, InputError
        As ``sorted_lines``.
    """
    order, names = _order(lines)
    kept = [name for name in dict.fromkeys(columns) if name in lines and name != "line_id"]
    ordered = _taken(lines[[*kept, lines.geometry.name]], order)
    ordered.insert(0, "line_id", pd.Series(names, dtype=object))  # made once, not at each look
    return ordered


def _taken(lines: gpd.GeoDataFrame, order: Ints) -> gpd.GeoDataFrame:
    if not (order == np.arange(len(order))).all():
        lines = lines.iloc[order]
    return lines.reset_index(drop=True)


def _order(lines: gpd.GeoDataFrame) -> tuple[Ints, NDArray[Any]]:
    """Return the order of the lines by their ids as texts, and the ids in it."""
    check_metric(lines)
    if "line_id" not in lines:
        message = f"expected a column line_id, got {', '.join(map(str, lines.columns))}; rename the column of ids"
        raise InputError(message)
    ids = lines["line_id"].to_numpy(dtype=object)
    if pd.api.types.infer_dtype(ids, skipna=False) != "string":  # texts all: none is missing
        missing = pd.isna(ids)
        if missing.any():
            message = f"expected a line_id in every row, row {int(np.argmax(missing))} has none; fill it"
            raise InputError(message)
        ids = lines["line_id"].astype(str).to_numpy(dtype=object)
    order = np.argsort(ids, kind="stable")
    names = ids[order]
    if (names[1:] == names[:-1]).any():
        twice = ids[np.flatnonzero(pd.Series(ids).duplicated())[0]]
        message = f"expected every line_id once, {twice!r} comes twice; make the ids unique"
        raise InputError(message)
    kinds = shapely.get_type_id(lines.geometry.to_numpy())
    if (kinds != shapely.GeometryType.LINESTRING).any():
        row = int(np.argmax(kinds != shapely.GeometryType.LINESTRING))
        kind = lines.geometry.iloc[row].geom_type if kinds[row] >= 0 else "no geometry"
        message = f"expected LineString geometries, line {ids[row]!r} has {kind}; use explode() or drop the row"
        raise InputError(message)
    return order, names


def segments_of(lines: gpd.GeoDataFrame) -> Segments:
    """Return the segments of a frame of LineStrings; repeated vertices make no segment, Z is left out.

    Raises
    ------
    InputError
        If a coordinate is not a finite number.
    """
    return _segments_among(lines, *_vertices(lines))


def segments_and_ends(lines: gpd.GeoDataFrame) -> tuple[Segments, Floats]:
    """Return what ``segments_of`` does, and ``ends_among`` all lines.

    Raises
    ------
    InputError
        As ``segments_of``.
    """
    xy, line = _vertices(lines)
    return _segments_among(lines, xy, line), ends_among(xy, line, lines=len(lines))


def _vertices(lines: gpd.GeoDataFrame) -> tuple[Floats, Ints]:
    return shapely.get_coordinates(lines.geometry.to_numpy(), return_index=True)


def _segments_among(lines: gpd.GeoDataFrame, xy: Floats, line: Ints) -> Segments:
    count, wrong = _count(xy, line)
    if wrong >= 0:
        name = lines["line_id"].iloc[int(line[wrong])]
        message = f"expected finite coordinates, line {name!r} has others; mend the geometry"
        raise InputError(message)
    segments = Segments(np.empty(count, np.int64), *(np.empty(count) for _ in range(6)))
    _fill(xy, line, tuple(getattr(segments, name) for name in Segments.__dataclass_fields__))
    return segments


def ends_among(xy: Floats, line: Ints, *, lines: int) -> Floats:
    """Return easting and northing of the first and the last vertex of each line, m, NaN without; shape (lines, 4).

    ``xy``, ``line``: vertices of so many lines, and the row of each one's line.
    """
    ends = np.full((lines, 4), np.nan)
    _fill_ends(xy, line, ends)
    return ends


@numba.njit(cache=True, nogil=True)
def _fill_ends(xy: Any, line: Any, ends: Any) -> None:  # pragma: no cover - compiled
    for k in range(line.size):
        if k == 0 or line[k] != line[k - 1]:
            ends[line[k], 0], ends[line[k], 1] = xy[k, 0], xy[k, 1]
        ends[line[k], 2], ends[line[k], 3] = xy[k, 0], xy[k, 1]


@numba.njit(cache=True, nogil=True)
def _count(xy: Any, line: Any) -> Any:  # pragma: no cover - compiled
    """Count the segments; return the first vertex that isn't finite too, -1 where there is none."""
    count = 0
    for k in range(line.size):
        if not (math.isfinite(xy[k, 0]) and math.isfinite(xy[k, 1])):
            return count, k
        if k and line[k] == line[k - 1]:
            count += math.hypot(xy[k, 0] - xy[k - 1, 0], xy[k, 1] - xy[k - 1, 1]) > 0.0
    return count, -1


@numba.njit(cache=True, nogil=True)
def _fill(xy: Any, line: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Write the segments; measures are summed along each line alone, so that they don't depend on the others."""
    row, x, y, ux, uy, length, start = out
    to, measure = 0, 0.0
    for k in range(1, line.size):
        if line[k] != line[k - 1]:
            measure = 0.0
            continue
        dx, dy = xy[k, 0] - xy[k - 1, 0], xy[k, 1] - xy[k - 1, 1]
        own = math.hypot(dx, dy)
        if own > 0.0:
            row[to], x[to], y[to], length[to], start[to] = line[k], xy[k - 1, 0], xy[k - 1, 1], own, measure
            ux[to], uy[to] = dx / own, dy / own
            measure += own
            to += 1


def pieces(segments: Segments, line: Ints, from_m: Floats, to_m: Floats) -> NDArray[Any]:
    """Return the pieces of lines between two measures, ``from_m < to_m``; arrays of shape (k,), ``line`` by row."""
    first, last = np.empty(len(line), np.int64), np.empty(len(line), np.int64)
    begins = np.searchsorted(segments.line, line)
    ends = np.searchsorted(segments.line, line, side="right")
    for k, (begin, end) in enumerate(zip(begins, ends, strict=True)):
        starts = segments.start_m[begin:end]
        first[k] = begin + max(np.searchsorted(starts, from_m[k], side="right") - 1, 0)
        last[k] = begin + max(np.searchsorted(starts, to_m[k], side="left") - 1, 0)
    return substrings(segments, first=first, from_m=from_m, last=last, to_m=to_m)


def substrings(segments: Segments, *, first: Rows, from_m: Floats, last: Rows, to_m: Floats) -> NDArray[Any]:
    """Return the pieces of lines between two places, each place a segment and a measure along the line.

    Parameters
    ----------
    segments : Segments
        Of the lines.
    first, last : ndarray of int, shape (k,)
        Segments on which each piece begins and ends; last >= first, on one line.
    from_m, to_m : ndarray of float, m, shape (k,)
        Measures of its ends.

    Returns
    -------
    ndarray of LineString, shape (k,)
    """
    begins = np.r_[0, np.cumsum(last.astype(np.int64) - first + 2)]
    xy, piece = np.empty((begins[-1], 2)), np.empty(begins[-1], np.int64)
    shapes = tuple(getattr(segments, name) for name in ("x_m", "y_m", "ux", "uy", "length_m", "start_m"))
    _fill_pieces((begins, first, last, from_m, to_m), shapes, xy, piece)
    return np.asarray(shapely.linestrings(xy, indices=piece))


@numba.njit(cache=True, nogil=True)
def _fill_pieces(asked: Any, shapes: Any, xy: Any, piece: Any) -> None:  # pragma: no cover - compiled
    """Write the vertices of pieces: where each begins, the ends of its segments but the last, and where it ends."""
    begins, first, last, from_m, to_m = asked
    x, y, ux, uy, length, start = shapes
    for p in range(first.size):
        for k in range(begins[p], begins[p + 1]):
            segment = min(first[p] + max(k - begins[p] - 1, 0), last[p])
            along = length[segment]
            if k == begins[p]:
                along = from_m[p] - start[segment]
            elif k == begins[p + 1] - 1:
                along = to_m[p] - start[segment]
            xy[k, 0], xy[k, 1] = x[segment] + ux[segment] * along, y[segment] + uy[segment] * along
            piece[k] = p
