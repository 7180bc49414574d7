"""Parallel runs: stretches where two lines lie side by side."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.couplings.depths import depths_of
from corridor.couplings.near import Beside, beside
from corridor.couplings.segments import Segments, segments_of, sorted_lines, substrings
from corridor.errors import DomainError
from corridor.frames import empty_table, stamp, table_frame

__all__ = ["find_parallel_runs"]

JOIN_GAP_M = 1.0  # at the outside of a bend no foot lies inside either segment


def find_parallel_runs(
    lines: gpd.GeoDataFrame,
    *,
    max_separation_m: float = 3.0,
    max_angle_deg: float = 10.0,
    min_length_m: float = 5.0,
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
    if not (max_separation_m >= 0 and 0 <= max_angle_deg <= 90 and min_length_m >= 0):
        message = (
            "expected max_separation_m >= 0, max_angle_deg from 0 to 90 and min_length_m >= 0, "
            f"got {max_separation_m}, {max_angle_deg} and {min_length_m}"
        )
        raise DomainError(message)
    ordered = sorted_lines(lines)
    segments = segments_of(ordered)
    pieces = beside(segments, reach_m=max_separation_m, angle_deg=max_angle_deg)
    limits = {"max_separation_m": max_separation_m, "max_angle_deg": max_angle_deg, "min_length_m": min_length_m}
    if not len(pieces.i):
        return stamp(empty_table("parallel_runs", lines.crs), find_parallel_runs, **limits)
    return stamp(_runs(ordered, segments, pieces, min_length_m), find_parallel_runs, **limits)


def _runs(lines: gpd.GeoDataFrame, segments: Segments, pieces: Beside, min_length_m: float) -> gpd.GeoDataFrame:
    line_a, line_b = segments.line[pieces.i], segments.line[pieces.j]
    order = np.lexsort((pieces.j, pieces.to_m, pieces.from_m, line_b, line_a))
    table = pd.DataFrame({
        "a": line_a[order], "b": line_b[order], "i": pieces.i[order],
        "from": pieces.from_m[order], "to": pieces.to_m[order],
        "sum": pieces.distance_sum[order], "min": pieces.distance_min[order],
    })  # fmt: skip
    table["piece"] = table["to"] - table["from"]
    new_pair = np.r_[True, (np.diff(table["a"]) != 0) | (np.diff(table["b"]) != 0)]
    reached = table.groupby(np.cumsum(new_pair))["to"].cummax().to_numpy()
    gap = np.r_[0.0, table["from"].to_numpy()[1:] - reached[:-1]]
    table["run"] = np.cumsum(new_pair | (gap > JOIN_GAP_M))
    runs = table.groupby("run").agg(
        a=("a", "first"), b=("b", "first"), first=("i", "first"), start=("from", "first"),
        pieces=("piece", "sum"), total=("sum", "sum"), least=("min", "min"),
    )  # fmt: skip
    last = table.sort_values(["run", "to"], kind="stable").groupby("run").last()
    runs["last"], runs["end"] = last["i"], last["to"]
    runs = runs[runs["end"] - runs["start"] >= min_length_m]
    number = runs.groupby(["a", "b"]).cumcount() + 1
    a, b = runs["a"].to_numpy(), runs["b"].to_numpy()
    ids = lines["line_id"].to_numpy(dtype=object)
    difference, low, high = depths_of(lines).difference_m(a, b)
    start, end = runs["start"].to_numpy(), runs["end"].to_numpy()
    return table_frame(
        "parallel_runs",
        {
            "run_id": [f"{ids[p]}~{ids[q]}~{n}" for p, q, n in zip(a, b, number, strict=True)],
            "line_a": ids[a],
            "line_b": ids[b],
            "length_m": end - start,
            "separation_mean_m": (runs["total"] / runs["pieces"]).to_numpy(),
            "separation_min_m": runs["least"].to_numpy(),
            "depth_difference_m": difference,
            "depth_difference_low_m": low,
            "depth_difference_high_m": high,
        },
        geometry=substrings(
            segments, first=runs["first"].to_numpy(), from_m=start, last=runs["last"].to_numpy(), to_m=end
        ),
        crs=lines.crs,
    )
