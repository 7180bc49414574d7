"""Result layers as GeoJSON, for exchange with what doesn't read GeoPackage."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely

from corridor.errors import OutputError

__all__ = ["write_geojson"]

_LONGITUDE_LATITUDE = "EPSG:4326"  # RFC 7946 knows no other
_RECEIPT = "receipt"
_DEGREE_GRID = 1e-8  # about a millimetre


def write_geojson(path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write all rows of all tables as one FeatureCollection; the built-in writer for the suffix ``geojson``.

    Each feature names its table in ``layer``. Coordinates are longitude and latitude (RFC 7946, section 4); the
    metadata stand beside the features.

    Parameters
    ----------
    path : Path
        A file that doesn't exist yet.
    tables : mapping of str to GeoDataFrame or DataFrame
        Layers by name, with a CRS; a table without geometry becomes features without one.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If the file can't be written.
    """
    features: list[dict[str, Any]] = []
    for name, table in tables.items():
        spatial = isinstance(table, gpd.GeoDataFrame)
        placed = table if spatial else gpd.GeoDataFrame(table, geometry=[None] * len(table), crs=_LONGITUDE_LATITUDE)
        frame = placed.to_crs(_LONGITUDE_LATITUDE)
        frame = frame.set_geometry(shapely.set_precision(frame.geometry.to_numpy(), _DEGREE_GRID, mode="pointwise"))
        for feature in json.loads(frame.to_json(drop_id=True, na="null"))["features"]:
            features.append({**feature, "properties": {"layer": name, **feature["properties"]}})
    collection = {"type": "FeatureCollection", **_members(metadata), "features": features}
    try:
        path.write_text(json.dumps(collection, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as error:
        message = f"can't write {path}: {error.strerror or error}"
        raise OutputError(message) from error


def _members(metadata: Mapping[str, str]) -> dict[str, Any]:
    """Return the metadata as members of the collection: the receipt, JSON already, as the object it is."""
    return {key: json.loads(text) if key == _RECEIPT else text for key, text in metadata.items()}
