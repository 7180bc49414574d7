"""Crossings: points where two lines cross in plan."""

from __future__ import annotations

import geopandas as gpd
import shapely

from corridor.couplings.bulk import uncollected
from corridor.couplings.depths import DEPTH_COLUMNS, depths_of
from corridor.couplings.naming import PairNames
from corridor.couplings.search import CHUNK_SEGMENTS, Crossings, search
from corridor.couplings.segments import segments_and_ends, sorted_with
from corridor.errors import DomainError
from corridor.frames import empty_table, stamp, table_frame

__all__ = ["crossings_frame", "find_crossings"]


def find_crossings(lines: gpd.GeoDataFrame, *, chunk_segments: int = CHUNK_SEGMENTS) -> gpd.GeoDataFrame:
    """Find the points where two lines cross in plan.

    Segments of lines a < b (by line_id as text) meet in one point more than 0.05 m from each of the four line ends,
    and the lines share no end node (1 mm). Points equal to 1 mm count once, with the smallest of their angles.

    Parameters
    ----------
    lines : GeoDataFrame
        ``line_id``, LineStrings, and ``depth_m`` with its companions where they are there.
    chunk_segments : int
        About so many segments are looked at in a go, >= 1: bounds the memory beyond index and results, changes none.

    Returns
    -------
    GeoDataFrame
        Table ``crossings`` of the data dictionary, ordered by pair and along a. ``clearance_m`` is the distance of the
        axes, NULL where either depth is missing or assumed.

    Raises
    ------
    CrsError
        If the CRS is missing or not in metres.
    InputError
        If ids or geometries can't be used.
    DomainError
        If ``chunk_segments`` is less than 1.
    """
    if chunk_segments < 1:
        message = f"expected chunk_segments >= 1, got {chunk_segments}"
        raise DomainError(message)
    ordered = sorted_with(lines, DEPTH_COLUMNS)
    _, points = search(*segments_and_ends(ordered), chunk_segments=chunk_segments)
    return crossings_frame(ordered, points, names=PairNames(ordered["line_id"].to_numpy(dtype=object)))


def crossings_frame(lines: gpd.GeoDataFrame, points: Crossings, *, names: PairNames) -> gpd.GeoDataFrame:
    """Return the table ``crossings`` of crossings between sorted lines."""
    if not len(points):
        return stamp(empty_table("crossings", lines.crs), find_crossings)
    ids = lines["line_id"].to_numpy(dtype=object)
    a, b = points.line_a, points.line_b
    clearance, low, high = depths_of(lines).difference_m(a, b)
    with uncollected():
        places = shapely.points(points.x_m, points.y_m)
    frame = table_frame(
        "crossings",
        {
            "crossing_id": names.of(a, b),
            "line_a": ids[a],
            "line_b": ids[b],
            "angle_deg": points.angle_deg,
            "clearance_m": clearance,
            "clearance_low_m": low,
            "clearance_high_m": high,
        },
        geometry=places,
        crs=lines.crs,
    )
    return stamp(frame, find_crossings)
