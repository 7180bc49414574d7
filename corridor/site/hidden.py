"""What the records hide, told in one go once everything is read."""

import geopandas as gpd
import pandas as pd

from corridor.settings import SiteSettings
from corridor.site.above_ground import tell_above_ground
from corridor.site.ends import line_ends, tell_ends
from corridor.site.findings import Findings
from corridor.site.twins import near_duplicates, tell_twins
from corridor.site.unexplained import tell_unexplained, unexplained_structures

__all__ = ["tell_hidden"]


def tell_hidden(
    lines: gpd.GeoDataFrame,
    structures: gpd.GeoDataFrame,
    terminations: pd.DataFrame,
    grounds: gpd.GeoDataFrame,
    *,
    findings: Findings,
    settings: SiteSettings,
) -> None:
    """Add the findings on loose ends, lines above ground, near-duplicates and structures that no line explains.

    Parameters
    ----------
    lines, structures, grounds : GeoDataFrame
        Read, repaired and filled, with ``FEATURE`` columns.
    terminations : DataFrame
        Recorded and derived.
    findings : Findings
        Collector.
    settings : SiteSettings
        Tolerances.
    """
    ends = line_ends(lines, structures, terminations, grounds, settings=settings)
    tell_ends(lines, ends, findings)
    tell_above_ground(lines, findings)
    tell_twins(lines, near_duplicates(lines, settings=settings), findings)
    tell_unexplained(
        unexplained_structures(lines, structures, terminations, settings=settings), findings, settings=settings
    )
