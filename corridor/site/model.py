"""The site: every record of a place, read, mapped, repaired and accounted for."""

from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from corridor.frames import empty_table

__all__ = ["MapUsed", "Site", "Source"]


def _none_read() -> pd.DataFrame:
    return pd.DataFrame(empty_table("completeness").drop(columns="geometry"))


@dataclass(frozen=True)
class Source:
    """One input file: its path as given, SHA-256 of its bytes, date of last change (ISO 8601) and layers read."""

    path: str
    sha256: str
    modified: str
    layers: tuple[str, ...]


@dataclass(frozen=True)
class MapUsed:
    """The field map that records were read with: file as given, SHA-256 (None: made in code) and content."""

    path: str | None
    sha256: str | None
    content: dict[str, Any]


@dataclass(frozen=True)
class Site:
    """Records of one place in one projected CRS in metres.

    Every frame has the columns of its table in the data dictionary, in order, then ``src_`` columns. ``lines`` also has
    ``<column>_src`` for each mapped column, ``<column>_low`` and ``<column>_high`` for each real one that was filled
    or ranged (always for depth_m and diameter_mm), ``assumed`` (bool) and ``assumed_columns`` (text).
    ``accounting`` has a row per source layer: layer, features_in, used, repaired, set_aside
    (features_in = used + set_aside; repaired counts among used). ``fieldmap`` is None where none was given.
    ``completeness`` is the table of that name; it has no rows for a site that wasn't read from files.
    """

    lines: gpd.GeoDataFrame
    structures: gpd.GeoDataFrame
    terminations: pd.DataFrame
    bonds: gpd.GeoDataFrame
    grounds: gpd.GeoDataFrame
    soil: gpd.GeoDataFrame
    work_area: gpd.GeoDataFrame
    surfaces: gpd.GeoDataFrame
    findings: gpd.GeoDataFrame
    accounting: pd.DataFrame
    sources: tuple[Source, ...]
    crs: CRS
    fieldmap: MapUsed | None = None
    completeness: pd.DataFrame = field(default_factory=_none_read)
