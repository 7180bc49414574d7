"""Where a line can be reached: terminations as recorded, completed and derived from structures."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.site.rules import first_matches
from corridor.site.tables import access_rules

__all__ = ["derive_terminations"]

_SHARED = ("building_entry", "pole")  # hold lines of several utilities
_COLUMNS = ("structure_id", "line_id", "at", "direct", "clamp", "isolated")


def derive_terminations(
    lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, given: pd.DataFrame, *, reach_m: float
) -> pd.DataFrame:
    """Return one row a line and structure that meet: the recorded ones first, completed by rule, then the derived ones.

    A line meets a structure of its own utility (or of none stated, or one that serves several) that stands within
    reach of it: ``at`` is start, end, or through. What a record states is never changed.

    Parameters
    ----------
    lines, structures : GeoDataFrame
        Read and repaired; lines with utility, asset and conductive.
    given : DataFrame
        Table ``terminations`` as recorded, references checked.
    reach_m : float
        How near counts as at the structure.

    Returns
    -------
    DataFrame
        Columns of the table, ``derived`` (bool; False also for a recorded row completed), and the recorded rows' own
        further columns.
    """
    met = _meetings(lines, structures, reach_m)
    rules = _access(met, lines, structures)
    recorded = given.drop(columns="geometry", errors="ignore").merge(
        rules.drop(columns="isolated").rename(columns={name: f"rule_{name}" for name in ("at", "direct", "clamp")}),
        on=["structure_id", "line_id"], how="left",
    )  # fmt: skip
    for name in ("at", "direct", "clamp"):
        completed = recorded.pop(f"rule_{name}")
        recorded[name] = recorded[name].where(recorded[name].notna(), completed)
    recorded = recorded.fillna({"direct": "unknown", "clamp": "unknown"}) if len(recorded) else recorded
    recorded["derived"] = False
    pairs = pd.MultiIndex.from_frame(recorded[["structure_id", "line_id"]].astype(object))
    fresh = rules[~pd.MultiIndex.from_frame(rules[["structure_id", "line_id"]]).isin(pairs)].assign(derived=True)
    both = [frame.astype(object) for frame in (recorded, fresh) if len(frame)]
    if not both:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in (*_COLUMNS, "derived")})
    result = pd.concat(both, ignore_index=True)
    result = result.where(result.notna(), None)
    return result.astype({"derived": bool})


def _meetings(lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, reach_m: float) -> pd.DataFrame:
    """Return the pairs within reach: positions of line and structure, and how they meet."""
    tree = shapely.STRtree(lines.geometry.array)
    at, near = tree.query(structures.geometry.array, predicate="dwithin", distance=reach_m)
    courses, points = lines.geometry.array[near], structures.geometry.array[at]
    starts, ends = shapely.get_point(courses, 0), shapely.get_point(courses, -1)
    from_start, from_end = shapely.distance(starts, points), shapely.distance(ends, points)
    end = np.where(from_start <= from_end, "start", "end")
    how = np.where(np.minimum(from_start, from_end) > reach_m, "through", end)
    met = pd.DataFrame({"structure": at, "line": near, "at": how.astype(object)})
    met["structure_id"] = structures["structure_id"].to_numpy()[at]
    met["line_id"] = lines["line_id"].to_numpy()[near]
    return met.sort_values(["structure_id", "line_id"], kind="stable", ignore_index=True)


def _access(met: pd.DataFrame, lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame) -> pd.DataFrame:
    line = pd.DataFrame(lines[["utility", "asset", "conductive"]]).iloc[met["line"]].reset_index(drop=True)
    structure = pd.DataFrame(structures[["utility", "kind"]]).iloc[met["structure"]].reset_index(drop=True)
    own = structure["utility"]
    fits = own.isna() | own.isin(["unknown", "other"]) | (own == line["utility"]) | structure["kind"].isin(_SHARED)
    direct, clamp = np.full(len(met), None, dtype=object), np.full(len(met), None, dtype=object)
    asked = {
        "kind": structure["kind"], "utility": line["utility"], "asset": line["asset"],
        "metal": line["conductive"] == "yes",
    }  # fmt: skip
    for rule, hit in first_matches(access_rules(), asked, np.ones(len(met), dtype=bool)):
        direct[hit], clamp[hit] = rule["direct"], rule["clamp"]
    table = met[["structure_id", "line_id", "at"]].assign(direct=direct, clamp=clamp, isolated=None)
    return table[fits.to_numpy()].reset_index(drop=True)
