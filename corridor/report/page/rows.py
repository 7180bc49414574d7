"""Tables as rows of plain data for the page: texts without control characters, numbers finite or left out."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import shapely

from corridor.report.text import plain

__all__ = ["centimetres", "rows_of", "value_of"]

_DIGITS = 4


def value_of(value: Any) -> Any:
    """Return one cell as plain data: text, number, true or false, or None where nothing is stated."""
    if isinstance(value, str):
        return _text(value)
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), _DIGITS) if math.isfinite(value) else None
    return _text(str(value))


@lru_cache(maxsize=1 << 16)
def _text(text: str) -> str:
    return plain(text)


def rows_of(frame: pd.DataFrame | None, columns: Sequence[str]) -> list[list[Any]]:
    """Return some columns of a table row by row; a column that isn't there is None throughout.

    Parameters
    ----------
    frame : DataFrame or None
        None gives no rows.
    columns : sequence of str
        In the order wanted.
    """
    if frame is None or not len(frame):
        return []
    cells = [_cells(frame[name]) if name in frame else [None] * len(frame) for name in columns]
    return [list(row) for row in zip(*cells, strict=True)]


def _cells(column: pd.Series) -> list[Any]:
    """Return a column's values; the quick way for numbers, which long tables are made of."""
    if column.dtype == np.float64:
        values = np.round(column.to_numpy(), _DIGITS)
        return [value if math.isfinite(value) else None for value in values.tolist()]
    return [_text(value) if isinstance(value, str) else value_of(value) for value in column.tolist()]


def centimetres(shape: Any, origin_m: tuple[float, float]) -> list[int]:
    """Return a geometry's points as x, y, x, y, ... in whole centimetres from an origin."""
    points = shapely.get_coordinates(shape) - np.asarray(origin_m)
    return np.rint(100.0 * points).astype(int).ravel().tolist()
