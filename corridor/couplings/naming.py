"""Names of what two lines have together, made for whole arrays at once."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["PairNames"]


class PairNames:
    """Names findings of pairs of lines: both ids and the number among those of the pair, from 1, parted by tildes.

    Parameters
    ----------
    ids : ndarray of str
        Of all lines.
    """

    def __init__(self, ids: NDArray[Any]) -> None:
        self._begun, self._first = ids + "~", ids + "~1"

    def of(self, a: NDArray[Any], b: NDArray[Any]) -> NDArray[Any]:
        """Return names.

        Parameters
        ----------
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
        names = np.asarray(self._begun[a] + self._first[b])
        later = np.flatnonzero(number)
        if len(later):
            both = self._begun[a[later]] + self._begun[b[later]]
            names[later] = both + _numbers(int(number.max()) + 1)[number[later]]
        return names


def _numbers(count: int) -> NDArray[Any]:
    return np.array([str(k + 1) for k in range(count)], dtype=object)
