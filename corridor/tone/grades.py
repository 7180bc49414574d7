"""Grades of a prediction: whether a crew can follow this line with this hook-up.

A grade is a position in ``GRADES``, best first, so that the worse of two is the larger number. No grade says that
ground is free. Take grades from values that were already rounded to the decimals of the data dictionary: then the
grade agrees with the number people read beside it, and the same input gives the same grade on every machine.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.dictionary.results import GRADES
from corridor.errors import DomainError

__all__ = ["FAINT", "GRADES", "MASKED", "PULLED", "READABLE", "UNTRACEABLE", "grade", "grade_names", "worst"]

READABLE, PULLED, MASKED, FAINT, UNTRACEABLE = range(len(GRADES))

_SLACK = 1e-9  # a difference equal to its tolerance, but for the last bit, is within it


def grade(
    *,
    peak_offset_m: ArrayLike,
    depth_reading_m: ArrayLike,
    depth_m: ArrayLike,
    strength: ArrayLike,
    floor: ArrayLike,
    masked: ArrayLike,
    traceable: ArrayLike = True,
    offset_tolerance_m: float = 0.15,
    depth_tolerance_share: float = 0.15,
) -> NDArray[np.int8]:
    """Return the grades of readings; all arrays broadcast against each other.

    The first that holds, in this order: *untraceable* (the line conducts no tone at all), *faint* (too little tone),
    *masked* (another conductor's peak is higher), *pulled* (peak or depth off by more than the tolerance, or no depth
    to be read), else *readable*.

    Parameters
    ----------
    peak_offset_m : array_like, m
        Where the peak stands, from the recorded position.
    depth_reading_m : array_like, m
        Predicted two-coil depth; NaN where the receiver shows none.
    depth_m : array_like, m
        Depth the prediction was made with; NaN leaves the depth out of the grade.
    strength, floor : array_like
        Field at the lower coil, or current, and the least that is of use, in one unit.
    masked : array_like of bool
        Whether another conductor's peak is the higher one.
    traceable : array_like of bool
        Whether the line conducts and carries any tone.
    offset_tolerance_m : float, m
    depth_tolerance_share : float
        Share of ``depth_m``.

    Returns
    -------
    ndarray of int8
        Positions in ``GRADES``.

    Raises
    ------
    DomainError
        If a tolerance is negative.
    """
    for name, value in (("offset_tolerance_m", offset_tolerance_m), ("depth_tolerance_share", depth_tolerance_share)):
        if not value >= 0.0:
            message = f"{name} must be >= 0, got {value}"
            raise DomainError(message)
    offset, reading, depth, tone = (
        np.asarray(array, dtype=float) for array in (peak_offset_m, depth_reading_m, depth_m, strength)
    )
    too_far = ~(np.abs(offset) <= offset_tolerance_m + _SLACK)  # written so that NaN counts as off
    too_deep = ~(np.abs(reading - depth) <= depth_tolerance_share * depth + _SLACK) & ~np.isnan(depth)
    conditions: list[NDArray[Any]] = [
        ~np.asarray(traceable, dtype=bool) | (tone == 0.0),
        ~(tone >= np.asarray(floor, dtype=float)),
        np.asarray(masked, dtype=bool),
        too_far | too_deep,
    ]
    broadcast = np.broadcast_arrays(*conditions)
    return np.select(broadcast, (UNTRACEABLE, FAINT, MASKED, PULLED), READABLE).astype(np.int8)


def worst(first: ArrayLike, *others: ArrayLike) -> NDArray[np.int8]:
    """Return the worst of several grades, element by element.

    Parameters
    ----------
    first, *others : array_like of int
        Positions in ``GRADES``; they broadcast.

    Returns
    -------
    ndarray of int8
    """
    result = np.asarray(first, dtype=np.int8)
    for other in others:
        result = np.maximum(result, np.asarray(other, dtype=np.int8))
    return result


def grade_names(codes: ArrayLike) -> NDArray[np.object_]:
    """Return the names of grades.

    Parameters
    ----------
    codes : array_like of int
        Positions in ``GRADES``.

    Returns
    -------
    ndarray of str
        Same shape, dtype object.

    Raises
    ------
    DomainError
        If a number is no grade.
    """
    positions = np.asarray(codes)
    if positions.size and not (positions.min() >= 0 and positions.max() < len(GRADES)):
        message = f"grades run from 0 to {len(GRADES) - 1}, got {positions.min()} to {positions.max()}"
        raise DomainError(message)
    return np.array(GRADES, dtype=object)[positions]
