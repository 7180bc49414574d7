"""Ground electrodes: as recorded, and by rule where a line has none."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.dictionary import GONE
from corridor.site.findings import FEATURE, Findings
from corridor.site.tables import default_rules

__all__ = ["infer_grounds"]

# Structures that have an electrode by code practice, and the lines it is tied to, most likely first. Common practice.
_KINDS = ("building_entry", "transformer", "substation", "cabinet")
_UTILITIES = ("electricity", "lighting", "traffic_signal", "traction", "telecommunications")


def infer_grounds(
    lines: gpd.GeoDataFrame,
    structures: gpd.GeoDataFrame,
    terminations: pd.DataFrame,
    *,
    given: gpd.GeoDataFrame,
    findings: Findings,
) -> gpd.GeoDataFrame:
    """Return the recorded grounds, and one by rule at each service entrance, transformer, substation and cabinet.

    A structure gets none where a line that ends there has a recorded ground anywhere. One electrode a structure: it is
    put on one conductive line that ends there (electricity before the others, then the first id); bonds tie the others
    to it. A sheath bonded nowhere takes none, one bonded at one end only at the first of its structures.

    Parameters
    ----------
    lines, structures : GeoDataFrame
        Read and filled.
    terminations : DataFrame
        Recorded and derived.
    given : GeoDataFrame
        Table ``grounds`` as recorded, references checked.
    findings : Findings
        One finding says how many were put where.

    Returns
    -------
    GeoDataFrame
        Table ``grounds`` with ``resistance_low_ohm`` and ``resistance_high_ohm``; by rule: evidence inferred, at the
        line's end.
    """
    rule = default_rules("ground_ohm")[0]
    given = given.copy()
    silent = given["resistance_ohm"].isna()
    given["resistance_ohm"] = given["resistance_ohm"].astype(float).fillna(rule["value"])
    given["evidence"] = given["evidence"].where(given["evidence"].notna(), "recorded")
    given["resistance_low_ohm"] = given["resistance_ohm"].where(~silent, rule["low"])
    given["resistance_high_ohm"] = given["resistance_ohm"].where(~silent, rule["high"])
    chosen = _chosen(lines, structures, terminations, set(given["line_id"]))
    if chosen.empty:
        return given
    kinds = chosen["kind"].value_counts().sort_index()
    told = ", ".join(f"{count} at {kind}" for kind, count in kinds.items())
    findings.add(
        "inferred_grounds",
        f"{len(chosen)} grounds put by rule ({told}): {rule['value']:g} ohm, "
        f"range {rule['low']:g} to {rule['high']:g} ({rule['source']})",
        action="filled: solved with and without them",
    )
    ends = np.where(chosen["at"] == "start", 0, -1)
    courses = lines.set_index("line_id").geometry.loc[chosen["line_id"]].to_numpy()
    fresh = pd.DataFrame({
        "ground_id": "by_rule:" + chosen["structure_id"], "line_id": chosen["line_id"],
        "resistance_ohm": float(rule["value"]), "evidence": "inferred",
        "resistance_low_ohm": float(rule["low"]), "resistance_high_ohm": float(rule["high"]),
    })  # fmt: skip
    shapes = [*given.geometry, *shapely.get_point(courses, ends)]
    rows = [frame.astype(object) for frame in (given.drop(columns="geometry"), fresh) if len(frame)]
    data = pd.concat(rows, ignore_index=True)
    data = data.drop(columns=[name for name in FEATURE if name in data])
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=lines.crs))


def _chosen(
    lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, terminations: pd.DataFrame, grounded: set[str]
) -> pd.DataFrame:
    """Return a row a structure: structure_id, kind, line_id, at."""
    facts = lines[["line_id", "utility", "conductive", "status", "sheath_bonding"]]
    kinds = structures.loc[structures["kind"].isin(_KINDS), ["structure_id", "kind"]]
    met = terminations.loc[
        terminations["structure_id"].isin(kinds["structure_id"]), ["structure_id", "line_id", "at", "isolated"]
    ]
    if met.empty:
        return pd.DataFrame()
    met = met.astype(object).merge(facts, on="line_id").merge(kinds, on="structure_id")
    settled = met.loc[met["line_id"].isin(grounded), "structure_id"]
    fits = (
        met["at"].isin(["start", "end"])
        & met["utility"].isin(_UTILITIES)
        & (met["conductive"] == "yes")
        & ~met["status"].isin(GONE)
        & (met["isolated"] != "yes")
        & (met["sheath_bonding"] != "none")
        & ~met["structure_id"].isin(settled)
    )
    met = met[fits].sort_values("structure_id", kind="stable")
    met = met[(met["sheath_bonding"] != "one_end") | ~met.duplicated("line_id")]
    met = met.assign(rank=lambda m: m["utility"].map({name: i for i, name in enumerate(_UTILITIES)}))
    met = met.sort_values(["structure_id", "rank", "line_id"], kind="stable")
    return met.drop_duplicates("structure_id").reset_index(drop=True)
