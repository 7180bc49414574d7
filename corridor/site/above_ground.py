"""Lines that the records put on the surface or in the air: kept, and told that they are taken as buried."""

import geopandas as gpd

from corridor.site.findings import Findings

__all__ = ["tell_above_ground"]

_PLACES = {"onGroundSurface": "on the surface", "suspendedOrElevated": "in the air"}


def tell_above_ground(lines: gpd.GeoDataFrame, findings: Findings) -> None:
    """Add a finding for each line above ground.

    Parameters
    ----------
    lines : GeoDataFrame
        Read, with ``vertical_position`` and ``FEATURE`` columns.
    findings : Findings
        Collector.
    """
    if "vertical_position" not in lines:
        return
    above = lines[lines["vertical_position"].isin(list(_PLACES)).to_numpy()]
    told = [
        f"lies {_PLACES[place]} by the records; the solution takes it as buried at its depth"
        for place in above["vertical_position"]
    ]
    findings.add_rows(
        "above_ground",
        above,
        told,
        action="used: its tone and ties to the soil are not to be relied on; set status 'removed' to leave it out",
    )
