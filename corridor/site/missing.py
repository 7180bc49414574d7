"""What a site doesn't have, said once and plainly."""

import geopandas as gpd

from corridor.site.findings import Findings

__all__ = ["tell_missing"]

_TABLES = {
    "structures": ("no_structures", "no structures: nowhere to clip on or clamp, induction only",
                   "used: add a structures layer for direct connection and clamp"),
    "bonds": ("no_bonds", "no bond data: no record is not no bond", "used: nothing is called unbonded"),
    "grounds": ("no_grounds", "no ground data: grounds put by rule at service entrances, transformers and cabinets",
                "used: solved with and without them"),
    "soil": ("no_soil",
             "no soil data: 100 ohm m, range 20 to 1000 (from memory: IEEE Std 80 and NBS Technologic Paper 108)",
             "used: solved over the range"),
    "work_area": ("no_work_area", "no work area: everything is in scope", "used: add a work_area layer for a plan"),
}  # fmt: skip


def tell_missing(present: set[str], lines: gpd.GeoDataFrame, findings: Findings) -> None:
    """Add a finding for each table without features, and one where no line states its depth.

    Parameters
    ----------
    present : set of str
        Tables of the dictionary that have features.
    lines : GeoDataFrame
        Filled, with ``depth_m_src``.
    findings : Findings
        Collector.
    """
    for name, (code, message, action) in _TABLES.items():
        if name not in present:
            findings.add(code, message, action=action)
    if len(lines) and (lines["depth_m_src"] == "default").all():
        told = "no depth data: every depth is a default with a range"
        findings.add("no_depth", told, action="used: everything that rests on depth says so")
