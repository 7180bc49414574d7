"""Elevations in geometry: which Z are elevations, and which are numbers that stand for nothing."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["known_z", "nothing_z"]

# No ground lies lower or higher, in metres or feet (engineering estimate); -9999 and -21474.836 lie outside.
_LOWEST, _HIGHEST = -1500.0, 30_000.0
_NOTHING = (-999.0, -999.9, -1000.0, -1111.0)  # common practice


def nothing_z(z: Any) -> NDArray[np.bool_]:
    """Tell which Z are numbers that stand for no elevation; NaN is none of them."""
    z = np.asarray(z, dtype=float)
    with np.errstate(invalid="ignore"):
        return (z < _LOWEST) | (z > _HIGHEST) | np.isin(z, _NOTHING)


def known_z(z: Any) -> NDArray[np.bool_]:
    """Tell which Z are elevations."""
    z = np.asarray(z, dtype=float)
    return np.isfinite(z) & ~nothing_z(z)
