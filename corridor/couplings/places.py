"""Where conductors meet one another, meet structures, and are parted by isolating joints."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.couplings.bulk import uncollected
from corridor.couplings.segments import ends_of
from corridor.dictionary import GONE
from corridor.site.model import Site
from corridor.site.voltages import stated_volts, volts_apart

__all__ = ["conducts", "isolating_places", "lines_at", "meetings"]

CONTAINERS = ("duct", "duct_bank", "casing")  # around a conductor, kept apart from it
JOINT_REACH_M = 0.5  # an isolating joint belongs to what happens on its line this near


def conducts(lines: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Tell which lines carry tone: conductive, and neither proposed nor removed; shape (lines,)."""
    return ((lines["conductive"] == "yes") & ~lines["status"].isin(GONE)).to_numpy(dtype=bool)


def lines_at(lines: gpd.GeoDataFrame, points: NDArray[Any], *, reach_m: float) -> pd.DataFrame:
    """Find the lines within reach of points.

    Parameters
    ----------
    lines : GeoDataFrame
        LineStrings.
    points : ndarray of Point, shape (k,)
    reach_m : float, m
        Largest plan distance; a line with an end within reach is at the point with that end.

    Returns
    -------
    DataFrame
        A row per point and line, in that order: point, line (rows), measure_m along the line, and end (whether it is
        one of the line's ends).
    """
    shapes = lines.geometry.to_numpy()
    point, line = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=reach_m)
    order = np.lexsort((line, point))
    point, line = point[order], line[order]
    length = shapely.length(shapes[line])
    ends, x, y = ends_of(lines), shapely.get_x(points), shapely.get_y(points)
    to_start, to_end = (np.sqrt((x[point] - ends[line, k]) ** 2 + (y[point] - ends[line, k + 1]) ** 2) for k in (0, 2))
    along = shapely.line_locate_point(shapes[line], points[point])
    end = np.minimum(to_start, to_end) <= reach_m
    measure = np.where(end, np.where(to_start <= to_end, 0.0, length), along)
    return pd.DataFrame({"point": point, "line": line, "measure_m": measure, "end": end})


def meetings(lines: gpd.GeoDataFrame, *, snap_m: float) -> pd.DataFrame:
    """Find where the ends of conductors of one utility meet each other, or the inside of another line (a tee).

    A container (duct, duct bank, casing) meets containers only: the conductor in it lies apart. Lines whose stated
    voltages differ by more than a factor of two don't meet: a transformer stands between them.

    Returns
    -------
    DataFrame
        line_a, measure_a_m, line_b, measure_b_m: rows of the frame and measures along the lines; line_a is there with
        an end, two ends meet once.
    """
    rows = np.flatnonzero(conducts(lines))
    part = lines.iloc[rows]
    shapes = part.geometry.to_numpy()
    both = ends_of(part)
    with uncollected():
        ends = np.concatenate([shapely.points(both[:, :2]), shapely.points(both[:, 2:])])
    found = lines_at(part, ends, reach_m=snap_m)
    count = len(rows)
    a, at_last = found["point"].to_numpy() % max(count, 1), found["point"].to_numpy() >= count
    b = found["line"].to_numpy()
    measure_a = np.where(at_last, shapely.length(shapes[a]), 0.0)
    kind = (part["utility"].astype(str) + part["asset"].isin(CONTAINERS).astype(str)).to_numpy(dtype=object)
    end = found["end"].to_numpy()
    # an end finds itself; two ends find each other: the first line's sight of the second is kept
    volts = stated_volts(part)
    keep = (kind[a] == kind[b]) & (a != b) & (~end | (a < b)) & ~volts_apart(volts[a], volts[b])
    pairs = pd.DataFrame({
        "line_a": rows[a], "measure_a_m": measure_a, "line_b": rows[b], "measure_b_m": found["measure_m"],
    })[keep]  # fmt: skip
    closed = np.flatnonzero(shapely.distance(ends[:count], ends[count:]) <= snap_m)
    rings = pd.DataFrame({"line_a": rows[closed], "measure_a_m": 0.0, "line_b": rows[closed]})
    rings["measure_b_m"] = shapely.length(shapes[closed])
    pairs = pd.concat([part for part in (pairs, rings) if len(part)] or [pairs], ignore_index=True)
    return pairs.drop_duplicates(ignore_index=True)


def isolating_places(site: Site) -> pd.DataFrame:
    """Return the isolating joints that terminations state.

    Returns
    -------
    DataFrame
        structure_id, line_id, measure_m (at a line's end where one is within 0.5 m) and inside
        (whether the joint parts the line itself), a row per line and structure, in the order of the terminations.
    """
    stated = site.terminations[site.terminations["isolated"] == "yes"].drop_duplicates(["structure_id", "line_id"])
    line_row = pd.Series(np.arange(len(site.lines)), index=site.lines["line_id"].astype(str))
    structure_row = pd.Series(np.arange(len(site.structures)), index=site.structures["structure_id"].astype(str))
    line = stated["line_id"].map(line_row)
    structure = stated["structure_id"].map(structure_row)
    known = (line.notna() & structure.notna()).to_numpy()
    stated, rows = stated[known], line[known].to_numpy(dtype=np.int64)
    shapes = site.lines.geometry.to_numpy()[rows]
    points = site.structures.geometry.to_numpy()[structure[known].to_numpy(dtype=np.int64)]
    length, along = shapely.length(shapes), shapely.line_locate_point(shapes, points)
    at_start = (stated["at"] == "start").to_numpy() | (along <= JOINT_REACH_M)
    at_end = (stated["at"] == "end").to_numpy() | (along >= length - JOINT_REACH_M)
    at_end &= ~at_start | (along > length / 2)
    measure = np.where(at_end, length, np.where(at_start, 0.0, along))
    return pd.DataFrame({
        "structure_id": stated["structure_id"].to_numpy(),
        "line_id": site.lines["line_id"].astype(str).to_numpy(dtype=object)[rows],
        "measure_m": measure,
        "inside": ~(at_start | at_end),
    })  # fmt: skip
