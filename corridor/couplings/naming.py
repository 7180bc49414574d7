"""Names of what two lines have together, made for whole arrays at once."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["numbered_names"]


def numbered_names(ids: NDArray[Any], a: NDArray[Any], b: NDArray[Any]) -> NDArray[Any]:
    """Name the findings of pairs of lines: both ids and the number among those of the pair, from 1, parted by tildes.

    Parameters
    ----------
    ids : ndarray of str
        Of all lines.
    a, b : ndarray of int, shape (k,)
        Lines; findings of one pair stand together.

    Returns
    -------
    ndarray of str, shape (k,)
    """
    if not len(a):
        return np.empty(0, dtype=object)
    place = np.arange(len(a))
    begins = np.r_[True, (a[1:] != a[:-1]) | (b[1:] != b[:-1])]
    number = place - np.maximum.accumulate(np.where(begins, place, 0))
    begun, first = ids + "~", ids + "~1"
    names = np.asarray(begun[a] + first[b])
    later = np.flatnonzero(number)
    if len(later):
        names[later] = begun[a[later]] + begun[b[later]] + _numbers(int(number.max()) + 1)[number[later]]
    return names


def _numbers(count: int) -> NDArray[Any]:
    return np.array([str(k + 1) for k in range(count)], dtype=object)
