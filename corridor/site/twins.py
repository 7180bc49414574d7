"""Near-duplicates: two layers' records of what may be one line."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from corridor.dictionary import GONE
from corridor.settings import SiteSettings
from corridor.site.findings import FEATURE, Findings

__all__ = ["TWIN_COLUMNS", "near_duplicates", "tell_twins"]

TWIN_COLUMNS = (
    "line_a", "line_b", "limit_m", "length_m", "share", "start_a_m", "end_a_m", "start_b_m", "end_b_m",
)  # fmt: skip
_ROUND = ("duct", "duct_bank", "casing")  # lie round a line, so beside it by their nature
_BESIDE = ("tracer_wire",)


def near_duplicates(lines: gpd.GeoDataFrame, *, settings: SiteSettings) -> gpd.GeoDataFrame:
    """Find pairs of lines of one utility, from two layers, that lie side by side over most of the shorter one.

    Proposed and removed lines, lines of unknown utility, and what lies round or beside a line by its nature (duct, duct
    bank, casing, tracer wire, against anything of another asset) are no duplicates. What two ducts have beside each
    other says the same as what two pipes have.

    Parameters
    ----------
    lines : GeoDataFrame
        Table ``lines`` with the source of its features; without one there are no layers and no pairs.
    settings : SiteSettings
        ``twin_m``, in place of the sum of both ``horizontal_accuracy_m`` where one isn't stated, and ``twin_share``.

    Returns
    -------
    GeoDataFrame
        ``TWIN_COLUMNS``: line_a < line_b; limit_m, how near counts; length_m, of the shorter line; share of it within
        the limit; where the pair begins and ends along each line (m, at line_a's lower measure first); geometry, the
        shorter line.
    """
    if FEATURE[0] not in lines or lines[FEATURE[0]].nunique(dropna=False) < 2:  # of one layer
        return _table([], [], lines.crs)
    there = lines[~lines["status"].isin(GONE) & lines["utility"].ne("unknown") & (lines.geometry.length > 0)]
    if len(there) < 2:
        return _table([], [], lines.crs)
    there = there.iloc[np.argsort(there["line_id"].astype(str).to_numpy(), kind="stable")].reset_index(drop=True)
    shapes: Any = there.geometry.to_numpy()
    accuracy = there["horizontal_accuracy_m"].to_numpy(dtype=float)
    reach_m = max(settings.twin_m, 2.0 * float(np.nanmax(accuracy, initial=0.0)))
    first, second = _near(there, shapes, reach_m)
    fits = (first < second) & _alike(there, first, second)
    order = np.lexsort((second[fits], first[fits]))
    first, second = first[fits][order], second[fits][order]
    summed = accuracy[first] + accuracy[second]
    limits = np.where(np.isnan(summed), settings.twin_m, summed)
    names = there["line_id"].to_numpy(dtype=object)
    rows, courses = [], []
    for a, b, limit_m in zip(first.tolist(), second.tolist(), limits.tolist(), strict=True):
        short, long = (a, b) if shapes[a].length <= shapes[b].length else (b, a)
        if limit_m <= 0 or shapely.distance(shapes[a], shapes[b]) > limit_m:
            continue
        share = float(shapes[short].intersection(shapes[long].buffer(limit_m)).length / shapes[short].length)
        if share > settings.twin_share and _goes_along(shapes[short], shapes[long], settings.twin_share):
            places = _overlap(shapes[short], shapes[long], swapped=short != a)
            rows.append((names[a], names[b], limit_m, shapes[short].length, share, *places))
            courses.append(shapes[short])
    return _table(rows, courses, lines.crs)


def tell_twins(lines: gpd.GeoDataFrame, twins: gpd.GeoDataFrame, findings: Findings) -> None:
    """Add a finding for each near-duplicate, on its second line.

    Parameters
    ----------
    lines : GeoDataFrame
        With ``FEATURE`` columns.
    twins : GeoDataFrame
        As ``near_duplicates`` gives them.
    findings : Findings
        ``near_duplicate``.
    """
    if twins.empty:
        return
    rows = lines.set_index("line_id", drop=False)
    second = rows.loc[twins["line_b"]].reset_index(drop=True)
    told = [
        f"within {row.limit_m:g} m of {row.line_a} ({rows.at[row.line_a, FEATURE[0]]}), same utility, over "
        f"{row.share:.0%} of {row.length_m:.1f} m: one line recorded twice, or two lines"
        for row in twins.itertuples(index=False)
    ]
    action = "used: both, solved as one conductor and as two; say which, or take one out of the records"
    findings.add_rows("near_duplicate", second, told, action=action)


def _near(lines: gpd.GeoDataFrame, shapes: Any, reach_m: float) -> NDArray[np.int64]:
    """Return the pairs of lines of one utility within reach, both ways, shape (2, k); none where it has one layer."""
    several = lines.groupby("utility")[FEATURE[0]].transform("nunique").gt(1).to_numpy()
    found = [np.empty((2, 0), np.int64)]
    for rows in lines[several].groupby("utility").indices.values():
        own = np.flatnonzero(several)[rows]
        near = shapely.STRtree(shapes[own]).query(shapes[own], predicate="dwithin", distance=reach_m)
        found.append(own[near])
    return np.concatenate(found, axis=1)


def _alike(lines: gpd.GeoDataFrame, first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which pairs are of one utility, of two layers and of kinds that may be the same thing."""
    layer = lines[FEATURE[0]].to_numpy(dtype=object)
    utility = lines["utility"].to_numpy(dtype=object)
    asset = lines["asset"].to_numpy(dtype=object)
    apart = np.isin(asset.astype(str), (*_ROUND, *_BESIDE))
    fits = (layer[first] != layer[second]) & (utility[first] == utility[second])
    return np.asarray(fits & ((asset[first] == asset[second]) | ~(apart[first] | apart[second])), dtype=bool)


def _goes_along(short: Any, long: Any, share: float) -> bool:
    """Tell whether the shorter line goes along the longer one, not across it."""
    tips = shapely.line_locate_point(long, [shapely.get_point(short, 0), shapely.get_point(short, -1)])
    chord = shapely.distance(shapely.get_point(short, 0), shapely.get_point(short, -1))
    return bool(abs(tips[1] - tips[0]) >= share * chord and chord > 0)


def _overlap(short: Any, long: Any, *, swapped: bool) -> tuple[float, float, float, float]:
    """Return where the pair begins and ends, along line_a (start, end) and line_b, in line_a's direction."""
    tips = shapely.line_locate_point(long, [shapely.get_point(short, 0), shapely.get_point(short, -1)])
    own, other = (0.0, float(short.length)), (float(tips[0]), float(tips[1]))
    if not swapped:
        return (*own, *other)
    if other[0] <= other[1]:
        return (*other, *own)
    return (other[1], other[0], own[1], own[0])


def _table(rows: list[Any], shapes: list[Any], crs: CRS | None) -> gpd.GeoDataFrame:
    types: dict[str, Any] = dict.fromkeys(TWIN_COLUMNS[2:], float)
    data = pd.DataFrame(rows, columns=list(TWIN_COLUMNS)).astype({"line_a": object, "line_b": object} | types)
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=crs), crs=crs)
