"""What a site doesn't have, said once and plainly."""

import geopandas as gpd

from corridor.settings import SoilSettings
from corridor.site.findings import Findings

__all__ = ["MISSING_CODES", "tell_missing"]

_TABLES = {
    "structures": ("no_structures", "no structures: nowhere to clip on or clamp, induction only",
                   "used: add a structures layer for direct connection and clamp"),
    "bonds": ("no_bonds", "no bond data: no record is not no bond", "used: nothing is called unbonded"),
    "grounds": ("no_grounds", "no ground data: grounds put by rule at service entrances, transformers and cabinets",
                "used: solved with and without them"),
    "soil": ("no_soil",
             "no soil data: {:g} ohm m, range {:g} to {:g} (from memory: IEEE Std 80, NBS Technologic Paper 108)",
             "used: solved over the range"),
    "work_area": ("no_work_area", "no work area: everything is in scope", "used: add a work_area layer for a plan"),
}  # fmt: skip


MISSING_CODES = (*(code for code, _, _ in _TABLES.values()), "no_depth")
"""Codes of the findings that say what a site doesn't have."""


def tell_missing(present: set[str], lines: gpd.GeoDataFrame, *, soil: SoilSettings, findings: Findings) -> None:
    """Add a finding for each table without features, and one where no line states its depth.

    Parameters
    ----------
    present : set of str
        Tables of the dictionary that have features.
    lines : GeoDataFrame
        Filled, with ``depth_m_src``.
    soil : SoilSettings
        What stands in for a soil layer.
    findings : Findings
        Collector.
    """
    for name, (code, message, action) in _TABLES.items():
        if name not in present:
            told = message.format(soil.resistivity_ohm_m, soil.low_ohm_m, soil.high_ohm_m)
            findings.add(code, told, action=action)
    if len(lines) and (lines["depth_m_src"] == "default").all():
        told = "no depth data: every depth is a default with a range"
        findings.add("no_depth", told, action="used: everything that rests on depth says so")
