"""Result layers as CSV tables that are safe to open in a spreadsheet: a folder, with one file a layer."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from corridor.errors import OutputError
from corridor.plugins import folder_writer
from corridor.site.csv_cells import safe_cell

__all__ = ["GEOMETRY_COLUMN", "csv_text", "write_csv"]

GEOMETRY_COLUMN = "WKT"  # by this name OGR's own reader takes it for the geometry
CAUTION_FILE = "caution.txt"
_WKT_DECIMALS = 3


@folder_writer()
def write_csv(path: Path, tables: Mapping[str, Any], *, metadata: Mapping[str, str]) -> None:
    """Write each table to a file of its own in a folder; the built-in writer for the suffix ``csv``.

    The caution stands in ``caution.txt`` beside them.

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
        If a file can't be written.
    """
    texts = {f"{name}.csv": csv_text(table) for name, table in tables.items()}
    try:
        for name, text in texts.items():
            # the mark at the start tells spreadsheets that the text is UTF-8
            (path / name).write_text(text, encoding="utf-8-sig", newline="")
        (path / CAUTION_FILE).write_text(metadata.get("caution", "") + "\n", encoding="utf-8", newline="\n")
    except OSError as error:
        message = f"can't write {path}: {error.strerror or error}"
        raise OutputError(message) from error


def csv_text(table: pd.DataFrame) -> str:
    """Return a table as CSV (RFC 4180), its geometry as text in the last column.

    Numbers are written with all their digits, flags as true and false, NULL as nothing; text that a spreadsheet would
    calculate stands behind an apostrophe.

    Parameters
    ----------
    table : GeoDataFrame or DataFrame
        Any columns.
    """
    data = pd.DataFrame(table.drop(columns=table.geometry.name) if isinstance(table, gpd.GeoDataFrame) else table)
    columns = [[_cell(value) for value in data[name].astype(object)] for name in data]
    names = [safe_cell(str(name)) for name in data]
    if isinstance(table, gpd.GeoDataFrame):
        names.append(GEOMETRY_COLUMN)
        columns.append(["" if shape is None else shapely.to_wkt(shape, rounding_precision=_WKT_DECIMALS)
                        for shape in table.geometry])  # fmt: skip
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(names)
    writer.writerows(zip(*columns, strict=True))
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or value != value:  # noqa: PLR0124 - NaN
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return (
        repr(float(value))
        if isinstance(value, float)
        else str(safe_cell(str(value)) if isinstance(value, str) else value)
    )
