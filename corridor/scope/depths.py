"""Which lines a dig of a stated depth runs into: those whose top may lie above its bottom, with a tolerance."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["against_dig"]

_MM_PER_M = 1000.0
_KNOWN = ("given", "mapped")


def against_dig(lines: gpd.GeoDataFrame, dig_depth_m: float | None, *, tolerance_m: float) -> NDArray[np.object_]:
    """Return for each line whether a dig meets it: ``in``, ``below``, ``unsure`` or ``not stated``.

    The top of a line is its axis less half its diameter, the diameter at the high end of its range. Where the range
    of a depth on record, or its vertical accuracy, straddles the bottom of the dig, and where the depth is assumed or
    missing, it is unsure.

    Parameters
    ----------
    lines : GeoDataFrame
        Table ``lines`` with its companions (``depth_m_src``, ``_low``, ``_high``) where they are there.
    dig_depth_m : float or None, m
        Of the phase; None or NaN: not stated.
    tolerance_m : float, m
        Lines so far below the bottom count as in the dig.
    """
    if dig_depth_m is None or not np.isfinite(dig_depth_m):
        return np.full(len(lines), "not stated", dtype=object)
    depth = _numbers(lines, "depth_m")
    radius = np.nan_to_num(_numbers(lines, "diameter_mm_high", "diameter_mm")) / 2.0 / _MM_PER_M
    accuracy = np.nan_to_num(_numbers(lines, "vertical_accuracy_m"))
    low = np.fmin(_numbers(lines, "depth_m_low", "depth_m"), depth - accuracy)
    high = np.fmax(_numbers(lines, "depth_m_high", "depth_m"), depth + accuracy)
    known = np.isfinite(depth)
    if "depth_m_src" in lines:
        known &= lines["depth_m_src"].isin(_KNOWN).to_numpy()
    bottom = dig_depth_m + tolerance_m
    found = np.full(len(lines), "unsure", dtype=object)
    found[known & (high - radius <= bottom)] = "in"
    found[known & (low - radius > bottom)] = "below"
    return found


def _numbers(lines: pd.DataFrame, *names: str) -> NDArray[np.float64]:
    """Return the first of several columns that is there, as floats; NaN where none is."""
    for name in names:
        if name in lines:
            return lines[name].to_numpy(dtype=np.float64, na_value=np.nan)
    return np.full(len(lines), np.nan)
