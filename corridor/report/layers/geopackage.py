"""Result layers in one GeoPackage, byte-identical for identical input."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio

from corridor.dictionary import INPUT_TABLES, RESULT_TABLES, Table
from corridor.errors import OutputError
from corridor.report.layers.styles import STYLE_TABLE, style_table
from corridor.report.look.conventions import conventions_in

__all__ = ["GPKG_VERSION", "write_geopackage"]

GPKG_VERSION = "1.3"
_DATE_OPTION = "OGR_CURRENT_DATE"
_EPOCH = "1970-01-01T00:00:00.000Z"


def write_geopackage(path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write tables as the layers of a new GeoPackage; the built-in writer for the suffix ``gpkg``.

    Parameters
    ----------
    path : Path
        A file that doesn't exist yet.
    tables : mapping of str to GeoDataFrame or DataFrame
        Layers in the order in which they shall stand. A table of the data dictionary gets its geometry type.
    metadata : mapping of str to str
        Kept in the file's and every layer's metadata. ``date``, if there, is used as the date of the file
        (ISO 8601, UTC), so that the clock leaves no trace.

    Default styles of the layers that have one stand in the table ``layer_styles``.

    Raises
    ------
    OutputError
        If the file can't be written, or there is no table.
    """
    if not tables:
        message = f"expected at least one table to write to {path}, got none"
        raise OutputError(message)
    options: dict[str, Any] = {"dataset_options": {"VERSION": GPKG_VERSION}, "dataset_metadata": dict(metadata)}
    date = metadata.get("date", _EPOCH)
    styles = style_table(tables, date=date, chosen=conventions_in(metadata))
    with _fixed_date(date):
        for name, table in (dict(tables) | ({STYLE_TABLE: styles} if len(styles) else {})).items():
            try:
                _write_layer(path, name, table, metadata=metadata, **options)
            except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, OSError) as error:
                message = f"can't write layer {name} to {path}: {error}"
                raise OutputError(message) from error
            options = {}


def _write_layer(path: Path, name: str, table: pd.DataFrame, *, metadata: Mapping[str, str], **options: Any) -> None:
    described = RESULT_TABLES.get(name) or INPUT_TABLES.get(name)
    words = f"One row is {described.row}." if described else f"Table {name}."
    description = f"{words} {metadata.get('caution', '')}".strip()
    spatial = isinstance(table, gpd.GeoDataFrame)
    pyogrio.write_dataframe(
        _apart(table),
        path,
        layer=name,
        driver="GPKG",
        geometry_type=_geometry_type(table, described) if spatial else None,
        layer_options={"DESCRIPTION": description, "IDENTIFIER": name}
        | ({"GEOMETRY_NAME": "geom"} if spatial else {})
        | ({"FID": "id"} if name == STYLE_TABLE else {}),
        layer_metadata=dict(metadata),
        **options,
    )


def _apart(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with numbers to columns that a GeoPackage takes for one, as only their letters' case differs."""
    names: list[str] = []
    taken: set[str] = set()
    for column in map(str, table.columns):
        name, number = column, 1
        while name.lower() in taken:
            number += 1
            name = f"{column}_{number}"
        names.append(name)
        taken.add(name.lower())
    return table if names == list(table.columns) else table.rename(columns=dict(zip(table.columns, names, strict=True)))


def _geometry_type(table: gpd.GeoDataFrame, described: Table | None) -> str:
    """One type for the layer: the described one if all rows keep to it (NULL fits any), else their common one."""
    kinds = set(table.geometry.geom_type.dropna())
    declared = described.geometry if described else "any"
    if declared not in ("any", "none") and kinds <= {declared}:
        return declared
    return str(kinds.pop()) if len(kinds) == 1 else "Unknown"


@contextmanager
def _fixed_date(date: str) -> Iterator[None]:
    before = pyogrio.get_gdal_config_option(_DATE_OPTION)
    pyogrio.set_gdal_config_options({_DATE_OPTION: date})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_DATE_OPTION: before})
