"""Parallel runs: stretches where two lines lie side by side."""

from __future__ import annotations

from dataclasses import asdict

import geopandas as gpd

from corridor.couplings.bulk import uncollected
from corridor.couplings.depths import DEPTH_COLUMNS, depths_of
from corridor.couplings.naming import PairNames
from corridor.couplings.search import CHUNK_SEGMENTS, Limits, Runs, search
from corridor.couplings.segments import Segments, segments_of, sorted_with, substrings
from corridor.errors import DomainError
from corridor.frames import empty_table, stamp, table_frame

__all__ = ["check_limits", "find_parallel_runs", "runs_frame"]


def find_parallel_runs(
    lines: gpd.GeoDataFrame,
    *,
    max_separation_m: float = 3.0,
    max_angle_deg: float = 10.0,
    min_length_m: float = 5.0,
    chunk_segments: int = CHUNK_SEGMENTS,
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
    chunk_segments : int
        About so many segments are looked at in a go, >= 1: bounds the memory beyond index and results, changes none.

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
    limits = Limits(max_separation_m=max_separation_m, max_angle_deg=max_angle_deg, min_length_m=min_length_m)
    check_limits(limits, chunk_segments=chunk_segments)
    ordered = sorted_with(lines, DEPTH_COLUMNS)
    segments = segments_of(ordered)
    runs, _ = search(segments, limits=limits, chunk_segments=chunk_segments)
    return runs_frame(ordered, segments, runs, limits, names=PairNames(ordered["line_id"].to_numpy(dtype=object)))


def check_limits(limits: Limits, *, chunk_segments: int) -> None:
    """Refuse limits that mean nothing.

    Raises
    ------
    DomainError
        If one is out of range.
    """
    if not (limits.max_separation_m >= 0 and 0 <= limits.max_angle_deg <= 90 and limits.min_length_m >= 0):
        message = (
            "expected max_separation_m >= 0, max_angle_deg from 0 to 90 and min_length_m >= 0, "
            f"got {limits.max_separation_m}, {limits.max_angle_deg} and {limits.min_length_m}"
        )
        raise DomainError(message)
    if chunk_segments < 1:
        message = f"expected chunk_segments >= 1, got {chunk_segments}"
        raise DomainError(message)


def runs_frame(
    lines: gpd.GeoDataFrame, segments: Segments, runs: Runs, limits: Limits, *, names: PairNames
) -> gpd.GeoDataFrame:
    """Return the table ``parallel_runs`` of runs between sorted lines."""
    if not len(runs):
        return stamp(empty_table("parallel_runs", lines.crs), find_parallel_runs, **asdict(limits))
    a, b = runs.line_a, runs.line_b
    ids = lines["line_id"].to_numpy(dtype=object)
    difference, low, high = depths_of(lines).difference_m(a, b)
    with uncollected():
        courses = substrings(segments, first=runs.first, from_m=runs.from_m, last=runs.last, to_m=runs.to_m)
    frame = table_frame(
        "parallel_runs",
        {
            "run_id": names.of(a, b),
            "line_a": ids[a],
            "line_b": ids[b],
            "length_m": runs.to_m - runs.from_m,
            "separation_mean_m": runs.distance_sum_m2 / runs.covered_m,
            "separation_min_m": runs.distance_min_m,
            "depth_difference_m": difference,
            "depth_difference_low_m": low,
            "depth_difference_high_m": high,
        },
        geometry=courses,
        crs=lines.crs,
    )
    return stamp(frame, find_parallel_runs, **asdict(limits))
