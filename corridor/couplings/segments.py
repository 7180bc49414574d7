"""Lines as whole arrays of straight segments."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from corridor.errors import InputError
from corridor.frames import check_metric

__all__ = ["Segments", "pieces", "segments_of", "sorted_lines", "substrings"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    check_metric(lines)
    if "line_id" not in lines:
        message = f"expected a column line_id, got {', '.join(map(str, lines.columns))}; rename the column of ids"
        raise InputError(message)
    if lines["line_id"].isna().any():
        message = f"expected a line_id in every row, row {int(np.argmax(lines['line_id'].isna()))} has none; fill it"
        raise InputError(message)
    ids = lines["line_id"].astype(str)
    if ids.duplicated().any():
        message = f"expected every line_id once, {ids[ids.duplicated()].iloc[0]!r} comes twice; make the ids unique"
        raise InputError(message)
    kinds = shapely.get_type_id(lines.geometry.to_numpy())
    if (kinds != shapely.GeometryType.LINESTRING).any():
        row = int(np.argmax(kinds != shapely.GeometryType.LINESTRING))
        kind = lines.geometry.iloc[row].geom_type if kinds[row] >= 0 else "no geometry"
        message = f"expected LineString geometries, line {ids.iloc[row]!r} has {kind}; use explode() or drop the row"
        raise InputError(message)
    order = np.argsort(ids.to_numpy(dtype=object), kind="stable")
    return lines.assign(line_id=ids).iloc[order].reset_index(drop=True)


def segments_of(lines: gpd.GeoDataFrame) -> Segments:
    """Return the segments of a frame of LineStrings; repeated vertices make no segment, Z is left out.

    Raises
    ------
    InputError
        If a coordinate is not a finite number.
    """
    xy, line = shapely.get_coordinates(lines.geometry.to_numpy(), return_index=True)
    if not np.isfinite(xy).all():
        row = int(line[~np.isfinite(xy).all(axis=1)][0])
        message = f"expected finite coordinates, line {lines['line_id'].iloc[row]!r} has others; mend the geometry"
        raise InputError(message)
    same = line[1:] == line[:-1]
    step = (xy[1:] - xy[:-1])[same]
    start, line = xy[:-1][same], line[1:][same].astype(np.int64)
    length = np.hypot(step[:, 0], step[:, 1])
    keep = length > 0
    start, line, step, length = start[keep], line[keep], step[keep], length[keep]
    return Segments(
        line=line,
        x_m=start[:, 0].copy(),
        y_m=start[:, 1].copy(),
        ux=step[:, 0] / length,
        uy=step[:, 1] / length,
        length_m=length,
        start_m=_measures(line, length),
    )


def _measures(line: Ints, length_m: Floats) -> Floats:
    """Measure of each segment's start, summed along each line alone: a line's measures don't depend on the others."""
    measures = np.zeros(len(line))
    _, first, count = np.unique(line, return_index=True, return_counts=True)
    for size in np.unique(count[count > 1]):
        rows = first[count == size][:, None] + np.arange(size)
        measures[rows[:, 1:]] = np.cumsum(length_m[rows[:, :-1]], axis=1)
    return measures


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


def substrings(segments: Segments, *, first: Ints, from_m: Floats, last: Ints, to_m: Floats) -> NDArray[Any]:
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
    count = last - first + 2
    piece = np.repeat(np.arange(len(first)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    segment = np.minimum(first[piece] + np.maximum(place - 1, 0), last[piece])
    along = segments.length_m[segment].copy()  # inner vertices: the end of their segment
    begins, ends = place == 0, place == count[piece] - 1
    along[begins] = from_m - segments.start_m[first]
    along[ends] = to_m - segments.start_m[last]
    segment[ends] = last
    x = segments.x_m[segment] + segments.ux[segment] * along
    y = segments.y_m[segment] + segments.uy[segment] * along
    return np.asarray(shapely.linestrings(np.column_stack((x, y)), indices=piece))
