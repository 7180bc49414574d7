"""Sums along chains of sections: what is fed into the nodes becomes current, what drops along sections potential."""

import numba
import numpy as np
from numpy.typing import NDArray

__all__ = ["sum_after", "sum_before"]


@numba.njit(cache=True, nogil=True)
def sum_before(node: NDArray[np.complex128], chain: NDArray[np.int64]) -> NDArray[np.complex128]:
    """Return S x: for each section the sum over its chain's nodes up to its head.

    Parameters
    ----------
    node : ndarray of complex, shape (nodes, k)
        x.
    chain : ndarray of int, shape (n,)
        Chain of each section: 0, 0, ..., 1, 1, ... without gaps.

    Returns
    -------
    ndarray of complex, shape (n, k)
    """
    out = np.empty((chain.size, node.shape[1]), dtype=np.complex128)
    for i in range(chain.size):
        row = i + chain[i]
        if i and chain[i] == chain[i - 1]:
            out[i] = out[i - 1] + node[row]
        else:
            out[i] = node[row]
    return out


@numba.njit(cache=True, nogil=True)
def sum_after(section: NDArray[np.complex128], chain: NDArray[np.int64], n_nodes: int) -> NDArray[np.complex128]:
    """Return S^T x: for each node the sum over its chain's sections from there on.

    Parameters
    ----------
    section : ndarray of complex, shape (n, k)
        x.
    chain : ndarray of int, shape (n,)
        Chain of each section: 0, 0, ..., 1, 1, ... without gaps.
    n_nodes : int
        n plus the number of chains.

    Returns
    -------
    ndarray of complex, shape (nodes, k)
    """
    out = np.zeros((n_nodes, section.shape[1]), dtype=np.complex128)
    for i in range(chain.size - 1, -1, -1):
        row = i + chain[i]
        out[row] = out[row + 1] + section[i]
    return out
