"""Where lines end: at something the records know, nowhere, or where the extract was cut."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from corridor.dictionary import GONE
from corridor.settings import SiteSettings
from corridor.site.findings import FEATURE, Findings
from corridor.site.model import Site
from corridor.site.voltages import stated_volts, volts_apart

__all__ = ["CUT_STATES", "cut_ends", "line_ends", "tell_ends"]

CUT_STATES = ("edge", "cut")
"""States of ends that the extract of the records cut."""

_NEIGHBOURS = 8  # a cut is looked for through each loose end and so many of the nearest
_APART_M = 0.5  # closer ends give no direction
_ACROSS = 0.3  # sine of the smallest angle at which a line leaves through a cut
_BEYOND_M = 3.0  # nothing of the layer lies so near beyond a cut
_REACH_M = 250.0  # how far along a cut its ends are gathered
_SAME_M = 1e-3  # a finding this close to an end stands at it
_SEVERAL = 3  # so many ends make a straight line a cut,
_STRICT = 0.2  # and of the tolerance, this share where there are no more: three ends fall into line by chance, too


def line_ends(
    lines: gpd.GeoDataFrame,
    structures: gpd.GeoDataFrame,
    terminations: pd.DataFrame,
    grounds: gpd.GeoDataFrame,
    *,
    settings: SiteSettings,
) -> gpd.GeoDataFrame:
    """Say for each end of each line whether the records know how it ends.

    Parameters
    ----------
    lines, structures, grounds : GeoDataFrame
        Tables of the site; lines with the source of their features.
    terminations : DataFrame
        Recorded and derived.
    settings : SiteSettings
        ``snap_m`` (a junction), ``structure_reach_m`` (at a structure or ground) and ``cut_line_m``.

    Returns
    -------
    GeoDataFrame
        Two rows a line in the order of the lines (start, then end), proposed and removed lines left out: line_id,
        at (start, end), state, geometry (Point). ``held``: at a structure where the line terminates, a ground, or
        another line of its utility (or of none known). ``edge``: else, leaving through a side of the box round all
        lines of its layer. ``cut``: else, one of three or more ends of a layer's lines that leave through one straight
        line with nothing of the layer beyond it. ``unknown``: else. Lines without a source have no layer: no edge, no
        cut.
    """
    there = lines[~lines["status"].isin(GONE)].reset_index(drop=True)
    courses = there.geometry.to_numpy()
    points = np.stack([shapely.get_point(courses, 0), shapely.get_point(courses, -1)], axis=1).ravel()
    table = gpd.GeoDataFrame(
        {
            "line_id": np.repeat(there["line_id"].to_numpy(dtype=object), 2),
            "at": np.tile(np.array(["start", "end"], dtype=object), len(there)),
            "state": np.full(2 * len(there), "unknown", dtype=object),
        },
        geometry=gpd.GeoSeries(list(points), crs=lines.crs),
        crs=lines.crs,
    )
    if there.empty:
        return table
    reach_m = settings.structure_reach_m
    held = _joined(there, points, settings.snap_m) | _terminated(table, structures, terminations, reach_m)
    held |= _grounded(table, grounds, reach_m)
    table.loc[held, "state"] = "held"
    source = FEATURE[0]
    if source in there:
        layer = np.repeat(there[source].astype(object).to_numpy(), 2)
        outward = _outward(courses)
        for name in pd.unique(layer[~pd.isna(layer)]):
            own = courses[layer[::2] == name]
            loose = np.flatnonzero((layer == name) & ~held)
            ends = shapely.get_coordinates(points[loose])
            edge = _through_edge(ends, outward[loose], own, settings.cut_line_m)
            cut = _on_straight_cut(ends, outward[loose], own, settings.cut_line_m)
            table.loc[loose[cut], "state"] = "cut"
            table.loc[loose[edge], "state"] = "edge"
    return table


def cut_ends(site: Site, *, settings: SiteSettings) -> list[tuple[str, str]]:
    """Return line_id and at (start, end) of each end that the extract cut, in the order of the lines."""
    ends = line_ends(site.lines, site.structures, site.terminations, site.grounds, settings=settings)
    cut = ends[ends["state"].isin(CUT_STATES)]
    return list(zip(cut["line_id"].astype(str), cut["at"], strict=True))


def tell_ends(lines: gpd.GeoDataFrame, ends: gpd.GeoDataFrame, findings: Findings) -> None:
    """Add a finding for each end of a line that may conduct whose state the records don't know.

    An end at which a ``near_miss`` has been told already needs no second word.

    Parameters
    ----------
    lines : GeoDataFrame
        With ``FEATURE`` columns and conductive.
    ends : GeoDataFrame
        As ``line_ends`` gives them.
    findings : Findings
        ``end_cut`` or ``end_unknown``, at the place of the end.
    """
    rows = lines.set_index("line_id", drop=False)
    missing = np.array(findings.places("near_miss"), dtype=object)
    told_already = shapely.STRtree(missing).query(ends.geometry.to_numpy(), predicate="dwithin", distance=_SAME_M)[0]
    loose = ends[ends["state"].ne("held") & ends["line_id"].map(rows["conductive"]).ne("no")]
    loose = loose.drop(index=ends.index[np.unique(told_already)], errors="ignore")
    told = {
        "edge": "the {at} lies on the edge of its layer's extent with nothing there: cut by the extract",
        "cut": "the {at} is one of several along a straight line with nothing beyond: cut by the extract",
        "unknown": "the {at} has no structure, junction or termination: nobody knows how it goes on",
    }
    for states, code, action in (
        (CUT_STATES, "end_cut", "used: solved as going on and as ending; ask for records of a wider area"),
        (("unknown",), "end_unknown", "used: solved as ending; record what stands at the end or where the line goes"),
    ):
        mine = loose[loose["state"].isin(states)]
        if mine.empty:
            continue
        chosen = rows.loc[mine["line_id"]].reset_index(drop=True)
        chosen["geometry"] = gpd.GeoSeries(list(mine.geometry), index=chosen.index, crs=lines.crs)
        messages = [told[state].format(at=at) for state, at in zip(mine["state"], mine["at"], strict=True)]
        findings.add_rows(code, chosen, messages, action=action)


def _outward(courses: NDArray[np.object_]) -> NDArray[np.float64]:
    """Return unit vectors out of the ends of the lines, shape (2 n, 2)."""
    tips = np.stack([shapely.get_point(courses, 0), shapely.get_point(courses, -1)], axis=1).ravel()
    inner = np.stack([shapely.get_point(courses, 1), shapely.get_point(courses, -2)], axis=1).ravel()
    way = shapely.get_coordinates(tips) - shapely.get_coordinates(inner)
    return np.asarray(way / np.maximum(np.hypot(*way.T), 1e-9)[:, None])


def _joined(lines: gpd.GeoDataFrame, points: NDArray[np.object_], snap_m: float) -> NDArray[np.bool_]:
    """Tell which ends touch another line of their utility; a line whose ends meet holds itself."""
    courses = lines.geometry.to_numpy()
    end, other = shapely.STRtree(courses).query(points, predicate="dwithin", distance=snap_m)
    utility = lines["utility"].where(lines["utility"] != "unknown").to_numpy(dtype=object)
    mine, its = utility[end // 2], utility[other]
    volts = stated_volts(lines)
    fits = ((mine == its) | pd.isna(mine) | pd.isna(its)) & ~volts_apart(volts[end // 2], volts[other])
    held = np.zeros(len(points), dtype=bool)
    held[end[fits & (end // 2 != other)]] = True
    return held | np.repeat(shapely.distance(points[::2], points[1::2]) <= snap_m, 2)


def _terminated(
    ends: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, terminations: pd.DataFrame, reach_m: float
) -> NDArray[np.bool_]:
    """Tell which ends terminate at a structure: recorded so, or within reach of one where the line is."""
    if terminations.empty:
        return np.zeros(len(ends), dtype=bool)
    places = structures.drop_duplicates("structure_id").set_index("structure_id").geometry
    rows = terminations[["structure_id", "line_id", "at"]].astype(object)
    stated = set(zip(rows["line_id"], rows["at"], strict=True))
    held = np.array([key in stated for key in zip(ends["line_id"].tolist(), ends["at"].tolist(), strict=True)])
    numbered = pd.DataFrame({"end": np.arange(len(ends)), "line_id": ends["line_id"]}).merge(rows, on="line_id")
    numbered = numbered[numbered["structure_id"].isin(places.index)]
    if len(numbered):
        at = ends.geometry.to_numpy()[numbered["end"]]
        near = shapely.distance(at, places.loc[numbered["structure_id"]].to_numpy()) <= reach_m
        held[numbered["end"].to_numpy()[near]] = True
    return held


def _grounded(ends: gpd.GeoDataFrame, grounds: gpd.GeoDataFrame, reach_m: float) -> NDArray[np.bool_]:
    held = np.zeros(len(ends), dtype=bool)
    there = grounds[grounds.geometry.notna()]
    if len(there):
        end, ground = shapely.STRtree(there.geometry.to_numpy()).query(
            ends.geometry.to_numpy(), predicate="dwithin", distance=reach_m
        )
        own = ends["line_id"].to_numpy(dtype=object)[end] == there["line_id"].to_numpy(dtype=object)[ground]
        held[end[own]] = True
    return held


def _through_edge(
    ends: NDArray[np.float64], outward: NDArray[np.float64], courses: NDArray[np.object_], near_m: float
) -> NDArray[np.bool_]:
    """Tell which ends leave through a side of the box round all courses of their layer."""
    low, high = shapely.total_bounds(courses).reshape(2, 2)
    leaves = (ends - low <= near_m) & (outward <= -_ACROSS)
    leaves |= (high - ends <= near_m) & (outward >= _ACROSS)
    return np.asarray(leaves.any(axis=1))


def _on_straight_cut(
    ends: NDArray[np.float64], outward: NDArray[np.float64], courses: NDArray[np.object_], near_m: float
) -> NDArray[np.bool_]:
    """Tell which ends leave, with others, through one straight line that nothing of their layer passes."""
    cut = np.zeros(len(ends), dtype=bool)
    if len(ends) < _SEVERAL:
        return cut
    places, tree = KDTree(ends), shapely.STRtree(courses)
    near = np.asarray(places.query(ends, k=min(_NEIGHBOURS + 1, len(ends)))[1])
    first, second = np.repeat(np.arange(len(ends)), near.shape[1]), near.ravel()
    later = second > first
    first, second, across = _leaving(ends, outward, first[later], second[later])
    starts = np.searchsorted(first, np.arange(len(ends) + 1))
    for end in np.flatnonzero(np.diff(starts)):
        pairs = slice(starts[end], starts[end + 1])
        around = np.array(places.query_ball_point(ends[end], _REACH_M))
        beside = np.abs((ends[around] - ends[end]) @ across[pairs].T) <= near_m
        beside &= outward[around] @ across[pairs].T >= _ACROSS
        for other, way_out, on_it in zip(second[pairs], across[pairs], beside.T, strict=True):
            if (cut[end] and cut[other]) or np.count_nonzero(on_it) < _SEVERAL:
                continue
            for run in _runs(ends, around[on_it], way_out, tree):
                cut[run] |= len(run) > _SEVERAL or _sagitta(ends[run]) <= _STRICT * near_m
    return cut


def _leaving(
    ends: NDArray[np.float64], outward: NDArray[np.float64], first: NDArray[np.int64], second: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return the pairs of ends that leave through the line of both on one side, and the unit vectors out of it."""
    way = ends[second] - ends[first]
    apart_m = np.hypot(*way.T)
    apart = apart_m >= _APART_M
    first, second, way, apart_m = first[apart], second[apart], way[apart], apart_m[apart]
    across = np.stack([-way[:, 1], way[:, 0]], axis=1) / apart_m[:, None]
    out = np.einsum("ij,ij->i", outward[first], across)
    side = np.where(out > 0.0, 1.0, -1.0)
    also_out = np.einsum("ij,ij->i", outward[second], across)
    leaves = np.minimum(side * out, side * also_out) >= _ACROSS
    return first[leaves], second[leaves], (side[:, None] * across)[leaves]


def _runs(
    ends: NDArray[np.float64], members: NDArray[np.int64], across: NDArray[np.float64], tree: Any
) -> list[NDArray[np.int64]]:
    """Part the ends on a line where something lies beyond it between them; runs of several stay."""
    along = ends[members] @ np.array([across[1], -across[0]])
    members = members[np.argsort(along, kind="stable")]
    a, b = ends[members[:-1]], ends[members[1:]]
    low, high = 0.1 * across, _BEYOND_M * across
    strips: Any = shapely.polygons(np.stack([a + low, b + low, b + high, a + high], axis=1))
    passed = np.unique(tree.query(strips, predicate="intersects")[0])
    runs = np.split(members, passed + 1)
    return [run for run in runs if len(run) >= _SEVERAL]


def _sagitta(three: NDArray[np.float64]) -> float:
    """Return how far the middle one of three places lies beside the line of the others, m."""
    (x, y), (u, v) = three[2] - three[0], three[1] - three[0]
    return float(abs(x * v - y * u) / max(np.hypot(x, y), 1e-9))
