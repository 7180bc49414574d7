"""Writing scenes to files, with the generator's own count of what went in."""

import json
import warnings
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from benchmarks.fuzz.scene import Case, Row

__all__ = ["FORMATS", "write_file", "write_scene"]

FORMATS = ("gpkg", "shp", "geojson", "parquet", "fgb")


def write_scene(case: Case, kind: str, *, name: str = "records", crs: str | None = "same") -> list[Path]:
    """Write the scene of a case in one format, remember files, counts and shapes, and return the files."""
    stated = case.crs if crs == "same" else crs
    whole = kind == "gpkg"
    for layer, rows in case.scene.items():
        path = case.folder / (f"{name}.gpkg" if whole else f"{_file_name(layer)}.{kind}")
        write_file(path, rows, layer=layer, crs=stated)
        if path not in case.files:
            case.files.append(path)
        remember(case, path, path.stem if kind == "parquet" else layer, rows)
    return case.files


def _file_name(layer: str) -> str:
    return "".join(c if c.isalnum() or c in "_-" else "_" for c in layer)[:80] or "layer"


def remember(case: Case, path: Path, layer: str, rows: list[Row]) -> None:
    """Count what was written to a layer."""
    name = layer.partition("\0")[0]  # it ends there for the library that reads it
    key = f"{path.name}:{name}"
    case.written[key] = len(rows)
    if layer == "lines":
        case.shapes[key] = [row.get("geometry") for row in rows]


def write_file(path: Path, rows: list[Row], *, layer: str, crs: str | None) -> None:
    """Write rows as one layer of a file; its suffix says the format."""
    kind = path.suffix[1:]
    if kind == "geojson":
        _geojson(path, rows, layer=layer, crs=crs)
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame = _frame(rows, crs)
        if kind == "parquet":
            frame.to_parquet(path)
            return
        blank = bool(frame.geometry.isna().all())
        data: Any = pd.DataFrame(frame.drop(columns="geometry")) if blank else frame
        driver = {"gpkg": "GPKG", "shp": "ESRI Shapefile", "fgb": "FlatGeobuf"}[kind]
        if kind == "shp" and blank:
            path.unlink(missing_ok=True)
            path = path.with_suffix(".dbf")
        options: dict[str, Any] = {"encoding": "UTF-8"} if kind == "shp" else {}
        if kind == "fgb":
            options = {"SPATIAL_INDEX": "NO"}  # which puts rows in another order and takes none without a shape
        if kind == "gpkg":
            options = {"append": path.exists()} if not blank else {}
        pyogrio.write_dataframe(data, path, layer=layer, driver=driver, **options)


def _frame(rows: list[Row], crs: str | None) -> gpd.GeoDataFrame:
    data = pd.DataFrame([{k: v for k, v in row.items() if k != "geometry"} for row in rows])
    for column in data:  # what a column of one type can't hold becomes text
        kinds = {type(v) for v in data[column] if v is not None and v == v}  # noqa: PLR0124 - not NaN
        if len(kinds) > 1 and not kinds <= {int, float}:
            data[column] = [None if v is None else v if isinstance(v, str) else str(v) for v in data[column]]
    shapes = np.empty(len(rows), dtype=object)
    shapes[:] = [row.get("geometry") for row in rows]
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, index=data.index, crs=crs), crs=crs)


def _geojson(path: Path, rows: list[Row], *, layer: str, crs: str | None) -> None:
    features = []
    for row in rows:
        shape = row.get("geometry")
        geometry = None if shape is None else json.loads(shapely.to_geojson(shape)) if _plain(shape) else _loose(shape)
        properties = {k: v for k, v in row.items() if k != "geometry"}
        features.append({"type": "Feature", "properties": properties, "geometry": geometry})
    content: dict[str, Any] = {"type": "FeatureCollection", "name": layer, "features": features}
    if crs is not None:
        content["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{crs.rpartition(':')[2]}"}}
    path.write_text(json.dumps(content), encoding="utf-8")  # NaN and Infinity as they come


def _plain(shape: Any) -> bool:
    return bool(np.isfinite(shapely.get_coordinates(shape, include_z=bool(shape.has_z))).all())


def _loose(shape: Any) -> dict[str, Any]:
    """Return coordinates that no standard allows, as careless writers put them."""
    return {"type": "LineString", "coordinates": shapely.get_coordinates(shape).tolist()}
