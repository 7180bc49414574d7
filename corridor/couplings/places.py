"""Where conductors meet one another, meet structures, and are parted by isolating joints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from corridor.couplings.bulk import uncollected
from corridor.couplings.near import lines_near
from corridor.couplings.segments import ends_among
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
    points_m = np.column_stack((shapely.get_x(points), shapely.get_y(points)))
    return pd.DataFrame(vars(_at(_Courses.of(lines), points_m, reach_m=reach_m)))


@dataclass(frozen=True)
class _Courses:
    """Geometry of lines: as objects, as vertices with the row of each one's line, and by their ends."""

    shapes: NDArray[Any]
    xy_m: NDArray[np.float64]
    line: NDArray[np.int64]
    ends_m: NDArray[np.float64]

    @classmethod
    def of(cls, lines: gpd.GeoDataFrame) -> _Courses:
        shapes = lines.geometry.to_numpy()
        xy_m, line = shapely.get_coordinates(shapes, return_index=True)
        return cls(shapes, xy_m, line, ends_among(xy_m, line, lines=len(shapes)))


@dataclass(frozen=True)
class _At:
    """What ``lines_at`` returns, as arrays."""

    point: NDArray[np.int64]
    line: NDArray[np.int64]
    measure_m: NDArray[np.float64]
    end: NDArray[np.bool_]


def _at(courses: _Courses, points_m: NDArray[np.float64], *, reach_m: float) -> _At:
    point, line = lines_near(courses.xy_m, courses.line, points_m, reach_m=reach_m)
    (x, y), ends = points_m[point].T, courses.ends_m[line]
    to_start, to_end = (np.sqrt((x - ends[:, k]) ** 2 + (y - ends[:, k + 1]) ** 2) for k in (0, 2))
    end = np.minimum(to_start, to_end) <= reach_m
    measure_m = np.zeros(len(point))
    last, passing = np.flatnonzero(end & ~(to_start <= to_end)), np.flatnonzero(~end)
    measure_m[last] = shapely.length(courses.shapes[line[last]])
    with uncollected():
        places = shapely.points(points_m[point[passing]])
    measure_m[passing] = shapely.line_locate_point(courses.shapes[line[passing]], places)
    return _At(point, line, measure_m, end)


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
    part = lines if len(rows) == len(lines) else lines.iloc[rows]
    courses, count = _Courses.of(part), len(rows)
    starts_m, tips_m = courses.ends_m[:, :2], courses.ends_m[:, 2:]
    found = _at(courses, np.concatenate((starts_m, tips_m)), reach_m=snap_m)
    a, at_last, b = found.point % max(count, 1), found.point >= count, found.line
    utility, contains = pd.factorize(part["utility"])[0], part["asset"].isin(CONTAINERS).to_numpy(dtype=bool)
    # an end finds itself; two ends find each other: the first line's sight of the second is kept
    keep = (utility[a] == utility[b]) & (utility[a] >= 0) & (contains[a] == contains[b])
    volts = stated_volts(part)
    keep &= (a != b) & (~found.end | (a < b)) & ~volts_apart(volts[a], volts[b])
    a, at_last, b = a[keep], at_last[keep], b[keep]
    closed = np.flatnonzero(np.sqrt(((tips_m - starts_m) ** 2).sum(axis=1)) <= snap_m)
    pairs = pd.DataFrame({
        "line_a": rows[np.r_[a, closed]],
        "measure_a_m": np.r_[np.where(at_last, shapely.length(courses.shapes[a]), 0.0), np.zeros(len(closed))],
        "line_b": rows[np.r_[b, closed]],
        "measure_b_m": np.r_[found.measure_m[keep], shapely.length(courses.shapes[closed])],
    })  # fmt: skip
    return pairs.drop_duplicates(ignore_index=True)


def isolating_places(site: Site) -> pd.DataFrame:
    """Return the isolating joints that terminations state.

    Returns
    -------
    DataFrame
        structure_id, line_id, measure_m (at a line's end where one is within 0.5 m) and inside
        (whether the joint parts the line itself), a row per line and structure, in the order of the terminations.
    """
    isolated = site.terminations["isolated"] == "yes"
    if not isolated.any():
        kinds = {"structure_id": object, "line_id": object, "measure_m": float, "inside": bool}
        return pd.DataFrame({name: np.empty(0, kind) for name, kind in kinds.items()})
    stated = site.terminations[isolated].drop_duplicates(["structure_id", "line_id"])
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
