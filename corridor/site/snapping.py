"""Junction gaps: closed where small, told where not."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from corridor.settings import SiteSettings
from corridor.site.findings import Findings
from corridor.site.voltages import stated_volts, volts_apart

__all__ = ["snap_lines"]

_SAME_M = 1e-6  # ends this close are one point
_ROUNDING_M = 0.002  # moves up to here undo the rounding of coordinates and need no word
_AIM_COSINE = 0.5  # an end points at what lies within 60 degrees of its direction (engineering estimate)
_ENDS_AT = ("cable", "duct", "duct_bank")  # end at a structure by their nature


def snap_lines(
    lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, *, findings: Findings, settings: SiteSettings
) -> gpd.GeoDataFrame:
    """Move ends that almost meet on to each other, or on to the line they almost touch; tell wider gaps.

    Only lines of one utility (not ``unknown``) that their stated voltages don't keep apart, and only the two ends of a
    line move; a line shorter than twice the tolerance stays. Of ends that meet, the point where most lie already is
    kept, then that of the first line_id.

    Parameters
    ----------
    lines, structures : GeoDataFrame
        line_id, utility, asset and geometry, and points; not changed.
    findings : Findings
        ``snapped`` for each line moved, ``near_miss`` for each loose end that misses another course by up to
        ``near_miss_m``: it points at it, or faces one of its ends. A cable or duct that ends at a structure is not
        loose, and lines that merely lie side by side miss nothing.
    settings : SiteSettings
        ``snap_m``, ``near_miss_m`` and ``structure_reach_m``.

    Returns
    -------
    GeoDataFrame
        A copy with the ends moved.
    """
    lines = lines.copy()
    if len(lines) < 2:
        return lines
    ends = _Ends(lines)
    target = ends.gathered(settings.snap_m)
    target, loose = ends.teed(target, settings)
    far = np.hypot(*(target - ends.points).T).reshape(-1, 2).max(axis=1)
    if (far > _SAME_M).any():
        lines = ends.rebuilt(lines, target)
        rows = far > _ROUNDING_M
        told = [f"an end lay {gap:.3f} m beside the junction" for gap in far[rows]]
        findings.add_rows("snapped", lines, told, action="repaired: end moved on to the junction", at=rows)
    loose = loose[~_held(lines, structures, ends=ends, end=loose["end"].to_numpy(), reach_m=settings.structure_reach_m)]
    _tell_near_misses(lines, ends, target, loose=loose, settings=settings, findings=findings)
    return lines


class _Ends:
    """The ends of all lines: end 2i is the start of line i, end 2i + 1 its end."""

    def __init__(self, lines: gpd.GeoDataFrame) -> None:
        self.courses = lines.geometry.to_numpy()
        self.line_ids = lines["line_id"].to_numpy(dtype=object)
        first, last = shapely.get_point(self.courses, 0), shapely.get_point(self.courses, -1)
        self.points = shapely.get_coordinates(np.stack([first, last], axis=1).ravel())
        inner = np.stack([shapely.get_point(self.courses, 1), shapely.get_point(self.courses, -2)], axis=1)
        outward = self.points - shapely.get_coordinates(inner.ravel())
        self.outward = outward / np.maximum(np.hypot(*outward.T), _SAME_M)[:, None]  # unit vectors
        self.line = np.repeat(np.arange(len(lines)), 2)
        codes = pd.factorize(lines["utility"].where(lines["utility"] != "unknown"))[0]
        self.utility = codes[self.line]
        self.volts = stated_volts(lines)[self.line]
        self.length = np.repeat(shapely.length(self.courses), 2)
        # the order of ids as text decides ties, so that the order of the records doesn't
        self.rank = np.empty(len(lines), dtype=np.int64)
        self.rank[np.argsort(self.line_ids.astype(str), kind="stable")] = np.arange(len(lines))

    def groups(self, reach_m: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return a group for each end, of those that meet within reach one by one, and which ends meet another line's.

        Ends that meet are of one utility and of voltages that may be one. What lies in one point counts once: thousands
        of ends there make no millions of pairs.
        """
        volts = np.where(np.isnan(self.volts), -1.0, self.volts)
        keys = np.column_stack((self.points, self.utility, volts))
        _, first, stack = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        stack = stack.ravel()
        lowest, highest = np.full(len(first), len(self.line)), np.full(len(first), -1)
        np.minimum.at(lowest, stack, self.line)
        np.maximum.at(highest, stack, self.line)
        several = lowest != highest  # lines that end here; a ring's two ends are one line
        shapes = np.asarray(shapely.points(self.points[first]), dtype=object)
        a, b = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=reach_m)
        one, other = first[a], first[b]
        keep = (a < b) & (self.utility[one] == self.utility[other]) & ~volts_apart(self.volts[one], self.volts[other])
        keep &= (lowest[a] != lowest[b]) | several[a] | several[b]
        keep &= np.hypot(*(self.points[one] - self.points[other]).T) <= reach_m
        a, b = a[keep], b[keep]
        _, group = connected_components(
            coo_array((np.ones(len(a)), (a, b)), shape=(len(first), len(first))), directed=False
        )
        meets = several.copy()
        meets[np.concatenate([a, b])] = True
        return group[stack].astype(np.int64), np.flatnonzero(meets[stack] & (self.utility >= 0))

    def gathered(self, snap_m: float) -> NDArray[np.float64]:
        """Return where each end goes so that ends that almost meet do; shape (ends, 2)."""
        target = self.points.copy()
        group, met = self.groups(snap_m)
        if not len(met):
            return target
        place = np.unique(np.round(self.points[met], 6), axis=0, return_inverse=True)[1].ravel()
        votes = np.bincount(place)[place]
        order = np.lexsort((met % 2, self.rank[self.line[met]], -votes, group[met]))
        leaders = met[order[np.unique(group[met][order], return_index=True)[1]]]
        lead = np.zeros(group.max() + 1, dtype=np.int64)
        lead[group[leaders]] = leaders
        goal = self.points[lead[group[met]]]
        # a chain of ends must not drag one further than the tolerance
        near = (np.hypot(*(goal - self.points[met]).T) <= snap_m) & (self.length[met] > 2.0 * snap_m)
        target[met[near]] = goal[near]
        return target

    def teed(self, target: NDArray[np.float64], settings: SiteSettings) -> tuple[NDArray[np.float64], pd.DataFrame]:
        """Project ends that almost touch another line's course on to it.

        Returns the targets, and the ends that seem to miss another course by up to near_miss_m: end, line, gap_m.
        """
        shapes = np.asarray(shapely.points(target), dtype=object)
        end, line = shapely.STRtree(self.courses).query(shapes, predicate="dwithin", distance=settings.near_miss_m)
        own = self.utility[2 * line]
        keep = (self.utility[end] == own) & (own >= 0) & (self.line[end] != line)
        keep &= ~volts_apart(self.volts[end], self.volts[2 * line])
        end, line = end[keep], line[keep]
        course, point = self.courses[line], shapes[end]
        gap = shapely.distance(course, point)
        foot = shapely.get_coordinates(shapely.line_interpolate_point(course, shapely.line_locate_point(course, point)))
        tips = self.points.reshape(-1, 2, 2)[line]
        to_tip = np.hypot(*(tips - foot[:, None, :]).transpose(2, 0, 1))
        inner = (to_tip > settings.snap_m).all(axis=1)
        meant = self._aimed(end, foot - target[end], settings.near_miss_m)
        meant |= ~inner & self._facing(end, 2 * line + to_tip.argmin(axis=1))
        found = pd.DataFrame({"end": end, "line": line, "gap_m": gap, "rank": self.rank[line], "inner": inner})
        found["x"], found["y"], found["meant"] = foot[:, 0], foot[:, 1], meant
        found = found.sort_values(["end", "gap_m", "rank"], kind="stable")
        close = found[found["inner"] & (found["gap_m"] <= settings.snap_m)].drop_duplicates("end")
        close = close[self.length[close["end"]] > 2.0 * settings.snap_m]
        target = target.copy()
        target[close["end"]] = close[["x", "y"]].to_numpy()
        joined = set(found.loc[found["gap_m"] <= settings.snap_m, "end"])
        loose = found[~found["end"].isin(joined) & found["meant"]].drop_duplicates("end")
        return target, loose[["end", "line", "gap_m"]].reset_index(drop=True)

    def _aimed(self, end: NDArray[np.int64], way: NDArray[np.float64], reach_m: float) -> NDArray[np.bool_]:
        """Tell which ends point at a place, or would meet its course within reach if they went on."""
        gap = np.hypot(*way.T)
        ahead = (way * self.outward[end]).sum(axis=1)
        return np.asarray(ahead >= gap * np.minimum(_AIM_COSINE, gap / reach_m))

    def _facing(self, end: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell which ends face each other, as those of a line cut in two and shifted do."""
        return np.asarray((self.outward[end] * self.outward[other]).sum(axis=1) <= -_AIM_COSINE)

    def rebuilt(self, lines: gpd.GeoDataFrame, target: NDArray[np.float64]) -> gpd.GeoDataFrame:
        """Return the lines with their ends at the targets."""
        changed = (np.abs(target - self.points).max(axis=1) > _SAME_M).reshape(-1, 2).any(axis=1)
        shapes: Any = self.courses.copy()
        coordinates, index = shapely.get_coordinates(shapes[changed], return_index=True)
        new = target.reshape(-1, 2, 2)[changed]
        first = np.unique(index, return_index=True)[1]
        last = np.append(first[1:], len(index)) - 1
        coordinates[first], coordinates[last] = new[:, 0], new[:, 1]
        shapes[changed] = shapely.linestrings(coordinates, indices=index)
        return lines.set_geometry(gpd.GeoSeries(shapes, index=lines.index, crs=lines.crs))


def _held(
    lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, *, ends: _Ends, end: NDArray[np.int64], reach_m: float
) -> NDArray[np.bool_]:
    """Tell which ends are those of cables or ducts at a structure."""
    held = np.zeros(len(end), dtype=bool)
    if len(end) and len(structures):
        points = shapely.points(ends.points[end])
        near = shapely.STRtree(structures.geometry.array).query(points, predicate="dwithin", distance=reach_m)[0]
        held[near] = True
    return held & lines["asset"].isin(_ENDS_AT).to_numpy()[ends.line[end]]


def _tell_near_misses(
    lines: gpd.GeoDataFrame,
    ends: _Ends,
    target: NDArray[np.float64],
    *,
    loose: pd.DataFrame,
    settings: SiteSettings,
    findings: Findings,
) -> None:
    """Tell each loose end's nearest course of its utility, once a pair of lines that face each other."""
    if loose.empty:
        return
    end, line = loose["end"].to_numpy(), loose["line"].to_numpy()
    own = ends.line[end]
    low, high = np.minimum(own, line), np.maximum(own, line)
    # two loose ends that face each other are one gap
    gaps = loose["gap_m"].round(6).to_numpy()
    once = ~pd.DataFrame({"low": low, "high": high, "gap": gaps}).duplicated().to_numpy()
    rows = lines.iloc[own[once]].copy()
    rows["geometry"] = gpd.GeoSeries(shapely.points(target[end[once]]), index=rows.index, crs=lines.crs)
    told = [
        f"an end stops {gap:.2f} m from {other}, more than {settings.snap_m:g} m: a gap or not, the record doesn't say"
        for gap, other in zip(loose["gap_m"].to_numpy()[once], ends.line_ids[line[once]], strict=True)
    ]
    findings.add_rows("near_miss", rows, told, action="used: not joined; survey the place or correct the record")
