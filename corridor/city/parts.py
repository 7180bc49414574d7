"""What a folder of tiles is made of: names of its files, and frames that come back from them as they were."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

__all__ = ["FORMAT", "INDEX_FILE", "ROW", "SPREAD", "WHOLE", "part_file", "restored", "stored"]

FORMAT = "tiles of a site, 1"
INDEX_FILE = "tiles.json"
ROW = "site_row"  # a row's place in the whole table: tables are ordered by it again
SPREAD = ("lines", "structures", "terminations", "bonds", "grounds")  # tables with a part per tile
WHOLE = ("soil", "work_area", "surfaces", "findings", "completeness")  # tables in one file
_PLAIN = ("string", "empty", "boolean", "integer", "floating")


def part_file(folder: Path, name: str, number: int) -> Path:
    """Return the file of a tile's part of a table."""
    return folder / name / f"{number:06d}.parquet"


def stored(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame that a file can hold: values of one kind a column."""
    mixed = {}
    for name in frame.columns:
        if frame[name].dtype == object and name != "geometry":
            kind = pd.api.types.infer_dtype(frame[name], skipna=True)
            if kind not in _PLAIN:
                mixed[name] = frame[name].map(str, na_action="ignore")
            elif kind == "empty":
                mixed[name] = frame[name].astype("string")
    return frame.assign(**mixed)


def restored(table: Any, types: Mapping[str, str], crs: CRS) -> pd.DataFrame:
    """Return a table read from files (pyarrow's) as a frame, with the types that its columns had.

    A missing text is None again. Shapes are decoded here, and the CRS set: reading it from each file takes longer than
    the rest of a small tile.
    """
    shapes = shapely.from_wkb(table["geometry"].to_numpy()) if "geometry" in table.column_names else None
    plain = table.drop_columns([name for name in ("geometry", "bbox") if name in table.column_names])
    frame = plain.to_pandas(ignore_metadata=True)
    columns = {}
    for name in frame.columns:
        kind = types.get(str(name), str(frame[name].dtype))
        if kind == "object":
            values = np.empty(len(frame), dtype=object)
            values[:] = table[str(name)].to_pylist()
            columns[name] = pd.Series(values, dtype=object)
        else:
            columns[name] = frame[name].astype(kind)
    data = pd.DataFrame(columns, index=frame.index)
    return data if shapes is None else gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=crs), crs=crs)
