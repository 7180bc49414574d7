"""Crossings: points where two lines cross in plan."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from corridor.couplings.depths import depths_of
from corridor.couplings.near import meeting
from corridor.couplings.segments import Segments, segments_of, sorted_lines
from corridor.frames import empty_table, stamp, table_frame

__all__ = ["find_crossings"]

END_CLEAR_M = 0.05  # nearer to a line's end it is a connection or a touch, not a crossing
SAME_POINT_M = 0.001
TOUCH_M = 1e-8  # rounding at a shared vertex must not lose the point between two segments
PARALLEL_SINE = 1e-9  # below it, rounding decides where two segments meet


def find_crossings(lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Find the points where two lines cross in plan.

    Segments of lines a < b (by line_id as text) meet in one point more than 0.05 m from each of the four line ends,
    and the lines share no end node (1 mm). Points equal to 1 mm count once, with the smallest of their angles.

    Parameters
    ----------
    lines : GeoDataFrame
        ``line_id``, LineStrings, and ``depth_m`` with its companions where they are there.

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
    """
    ordered = sorted_lines(lines)
    segments = segments_of(ordered)
    points = _first_of_same(_clear_of_ends(ordered, _meet(segments)))
    if not len(points):
        return stamp(empty_table("crossings", lines.crs), find_crossings)
    ids = ordered["line_id"].to_numpy(dtype=object)
    a, b = points["a"].to_numpy(), points["b"].to_numpy()
    number = points.groupby(["a", "b"]).cumcount() + 1
    clearance, low, high = depths_of(ordered).difference_m(a, b)
    frame = table_frame(
        "crossings",
        {
            "crossing_id": [f"{ids[p]}~{ids[q]}~{n}" for p, q, n in zip(a, b, number, strict=True)],
            "line_a": ids[a],
            "line_b": ids[b],
            "angle_deg": points["angle"].to_numpy(),
            "clearance_m": clearance,
            "clearance_low_m": low,
            "clearance_high_m": high,
        },
        geometry=shapely.points(points["x"].to_numpy(), points["y"].to_numpy()),
        crs=lines.crs,
    )
    return stamp(frame, find_crossings)


def _meet(segments: Segments) -> pd.DataFrame:
    """Return the points in which segments of two lines, not parallel, meet."""
    found = meeting(segments, touch_m=TOUCH_M, least_sine=PARALLEL_SINE)
    i, on_i = found.i, found.on_i
    return pd.DataFrame({
        "a": segments.line[i],
        "b": segments.line[found.j],
        "measure": segments.start_m[i] + on_i,
        "x": segments.x_m[i] + segments.ux[i] * on_i,
        "y": segments.y_m[i] + segments.uy[i] * on_i,
        "angle": found.angle_deg,
    })  # fmt: skip


def _clear_of_ends(lines: gpd.GeoDataFrame, points: pd.DataFrame) -> pd.DataFrame:
    """Drop the points at a line's end, and all points of pairs that share an end node."""
    shapes = lines.geometry.to_numpy()
    first, last = (shapely.get_coordinates(shapely.get_point(shapes, k)) for k in (0, -1))
    keep = np.ones(len(points), dtype=bool)
    a, b = points["a"].to_numpy(), points["b"].to_numpy()
    for ends in (first[a], last[a], first[b], last[b]):
        keep &= np.hypot(points["x"] - ends[:, 0], points["y"] - ends[:, 1]) > END_CLEAR_M
    for end_a in (first[a], last[a]):
        for end_b in (first[b], last[b]):
            keep &= np.hypot(*(end_a - end_b).T) > SAME_POINT_M
    return points[keep]


def _first_of_same(points: pd.DataFrame) -> pd.DataFrame:
    """Keep one of the points of a pair that are equal to 1 mm, and order the rest along the first line."""
    points = points.sort_values(["a", "b", "angle", "measure"], kind="stable", ignore_index=True)
    pair = points.groupby(["a", "b"], sort=False).ngroup().to_numpy()
    several = np.flatnonzero(np.bincount(pair, minlength=1)[pair] > 1) if len(points) else np.empty(0, np.int64)
    if len(several):
        near = points[["x", "y"]].to_numpy()[several]
        # the pair's number, in metres, as third coordinate: points of two pairs are never near
        tree = cKDTree(np.column_stack((near - near.mean(axis=0), pair[several])))
        same = tree.query_pairs(SAME_POINT_M, output_type="ndarray")
        points = points.drop(index=several[np.unique(same.max(axis=1))])
    return points.sort_values(["a", "b", "measure"], kind="stable", ignore_index=True)
