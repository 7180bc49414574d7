"""Result layers as GeoJSON, for exchange with what doesn't read GeoPackage."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from corridor.errors import OutputError

__all__ = ["write_geojson"]

_LONGITUDE_LATITUDE = "EPSG:4326"  # RFC 7946 knows no other
_RECEIPT = "receipt"
_DEGREE_GRID = 1e-8  # about a millimetre


def write_geojson(path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write all rows of all tables as one FeatureCollection; the built-in writer for the suffix ``geojson``.

    Each feature names its table in ``layer``. Coordinates are longitude and latitude (RFC 7946, section 4); a shape
    where there are none, and a number that isn't finite, become null. The metadata stand beside the features.

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
        shapes = shapely.set_precision(_finite_shapes(frame), _DEGREE_GRID, mode="pointwise")
        frame = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
        for feature in json.loads(frame.to_json(drop_id=True, na="null", default=_worded))["features"]:
            properties = {key: _finite(value) for key, value in feature["properties"].items()}
            features.append({**feature, "properties": {"layer": name, **properties}})
    collection = {"type": "FeatureCollection", **_members(metadata), "features": features}
    try:
        path.write_text(json.dumps(collection, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as error:
        message = f"can't write {path}: {error.strerror or error}"
        raise OutputError(message) from error


def _finite_shapes(frame: gpd.GeoDataFrame) -> Any:
    """Return the shapes, without those that lie where there is no longitude and latitude."""
    shapes = np.array(frame.geometry.to_numpy(), dtype=object)
    coordinates, index = shapely.get_coordinates(shapes, return_index=True)
    shapes[index[~np.isfinite(coordinates).all(axis=1)]] = None
    return shapes


def _finite(value: Any) -> Any:
    """Return a value as JSON knows it: no infinity."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _worded(value: Any) -> str:
    """Return what JSON has no form for as text: times as in ISO 8601."""
    return str(value.isoformat() if hasattr(value, "isoformat") else value)


def _members(metadata: Mapping[str, str]) -> dict[str, Any]:
    """Return the metadata as members of the collection: the receipt, JSON already, as the object it is."""
    return {key: json.loads(text) if key == _RECEIPT else text for key, text in metadata.items()}
