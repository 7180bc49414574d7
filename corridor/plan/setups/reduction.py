"""Exact reductions of a choice of set-ups: what may be left out without losing the best answer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

__all__ = ["components", "least_rows", "undominated"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_BLOCK = 256  # columns compared with all others at once: bounds the memory


def components(covers: Bools) -> list[tuple[Ints, Ints]]:
    """Return rows and columns that hang together; each group can be covered on its own.

    Parameters
    ----------
    covers : ndarray of bool, shape (r, c)
        True where a column covers a row.

    Returns
    -------
    list of (ndarray of int, ndarray of int)
        Rows and columns of each group that has a row with a column, by its first row.
    """
    n_rows = covers.shape[0]
    rows, columns = np.nonzero(covers)
    graph = sparse.coo_array((np.ones(rows.size), (rows, columns + n_rows)), shape=(sum(covers.shape),) * 2)
    _, label = sparse.csgraph.connected_components(graph, directed=False)
    of_row, of_column = label[:n_rows], label[n_rows:]
    wanted = dict.fromkeys(of_row[covers.any(axis=1)].tolist())
    return [(np.flatnonzero(of_row == group), np.flatnonzero(of_column == group)) for group in wanted]


def least_rows(covers: Bools) -> Ints:
    """Return the rows whose covering covers all others: none holds all columns of another; of equals the first.

    Parameters
    ----------
    covers : ndarray of bool, shape (r, c)
        True where a column covers a row; each row has one.

    Returns
    -------
    ndarray of int
        Ascending.
    """
    size = covers.sum(axis=1)
    numbers = covers.astype(np.float32)
    shared = numbers @ numbers.T
    within = shared >= size[:, None]  # within[i, j]: the columns of i are all columns of j
    first = np.arange(size.size)
    implied = within & ((size[:, None] < size) | (first[:, None] < first))
    return np.flatnonzero(~implied.any(axis=0))


def undominated(covers: Bools, *, value: Floats | None = None, preference: Floats | None = None) -> Ints:
    """Return the columns for which no other does at least as well in everything asked about.

    A solution with a dominated column stays a solution, and gets no worse, when the column that dominates it takes its
    place. For the number of columns alone only ``covers`` counts; later stages need all three.

    Parameters
    ----------
    covers : ndarray of bool, shape (r, c)
        True where a column covers a row.
    value : ndarray, shape (q, c), optional
        >= 0, higher is better, row by row.
    preference : ndarray, shape (c,), optional
        Lower is better.

    Returns
    -------
    ndarray of int
        Ascending; of columns equal in everything the first stays.
    """
    size = covers.sum(axis=0)
    numbers = covers.astype(np.float32)
    kept: list[int] = []
    likes = np.zeros(size.size) if preference is None else preference
    total = np.zeros(size.size) if value is None else value.sum(axis=0)
    order = np.lexsort((np.arange(size.size), likes, -total, -size))  # whatever dominates a column stands before it
    for start in range(0, size.size, _BLOCK):
        block = order[start : start + _BLOCK]
        for column, shared in zip(block, numbers[:, block].T @ numbers, strict=True):
            rivals = np.array(kept, dtype=np.int64)
            rivals = rivals[(shared[rivals] >= size[column]) & (likes[rivals] <= likes[column])]
            if value is not None and rivals.size:
                own = np.flatnonzero(value[:, column])
                rivals = rivals[(value[np.ix_(own, rivals)] >= value[own, column][:, None]).all(axis=0)]
            if not rivals.size:
                kept.append(int(column))
    return np.sort(np.array(kept, dtype=np.int64))
