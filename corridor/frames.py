"""GeoDataFrames at the public border: built from the dictionary, checked, rounded, stamped."""

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas.array import from_shapely
from pyproj import CRS

from corridor import __version__
from corridor.dictionary import INPUT_TABLES, RESULT_TABLES, Column, Table
from corridor.errors import CrsError

__all__ = ["CAUTION", "check_metric", "empty_table", "provenance", "rounded", "stamp", "table_frame"]

CAUTION = "Predictions from records, not marks. One-call first. Unrecorded lines may be anywhere."

_DTYPES = {"text": "object", "real": "float64", "integer": "Int64", "flag": "boolean"}


def check_metric(*frames: gpd.GeoDataFrame) -> None:
    """Refuse frames that don't share one projected CRS in metres.

    Raises
    ------
    CrsError
        If a CRS is missing, not in metres, or differs between the frames.
    """
    crs = frames[0].crs
    if crs is None or crs.axis_info[0].unit_name != "metre" or any(frame.crs != crs for frame in frames):
        names = ", ".join(str(frame.crs.to_string() if frame.crs else None) for frame in frames)
        message = f"expected one CRS in metres, got {names}; reproject with to_crs() or name the CRS when reading"
        raise CrsError(message)


def stamp(frame: gpd.GeoDataFrame, function: Any, **parameters: Any) -> gpd.GeoDataFrame:
    """Append function, version and parameters to the frame's history (``attrs``), and return the frame."""
    step = {"function": function.__qualname__, "version": __version__, "parameters": parameters}
    frame.attrs["corridor"] = [*frame.attrs.get("corridor", []), step]
    return frame


def provenance(frame: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return the steps that made a frame, oldest first; empty if it carries none."""
    return list(frame.attrs.get("corridor", []))


def empty_table(name: str, crs: CRS | None = None) -> gpd.GeoDataFrame:
    """Return an empty frame with the columns, types and CRS of a table of the dictionary.

    Raises
    ------
    KeyError
        If the dictionary has no such table.
    """
    return _empty(name, crs).copy()


@cache
def _empty(name: str, crs: CRS | None) -> gpd.GeoDataFrame:
    return table_frame(name, {}, geometry=[], crs=crs)


def table_frame(
    name: str,
    columns: Mapping[str, Any] | pd.DataFrame | Iterable[Mapping[str, Any]],
    *,
    geometry: Any = None,
    crs: CRS | None = None,
) -> gpd.GeoDataFrame:
    """Build a table of the dictionary: its columns in order, typed and rounded; extra columns follow.

    Parameters
    ----------
    name : str
        Table of the dictionary.
    columns : mapping of sequences, DataFrame, or iterable of row mappings
        The values; a column that is left out is NULL.
    geometry : sequence of geometries, optional
        One a row; without it all are NULL.
    crs : CRS, optional
        Of the geometry.

    Returns
    -------
    GeoDataFrame
        With a fresh row index. Reals are rounded to the dictionary's decimals, and -0.0 becomes 0.0.

    Raises
    ------
    KeyError
        If the dictionary has no such table.
    """
    table = RESULT_TABLES.get(name) or INPUT_TABLES[name]
    data: Any = columns
    if geometry is not None and _are_arrays(columns, table.names, len(geometry)):
        given = set(data)  # large tables come so: pandas would look at every value twice
    else:
        data = pd.DataFrame(columns if isinstance(columns, Mapping | pd.DataFrame) else list(columns))
        geometry = [None] * len(data) if geometry is None else geometry
        given = set(data.columns) if len(data) or len(geometry) else set()
    index = pd.RangeIndex(len(geometry))
    kinds = {column.kind for column in table.columns if column.name not in given}
    nothing = {kind: _nothing(kind, index) for kind in kinds}  # most columns of small tables: made once
    typed = {
        column.name: _typed(column, np.asarray(data[column.name]), index)
        if column.name in given
        else nothing[column.kind]
        for column in table.columns
    }
    extra = {str(c): np.array(data[c]) for c in data if c not in table.names}
    whole = isinstance(geometry, np.ndarray) and geometry.dtype == object
    shapes = from_shapely(geometry.copy(), crs=crs) if whole else list(geometry)
    placed = gpd.GeoSeries(shapes, crs=crs, index=index)
    # at once: one by one, a hundred columns warn of their cost; a copy parts those that are the same nothing
    frame = pd.DataFrame(typed | extra | {"geometry": placed}, index=index, copy=bool(nothing))
    return gpd.GeoDataFrame(frame, copy=False)


def _are_arrays(columns: Any, names: tuple[str, ...], rows: int) -> bool:
    """Tell whether columns are arrays of texts or reals, all of the table and of its length."""
    return isinstance(columns, dict) and all(
        name in names and isinstance(values, np.ndarray) and values.dtype.kind in "Of" and values.shape == (rows,)
        for name, values in columns.items()
    )


def _nothing(kind: str, index: pd.RangeIndex) -> pd.Series:
    return pd.Series([None] * len(index) if kind == "text" else None, index=index, dtype=_DTYPES[kind])


def _typed(column: Column, values: Any, index: pd.RangeIndex) -> pd.Series:
    if column.kind == "real":
        if values.dtype != np.float64:
            values = pd.to_numeric(pd.Series(values, dtype=object)).to_numpy(dtype="float64", na_value=np.nan)
        values = np.array(values) if column.decimals is None else np.round(values, column.decimals) + 0.0
        return pd.Series(values, index=index, copy=False)
    array = np.array(values, dtype=object)
    # where all are texts nothing is missing, and a look at kinds is quicker than one at values
    if pd.api.types.infer_dtype(array, skipna=False) != "string":
        array[pd.isna(array)] = None if column.kind == "text" else pd.NA
    series = pd.Series(array, index=index, dtype=object, copy=False)
    return series if column.kind == "text" else series.astype(_DTYPES[column.kind])


def rounded(table: Table, name: str, values: Any) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Round an array to the decimals that a table's column states, so that a grade rests on what is shown.

    Raises
    ------
    KeyError
        If the table has no such column.
    """
    decimals = table.column(name).decimals
    array = np.asarray(values, dtype=float)
    return array if decimals is None else np.round(array, decimals) + 0.0
