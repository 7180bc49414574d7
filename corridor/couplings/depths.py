"""How far apart two lines are in depth, and the range their records leave."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
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
        low = np.maximum(self.low_m[a] - self.high_m[b], self.low_m[b] - self.high_m[a])
        high = np.maximum(self.high_m[a] - self.low_m[b], self.high_m[b] - self.low_m[a])
        return np.abs(self.recorded_m[a] - self.recorded_m[b]), np.maximum(low, 0.0), high


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
