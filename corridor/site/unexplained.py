"""Structures that no recorded line explains: likely unrecorded lines."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from corridor.dictionary import GONE
from corridor.settings import SiteSettings
from corridor.site.findings import Findings

__all__ = ["tell_unexplained", "unexplained_structures"]

_WATER = ("water", "reclaimed_water", "fire_water")
_DRAINS = ("sewer", "storm_drain")
# What a kind serves where its utility isn't stated, and what serves it beside its own (common practice). A pole holds
# overhead lines, and what is other or unknown may need none: they aren't looked at.
_SERVES: dict[str, tuple[str, ...]] = {
    "hydrant": _WATER, "curb_stop": (*_WATER, "gas"), "catch_basin": _DRAINS, "cleanout": _DRAINS,
    "luminaire": ("lighting", "electricity"), "transformer": ("electricity",), "regulator": ("gas",),
    "substation": ("electricity", "traction"), "rectifier": ("gas", "oil", "water", "heat"),
    "anode_bed": ("gas", "oil", "water", "heat"), "test_station": ("gas", "oil", "water", "heat"),
    "valve": (), "manhole": (), "handhole": (), "vault": (), "chamber": (),
    "cabinet": (), "pedestal": (), "meter": (), "riser": (), "splice": (), "building_entry": (),
}  # fmt: skip
_OWN_NETWORK = (  # kinds that only lines of their own utility explain
    "hydrant", "curb_stop", "valve", "meter", "regulator", "catch_basin", "cleanout", "luminaire", "transformer",
    "manhole", "handhole", "chamber", "splice", "pedestal", "substation",
)  # fmt: skip
_COUSINS = {  # utilities whose lines stand in each other's structures, or are recorded as each other
    "sewer": _DRAINS, "storm_drain": _DRAINS, "water": _WATER, "reclaimed_water": _WATER, "fire_water": _WATER,
    "lighting": ("lighting", "electricity"), "traffic_signal": ("traffic_signal", "lighting", "electricity"),
    "traction": ("traction", "electricity"),
}  # fmt: skip


def unexplained_structures(
    lines: gpd.GeoDataFrame, structures: gpd.GeoDataFrame, terminations: pd.DataFrame, *, settings: SiteSettings
) -> gpd.GeoDataFrame:
    """Return the structures near which the records show no line that could have brought them there.

    A hydrant, valve, manhole or the like is explained by a line of its utility within reach (for water and drains, of a
    related one; for lighting, traffic signals and traction, of electricity too), by one of unknown utility, or by any
    where its own isn't known. A cabinet, vault, riser, rectifier or building entry is explained by any line. A line
    recorded as terminating there explains it at any distance; a proposed or removed one never does.

    Parameters
    ----------
    lines, structures : GeoDataFrame
        Tables of the site.
    terminations : DataFrame
        Recorded and derived.
    settings : SiteSettings
        ``explained_m``.

    Returns
    -------
    GeoDataFrame
        Rows of ``structures``, with ``meant`` (text): the utilities that would explain it; empty where any would.
    """
    asked = structures[structures["kind"].isin(list(_SERVES)) & structures.geometry.notna()].copy()
    meant = [_meant(kind, utility) for kind, utility in zip(asked["kind"], asked["utility"], strict=True)]
    asked["meant"] = [" or ".join(words) for words in meant]
    there = lines[~lines["status"].isin(GONE)]
    explained = asked["structure_id"].isin(
        terminations.loc[terminations["line_id"].isin(set(there["line_id"])), "structure_id"]
    ).to_numpy(copy=True)  # fmt: skip
    if len(there) and len(asked):
        shapes: Any = there.geometry.to_numpy()
        point, line = shapely.STRtree(shapes).query(
            asked.geometry.to_numpy(), predicate="dwithin", distance=settings.explained_m
        )
        utility = there["utility"].to_numpy(dtype=object)
        fits = [
            not meant[p] or utility[k] == "unknown" or utility[k] in meant[p]
            for p, k in zip(point.tolist(), line.tolist(), strict=True)
        ]
        explained[point[np.array(fits, dtype=bool)]] = True
    return asked[~explained]


def tell_unexplained(unexplained: gpd.GeoDataFrame, findings: Findings, *, settings: SiteSettings) -> None:
    """Add a finding ``unexplained_structure`` for each row of ``unexplained_structures``."""
    told = [
        f"{kind}: no line{' of ' + meant if meant else ''} within {settings.explained_m:g} m in these records"
        for kind, meant in zip(unexplained["kind"], unexplained["meant"], strict=True)
    ]
    action = "used: a line that no record shows likely lies there; record it, or say what stands there"
    findings.add_rows("unexplained_structure", unexplained, told, action=action)


def _meant(kind: str, utility: Any) -> tuple[str, ...]:
    """Return the utilities that explain a structure; none: any does."""
    if kind not in _OWN_NETWORK:
        return ()
    if utility in (None, "unknown", "other") or pd.isna(utility):
        return _SERVES[kind]
    return _COUSINS.get(utility, (utility,))
