"""Symmetric factorisation A = L D L^T of complex matrices by LAPACK, solved for many right-hand sides at once.

The compiled routines are called through their addresses, which lets other threads run meanwhile; the usual wrappers
hold the interpreter's lock for the whole factorisation, so that frequencies on two threads would wait for each other.
"""

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba.extending import get_cython_function_address
from numpy.typing import NDArray

from corridor.errors import DomainError, SolverError

__all__ = ["SymmetricFactor", "factor_symmetric"]

_LOWER, _NO, _TRANSPOSED, _UNIT, _LEFT, _ONE_NORM, _CONVERT = b"L", b"N", b"T", b"U", b"L", b"1", b"C"

# what a compiled routine takes: a letter, a number, or an array to read and write
_Argument = bytes | int | float | complex | NDArray[Any]


@dataclass(frozen=True)
class SymmetricFactor:
    """L, D and the order of the pivots of a complex symmetric matrix.

    Attributes
    ----------
    lower : ndarray of complex, shape (n, n), column by column
        Unit lower triangle L below the diagonal; the rest isn't used.
    order : ndarray of int, shape (n,)
        Row of the matrix that stands at each place of the factor.
    inverse_diagonal, inverse_beside : ndarray of complex, shapes (n,) and (blocks,)
        The inverse of D: its diagonal, and the second entries of its two-by-two blocks.
    block : ndarray of int, shape (blocks,)
        First place of each two-by-two block of D.
    reciprocal_condition : float
        Estimate of 1 / (norm of A times norm of its inverse), in the 1-norm.
    """

    lower: NDArray[np.complex128]
    order: NDArray[np.int64]
    inverse_diagonal: NDArray[np.complex128]
    inverse_beside: NDArray[np.complex128]
    block: NDArray[np.int64]
    reciprocal_condition: float

    def solve(self, right: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Solve A X = R.

        Parameters
        ----------
        right : ndarray of complex, shape (n, k)
            R; left as it is.

        Returns
        -------
        ndarray of complex, shape (n, k)
            X.

        Raises
        ------
        DomainError
            If R hasn't n rows.
        """
        if right.ndim != 2 or right.shape[0] != self.order.size:
            message = f"need right-hand sides of shape ({self.order.size}, k), got {right.shape}"
            raise DomainError(message)
        x = np.array(right[self.order], dtype=np.complex128, order="F")
        self._triangle(_NO, x)
        below = x[self.block + 1]
        above = x[self.block]
        x *= self.inverse_diagonal[:, np.newaxis]
        x[self.block] += self.inverse_beside[:, np.newaxis] * below
        x[self.block + 1] += self.inverse_beside[:, np.newaxis] * above
        self._triangle(_TRANSPOSED, x)
        solved = np.empty(x.shape, dtype=np.complex128)
        solved[self.order] = x
        return solved

    def _triangle(self, side: bytes, x: NDArray[np.complex128]) -> None:
        """Overwrite x with the solution of L y = x or L^T y = x."""
        n, columns = x.shape
        if n and columns:
            _TRSM(_LEFT, _LOWER, side, _UNIT, n, columns, 1.0 + 0.0j, self.lower, n, x, n)


def factor_symmetric(matrix: NDArray[np.complex128]) -> SymmetricFactor:
    """Factor a complex symmetric matrix by Bunch and Kaufman's pivoting (LAPACK's zsytrf).

    Parameters
    ----------
    matrix : ndarray of complex, shape (n, n), column by column
        Only the lower triangle is read; **overwritten** by the factor, which saves a copy of the largest array.

    Returns
    -------
    SymmetricFactor
        Ready to solve; it owns ``matrix`` from here on.

    Raises
    ------
    DomainError
        If the array isn't square, complex128 and stored column by column.
    SolverError
        If a pivot is exactly zero.
    """
    n = matrix.shape[0]
    if matrix.shape != (n, n) or matrix.dtype != np.complex128 or not matrix.flags.f_contiguous:
        message = f"need a square complex128 array stored column by column, got {matrix.dtype} {matrix.shape}"
        raise DomainError(message)
    norm = float(_LANSY(_ONE_NORM, _LOWER, n, matrix, max(n, 1), np.empty(n)))
    pivots, info = np.zeros(n, dtype=np.intc), np.zeros(1, dtype=np.intc)
    length = 64 * max(n, 1)  # the routine's block size times n: enough for its fast, blocked form
    _SYTRF(_LOWER, n, matrix, max(n, 1), pivots, np.empty(length, dtype=np.complex128), length, info)
    if info[0] > 0:
        message = f"the matrix is singular: pivot {info[0]} of {n} is zero; look for a loop without impedance"
        raise SolverError(message)
    condition = np.zeros(1)
    _SYCON(_LOWER, n, matrix, max(n, 1), pivots, norm, condition, np.empty(2 * n, dtype=np.complex128), info)
    beside = np.zeros(n, dtype=np.complex128)
    _SYCONV(_LOWER, _CONVERT, n, matrix, max(n, 1), pivots, beside, info)
    order, block = _pivot_order(pivots)
    diagonal = matrix.diagonal()
    inverse = np.ones(n, dtype=np.complex128)
    single = np.ones(n, dtype=np.bool_)
    single[block] = single[block + 1] = False
    inverse[single] = 1 / diagonal[single]
    determinant = diagonal[block] * diagonal[block + 1] - beside[block] ** 2
    inverse[block] = diagonal[block + 1] / determinant
    inverse[block + 1] = diagonal[block] / determinant
    return SymmetricFactor(matrix, order, inverse, -beside[block] / determinant, block, float(condition[0]))


def _pivot_order(pivots: NDArray[np.intc]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the row order and the starts of two-by-two blocks from the routine's interchanges (counted from 1)."""
    order, block = np.arange(pivots.size), []
    k = 0
    while k < pivots.size:
        two = pivots[k] < 0
        here, there = k + int(two), abs(int(pivots[k + int(two)])) - 1
        order[[here, there]] = order[[there, here]]
        if two:
            block.append(k)
        k += 1 + int(two)
    return order, np.array(block, dtype=np.int64)


def _routine(module: str, name: str, arguments: int, result: type | None = None) -> Callable[..., float]:
    """Return a compiled routine as a function of letters, numbers and arrays, all passed by address as Fortran asks."""
    prototype = ctypes.CFUNCTYPE(result, *[ctypes.c_void_p] * arguments)
    compiled = prototype(get_cython_function_address(f"scipy.linalg.{module}", name))

    def call(*values: _Argument) -> float:
        boxes = [_box(value) for value in values]
        return compiled(*[box.ctypes.data for box in boxes])

    return call


def _box(value: _Argument) -> NDArray[Any]:
    """Return an array that holds the value at the address the routine will read."""
    if isinstance(value, np.ndarray):
        return value
    if isinstance(value, bytes):
        return np.frombuffer(value, dtype=np.uint8)
    return np.array([value], dtype=np.intc if isinstance(value, int) else None)


_SYTRF = _routine("cython_lapack", "zsytrf", 8)
_SYCON = _routine("cython_lapack", "zsycon", 9)
_SYCONV = _routine("cython_lapack", "zsyconv", 8)
_LANSY = _routine("cython_lapack", "zlansy", 6, ctypes.c_double)
_TRSM = _routine("cython_blas", "ztrsm", 11)
