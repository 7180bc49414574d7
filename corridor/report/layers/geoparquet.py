"""Result layers as GeoParquet 1.1: a folder, with one file a layer, since a file holds one table."""

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from corridor.dictionary import INPUT_TABLES, RESULT_TABLES
from corridor.errors import OutputError
from corridor.plugins import folder_writer

__all__ = ["GEOPARQUET_VERSION", "write_geoparquet"]

GEOPARQUET_VERSION = "1.1.0"
_PREFIX = "corridor:"  # of our entries in a file's metadata


@folder_writer(needs=("pyarrow",))
def write_geoparquet(path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write each table to a file of its own in a folder; the built-in writer for the suffix ``parquet``.

    Caution and receipt stand in each file's metadata, as ``corridor:caution`` and ``corridor:receipt``. A table that
    has no geometry by the data dictionary is a plain Parquet file.

    Parameters
    ----------
    path : Path
        An empty folder.
    tables : mapping of str to GeoDataFrame or DataFrame
        Layers by name.
    metadata : mapping of str to str
        Caution and receipt.

    Raises
    ------
    OutputError
        If pyarrow isn't installed, or a file can't be written.
    """
    try:
        from pyarrow import parquet  # noqa: PLC0415 - an extra: nothing else needs it
    except ImportError:
        message = f"expected pyarrow to write {path}, it isn't installed; pip install 'corridor[parquet]'"
        raise OutputError(message) from None
    own = {f"{_PREFIX}{key}": text for key, text in metadata.items()}
    for name, table in tables.items():
        held = io.BytesIO()
        frame = _typed(name, table)
        if isinstance(frame, gpd.GeoDataFrame):
            frame.to_parquet(held, index=False, schema_version=GEOPARQUET_VERSION)
        else:
            frame.to_parquet(held, index=False)
        arrow = parquet.read_table(io.BytesIO(held.getvalue()))
        arrow = arrow.replace_schema_metadata({**arrow.schema.metadata, **own})
        try:
            parquet.write_table(arrow, path / f"{name}.parquet")
        except OSError as error:
            message = f"can't write layer {name} to {path}: {error}"
            raise OutputError(message) from error


def _typed(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose columns of text are text even where every row is NULL, without a geometry it can't have."""
    described = RESULT_TABLES.get(name) or INPUT_TABLES.get(name)
    spatial = isinstance(table, gpd.GeoDataFrame)
    if spatial and described is not None and described.geometry == "none":
        table, spatial = pd.DataFrame(table.drop(columns=table.geometry.name)), False
    texts = [column for column in table if table[column].dtype == object]
    return table.assign(**{column: table[column].astype("string") for column in texts})
