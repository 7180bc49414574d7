"""Lines whose stated voltages keep them apart: between two of them stands a transformer, never a joint."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["stated_volts", "volts_apart"]

# 120/240, 230/400 and 277/480 V are one system each, whichever of the two a record states (engineering estimate)
_ONE_SYSTEM = 2.0


def stated_volts(lines: pd.DataFrame) -> NDArray[np.float64]:
    """Return the nominal voltage of each line; shape (lines,), V, NaN where none is stated or it is 0.

    Parameters
    ----------
    lines : DataFrame
        With nominal_voltage_v, or without it where no record states any.
    """
    if "nominal_voltage_v" not in lines:
        return np.full(len(lines), np.nan)
    volts = pd.to_numeric(lines["nominal_voltage_v"]).to_numpy(dtype=float)
    return np.where(volts > 0.0, volts, np.nan)


def volts_apart(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which pairs can't be joined, since both state a voltage and one is more than twice the other.

    Parameters
    ----------
    one, other : ndarray of float, V
        Of one shape; NaN where not stated, which is apart from nothing.
    """
    low, high = np.minimum(one, other), np.maximum(one, other)
    apart: Any = high > _ONE_SYSTEM * low  # a comparison with NaN is false
    return np.asarray(apart, dtype=bool)
