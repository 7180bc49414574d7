"""What lies in an area: recorded lines clipped to it, their parallel runs and crossings, and the graded stretches."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corridor.dictionary import GONE
from corridor.dictionary.shared import GRADES

__all__ = ["SHOWN", "Meets", "clipped", "graded", "meets_of", "within"]

SHOWN = ("readable", "pulled")


@dataclass(frozen=True)
class Meets:
    """What an area meets, clipped to it; each frame keeps its table's columns.

    ``stretches`` are rows of the strategy, with `graded`; empty where nothing was computed.
    """

    lines: gpd.GeoDataFrame
    runs: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    stretches: gpd.GeoDataFrame


def meets_of(
    lines: gpd.GeoDataFrame,
    runs: gpd.GeoDataFrame,
    crossings: gpd.GeoDataFrame,
    strategy: gpd.GeoDataFrame,
    *,
    area: BaseGeometry,
) -> Meets:
    """Return what an area meets of lines that are in the ground.

    Parameters
    ----------
    lines, runs, crossings, strategy : GeoDataFrame
        Tables of those names (``parallel_runs`` for the runs).
    area : Polygon or MultiPolygon
    """
    there = lines[~lines["status"].isin(GONE).to_numpy() & lines.geometry.notna().to_numpy()]
    known = set(there["line_id"])
    runs, crossings = (
        frame[(frame["line_a"].isin(known) & frame["line_b"].isin(known)).to_numpy()] for frame in (runs, crossings)
    )
    return Meets(clipped(there, area), clipped(runs, area), within(crossings, area), clipped(graded(strategy), area))


def clipped(frame: gpd.GeoDataFrame, area: BaseGeometry) -> gpd.GeoDataFrame:
    """Return the rows whose line has a length inside an area, cut to it, with ``length_in_m``, m."""
    shapes = frame.geometry.to_numpy()
    near = np.sort(shapely.STRtree(shapes).query(area, predicate="intersects"))
    shapely.prepare(area)
    whole = shapely.contains_properly(area, shapes[near])
    parts = shapely.force_2d(shapes[near])
    parts[~whole] = shapely.intersection(parts[~whole], area)
    length = shapely.length(parts)
    kept = length > 0
    found = frame.iloc[near[kept]].copy()
    found["length_in_m"] = length[kept]
    return found.set_geometry(gpd.GeoSeries(parts[kept], index=found.index, crs=frame.crs))


def within(points: gpd.GeoDataFrame, area: BaseGeometry) -> gpd.GeoDataFrame:
    """Return the rows whose point lies in an area or on its edge."""
    shapes = points.geometry.to_numpy()
    return points.iloc[np.sort(shapely.STRtree(shapes).query(area, predicate="intersects"))]


def graded(strategy: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the stretches that have both grades, with ``shown`` and ``shown_worst``: whether tone shows the line.

    It does where it is graded readable or pulled: then there is enough tone to follow.
    """
    stretches = strategy[(strategy["grade"].isin(GRADES) & strategy.geometry.notna()).to_numpy()]
    worst = stretches["grade_worst"].where(stretches["grade_worst"].isin(GRADES), stretches["grade"])
    return stretches.assign(shown=stretches["grade"].isin(SHOWN), shown_worst=worst.isin(SHOWN))
