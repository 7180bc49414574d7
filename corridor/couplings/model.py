"""What the geometry room hands on: where tone can jump."""

from dataclasses import dataclass

import geopandas as gpd

__all__ = ["Couplings"]


@dataclass(frozen=True)
class Couplings:
    """Parallel runs, crossings and bonds of one site; columns as in the data dictionary."""

    parallel_runs: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    bonds_found: gpd.GeoDataFrame
