"""The nearest other line in space, segment by segment."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from rtree import index

from corridor.couplings.depths import depths_of
from corridor.couplings.segments import Segments, segments_of, sorted_lines
from corridor.errors import DomainError

__all__ = ["nearest_conductors"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHUNK = 20_000
DEEPEST_M = 100.0  # a line of unknown depth may lie anywhere down to here


def nearest_conductors(lines: gpd.GeoDataFrame, *, reach_m: float = 5.0) -> pd.DataFrame:
    """Find the nearest other line of each segment in three dimensions, axis to axis.

    Parameters
    ----------
    lines : GeoDataFrame
        ``line_id``, LineStrings, and ``depth_m`` where it is known. Depth is constant along a line; a line without
        depth is measured in plan alone, which never overstates the distance.
    reach_m : float, m
        How far to look, > 0.

    Returns
    -------
    DataFrame
        A row per segment, by line_id and along the line: line_id, segment (from 0), from_m, to_m (measures along the
        line), nearest_line_id (NULL: none in reach) and nearest_separation_m (m; NaN: none in reach).

    Raises
    ------
    CrsError
        If the CRS is missing or not in metres.
    InputError
        If ids or geometries can't be used.
    DomainError
        If ``reach_m`` is not positive.
    """
    if not reach_m > 0:
        message = f"expected reach_m > 0, got {reach_m}"
        raise DomainError(message)
    ordered = sorted_lines(lines)
    segments = segments_of(ordered)
    low, high = depths_of(ordered).low_m[segments.line], depths_of(ordered).high_m[segments.line]
    best = np.full(len(segments), np.inf)
    nearest = np.full(len(segments), -1)
    for i, j in _pairs(segments, low, high, reach_m=reach_m):
        below = np.fmax(np.fmax(low[i] - high[j], low[j] - high[i]), 0.0)  # NaN: a depth is unknown
        distance = np.hypot(_plan_distance(segments, i, j), below)
        order = np.lexsort((segments.line[j], distance, i))
        first = order[np.r_[True, np.diff(i[order]) != 0]] if len(order) else order
        better = first[distance[first] <= reach_m]
        best[i[better]], nearest[i[better]] = distance[better], segments.line[j[better]]
    ids = ordered["line_id"].to_numpy(dtype=object)
    return pd.DataFrame({
        "line_id": ids[segments.line],
        "segment": pd.Series(segments.line).groupby(segments.line).cumcount().to_numpy(),
        "from_m": segments.start_m,
        "to_m": segments.start_m + segments.length_m,
        "nearest_line_id": np.array([ids[k] if k >= 0 else None for k in nearest], dtype=object),
        "nearest_separation_m": np.where(nearest >= 0, best, np.nan),
    })  # fmt: skip


def _pairs(segments: Segments, low_m: Floats, high_m: Floats, *, reach_m: float) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of segments of two lines whose boxes in space lie within reach, all of a segment's in one chunk."""
    if not len(segments):
        return
    x0, x1, y0, y1 = segments.x_m, segments.end_x_m, segments.y_m, segments.end_y_m
    top, bottom = np.nan_to_num(low_m, nan=0.0), np.nan_to_num(high_m, nan=DEEPEST_M)
    least = np.column_stack((np.minimum(x0, x1), np.minimum(y0, y1), top))
    most = np.column_stack((np.maximum(x0, x1), np.maximum(y0, y1), bottom))
    ids = np.arange(len(segments))
    tree: Any = index.Index((ids, least, most), properties=index.Property(dimension=3))
    for begin in range(0, len(segments), CHUNK):
        part = slice(begin, begin + CHUNK)
        found, count = tree.intersection_v(least[part] - reach_m, most[part] + reach_m)
        i, j = np.repeat(ids[part], count.astype(np.int64)), found.astype(np.int64)
        other = segments.line[i] != segments.line[j]
        yield i[other], j[other]


def _plan_distance(segments: Segments, i: Ints, j: Ints) -> Floats:
    """Distance in plan between segments i and j: zero where they cross, else the least from the four ends."""
    ends = (
        _to_segment(segments.x_m[i], segments.y_m[i], segments, j),
        _to_segment(segments.end_x_m[i], segments.end_y_m[i], segments, j),
        _to_segment(segments.x_m[j], segments.y_m[j], segments, i),
        _to_segment(segments.end_x_m[j], segments.end_y_m[j], segments, i),
    )
    distance = np.minimum.reduce(ends)
    across = segments.ux[i] * segments.uy[j] - segments.uy[i] * segments.ux[j]
    dx, dy = segments.x_m[j] - segments.x_m[i], segments.y_m[j] - segments.y_m[i]
    with np.errstate(divide="ignore", invalid="ignore"):
        on_i = (dx * segments.uy[j] - dy * segments.ux[j]) / across
        on_j = (dx * segments.uy[i] - dy * segments.ux[i]) / across
        cross = (on_i >= 0) & (on_i <= segments.length_m[i]) & (on_j >= 0) & (on_j <= segments.length_m[j])
    distance[cross] = 0.0
    return distance


def _to_segment(x_m: Floats, y_m: Floats, segments: Segments, k: Ints) -> Floats:
    dx, dy = x_m - segments.x_m[k], y_m - segments.y_m[k]
    along = np.clip(dx * segments.ux[k] + dy * segments.uy[k], 0.0, segments.length_m[k])
    return np.hypot(dx - along * segments.ux[k], dy - along * segments.uy[k])
