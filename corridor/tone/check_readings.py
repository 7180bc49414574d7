"""What a crew reads to check a mark: half heights of the peak to either side, and the depth after lifting the receiver.

At one station, for several solutions at once; fields as `corridor.tone.predict.horizontal_fields` gives them.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.receiver import two_coil_depth_m

__all__ = ["asymmetry", "half_heights_m", "rise_after_lifting_m"]

Real = NDArray[np.float64]


def half_heights_m(
    b_lower_h: ArrayLike, offsets_m: ArrayLike, *, peak_offset_m: ArrayLike, field_t: ArrayLike
) -> NDArray[np.float64]:
    """Return how far from the peak the horizontal field falls to half of it, to the left and to the right.

    Over one long line at depth d both are d above the coil, since the field goes as d/(x^2 + d^2) (Ampere's law).
    Between the offsets the magnitude is taken as straight: at a fifth of the depth apart that is good to 0.005 d.

    Parameters
    ----------
    b_lower_h : array_like of complex, shape (offsets, n), T
        Phasors at the lower coil.
    offsets_m : array_like, shape (offsets,), m
        Rising, positive to the left.
    peak_offset_m, field_t : array_like, shape (n,), m, T
        Where the peak is, and the magnitude there.

    Returns
    -------
    ndarray, shape (2, n), m
        Left, right; NaN where the field stays above half up to the last offset.

    Raises
    ------
    DomainError
        If shapes don't fit.
    """
    size, offsets = np.abs(np.asarray(b_lower_h)), np.asarray(offsets_m, dtype=float)
    peak, top = np.atleast_1d(np.asarray(peak_offset_m, dtype=float)), np.atleast_1d(np.asarray(field_t, dtype=float))
    if size.ndim != 2 or size.shape != (offsets.size, peak.size) or top.shape != peak.shape:
        message = f"b_lower_h must have shape ({offsets.size} offsets, {peak.size} peaks), got {size.shape}"
        raise DomainError(message)
    found = np.full((2, peak.size), np.nan)
    for column in range(peak.size):
        for side, sign in enumerate((1.0, -1.0)):
            away = sign * (offsets - peak[column])
            order = np.argsort(away)
            order = order[away[order] > 0.0]
            found[side, column] = _first_below(away[order], size[order, column], top[column])
    return found


def _first_below(away: Real, size: Real, top: float) -> float:
    """Return the first distance at which a profile, from its peak outward, is down to half."""
    at, values = np.concatenate(([0.0], away)), np.concatenate(([top], size))
    below = np.flatnonzero(values <= 0.5 * top)
    if not below.size or top <= 0.0:
        return float("nan")
    k = int(below[0])
    share = (values[k - 1] - 0.5 * top) / (values[k - 1] - values[k])
    return float(at[k - 1] + share * (at[k] - at[k - 1]))


def asymmetry(half_heights: ArrayLike) -> NDArray[Any]:
    """Return how far a peak leans: left minus right half height over their sum, 0 over one long straight line.

    Parameters
    ----------
    half_heights : array_like, shape (2, n), m
        From `half_heights_m`.

    Returns
    -------
    ndarray, shape (n,)
        From -1 to 1, positive where the left flank is the wider one; NaN where either is.
    """
    left, right = np.asarray(half_heights, dtype=float)
    return np.asarray((left - right) / (left + right))


def rise_after_lifting_m(
    depth_below_coil_m: ArrayLike, lifted_lower_t: ArrayLike, lifted_upper_t: ArrayLike, *, coil_spacing_m: float
) -> NDArray[Any]:
    """Return how much more depth the receiver shows after it was lifted straight up at the peak.

    Over one long straight line that is the lift itself (common practice): the two-coil depth is exact there.

    Parameters
    ----------
    depth_below_coil_m : array_like, m
        As read before, below the lower coil.
    lifted_lower_t, lifted_upper_t : array_like, T
        Magnitudes at the two coils of the lifted receiver.
    coil_spacing_m : float, m

    Returns
    -------
    ndarray, m
        NaN where either reading shows no depth.
    """
    lifted = two_coil_depth_m(lifted_lower_t, lifted_upper_t, coil_spacing_m=coil_spacing_m)
    return np.asarray(lifted - np.asarray(depth_below_coil_m, dtype=float))
