"""How far apart two lines are in depth, and the range their records leave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numba
import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["DEPTH_COLUMNS", "Depths", "depths_of"]

Floats = NDArray[np.float64]
Rows = NDArray[np.int32] | NDArray[np.int64]
DEPTH_COLUMNS = ("depth_m", "depth_m_low", "depth_m_high", "depth_m_src", "assumed")
FILLED = ("default", "inferred")  # origins of a depth that nobody recorded


@dataclass(frozen=True)
class Depths:
    """Depth of each line's axis in m, shape (lines,): as recorded (NaN: missing or assumed) and its range."""

    recorded_m: Floats
    low_m: Floats
    high_m: Floats

    def difference_m(self, a: Rows, b: Rows) -> tuple[Floats, Floats, Floats]:
        """Return |depth difference|, its lowest and its highest for pairs of lines; NaN where not known."""
        out = np.empty((3, len(a)))
        _fill_differences((self.recorded_m, self.low_m, self.high_m), a, b, out)
        return out[0], out[1], out[2]


@numba.njit(cache=True, nogil=True)
def _fill_differences(depths: Any, a: Any, b: Any, out: Any) -> None:  # pragma: no cover - compiled
    """Write the difference, its lowest and its highest; where one side isn't a number, neither is the greater."""
    recorded, low, high = depths
    for k in range(a.size):
        i, j = a[k], b[k]
        out[0, k] = abs(recorded[i] - recorded[j])
        over, under = low[i] - high[j], low[j] - high[i]
        out[1, k] = math.nan if math.isnan(over + under) else max(over, under, 0.0)
        over, under = high[i] - low[j], high[j] - low[i]
        out[2, k] = math.nan if math.isnan(over + under) else max(over, under)


def depths_of(lines: gpd.GeoDataFrame) -> Depths:
    """Read the depths of a frame of lines.

    A depth counts as assumed by ``depth_m_src`` where that column is there, else by ``assumed``. Without
    ``depth_m_low`` and ``depth_m_high`` the range is the depth itself; without ``depth_m`` nothing is known.
    """
    depth = _numbers(lines, "depth_m", np.full(len(lines), np.nan))
    if "depth_m_src" in lines:
        assumed = lines["depth_m_src"].isin(FILLED).to_numpy()
    elif "assumed" in lines:
        assumed = lines["assumed"].fillna(value=False).astype(bool).to_numpy()
    else:
        assumed = np.zeros(len(lines), dtype=bool)
    low, high = _numbers(lines, "depth_m_low", depth), _numbers(lines, "depth_m_high", depth)
    return Depths(recorded_m=np.where(assumed, np.nan, depth), low_m=low, high_m=high)


def _numbers(lines: gpd.GeoDataFrame, column: str, otherwise: Floats) -> Floats:
    if column not in lines:
        return otherwise
    values = pd.to_numeric(lines[column]).to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isnan(values), otherwise, values)
