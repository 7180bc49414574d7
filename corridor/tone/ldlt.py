"""Symmetric factorisation A = L D L^T of complex matrices by LAPACK, solved for many right-hand sides at once.

Rows that need no pivoting are eliminated first by products of whole blocks (Andersen, Gustavson, Wasniewski 2001,
recursive Cholesky, from memory), which takes LAPACK a quarter longer. The compiled routines are called through their
addresses, which lets other threads run meanwhile; the usual wrappers hold the interpreter's lock for the whole
factorisation, so that frequencies on two threads would wait for each other.
"""

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numba.extending import get_cython_function_address
from numpy.typing import NDArray

from corridor.errors import DomainError, SolverError

__all__ = ["GrowthError", "SymmetricFactor", "factor_symmetric"]

_LOWER, _NO, _TRANSPOSED, _UNIT, _LEFT, _ONE_NORM, _CONVERT = b"L", b"N", b"T", b"U", b"L", b"1", b"C"
_RIGHT, _NOT_UNIT = b"R", b"N"
_LEAF = 48  # columns that are eliminated one by one
_GROWTH_MAX = 100.0  # of the entries without pivoting, costs two of sixteen digits; networks of lines stay below 10

# what a compiled routine takes: a letter, a number, or an array to read and write
_Argument = bytes | int | float | complex | NDArray[Any]


class GrowthError(SolverError):
    """Rows can't be eliminated in their order without losing digits."""


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


def factor_symmetric(matrix: NDArray[np.complex128], *, leading: int = 0) -> SymmetricFactor:
    """Factor a complex symmetric matrix by Bunch and Kaufman's pivoting (LAPACK's zsytrf).

    Parameters
    ----------
    matrix : ndarray of complex, shape (n, n), column by column
        Only the lower triangle is read; **overwritten** by the factor, which saves a copy of the largest array.
    leading : int
        So many rows at the start may be eliminated in their order, without pivoting. That is as accurate where that
        block's real part is positive definite, or that of a multiple of it (Higham 1998, Mathematics of Computation
        67:1591, from memory); the growth of its entries, which bounds the error, is checked.

    Returns
    -------
    SymmetricFactor
        Ready to solve; it owns ``matrix`` from here on.

    Raises
    ------
    DomainError
        If the array isn't square, complex128 and stored column by column, or hasn't so many leading rows.
    GrowthError
        If the leading rows need pivoting; the matrix is spoilt then.
    SolverError
        If a pivot is exactly zero.
    """
    n = matrix.shape[0]
    if matrix.shape != (n, n) or matrix.dtype != np.complex128 or not matrix.flags.f_contiguous:
        message = f"need a square complex128 array stored column by column, got {matrix.dtype} {matrix.shape}"
        raise DomainError(message)
    if not 0 <= leading <= n:
        message = f"need 0 to {n} leading rows, got {leading}"
        raise DomainError(message)
    norm = float(_LANSY(_ONE_NORM, _LOWER, n, matrix, max(n, 1), np.empty(n)))
    pivots, info = np.arange(1, n + 1, dtype=np.intc), np.zeros(1, dtype=np.intc)
    if leading:
        _eliminate(matrix, leading)
    if leading < n:
        rest, rest_pivots = matrix[leading:, leading:], pivots[leading:]
        length = 64 * (n - leading)  # the routine's block size times n: enough for its fast, blocked form
        _SYTRF(_LOWER, n - leading, rest, n, rest_pivots, np.empty(length, dtype=np.complex128), length, info)
        rest_pivots += np.sign(rest_pivots) * leading
    if info[0] > 0:
        message = f"the matrix is singular: pivot {info[0] + leading} of {n} is zero; look for a loop without impedance"
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


def _eliminate(matrix: NDArray[np.complex128], leading: int) -> None:
    """Overwrite the leading columns with L and, on the diagonal, D, and the rest with what remains to be factored."""
    n = matrix.shape[0]
    size = np.abs(matrix.diagonal()[:leading])
    _eliminate_block(matrix, 0, leading)
    if leading < n:
        _eliminate_below(matrix, (0, leading), n)
    growth = _unit_columns(matrix, leading, size)
    if not growth <= _GROWTH_MAX:
        message = f"{leading} rows can't be eliminated without pivoting: entries grow {growth:.3g} times"
        raise GrowthError(message)


def _eliminate_block(matrix: NDArray[np.complex128], first: int, last: int) -> None:
    """Overwrite a diagonal block, lower triangle, with C of C C^T: halves, again and again."""
    if last - first <= _LEAF:
        _eliminate_leaf(matrix, first, last)
        return
    middle = first + (last - first) // 2
    _eliminate_block(matrix, first, middle)
    _eliminate_below(matrix, (first, middle), last)
    _eliminate_block(matrix, middle, last)


def _eliminate_below(matrix: NDArray[np.complex128], columns: tuple[int, int], last: int) -> None:
    """Go on from eliminated columns to the rows below them, up to ``last``, and take them off what stands beside."""
    n, (first, middle) = matrix.shape[0], columns
    done, rows, width = matrix[first:, first:], last - middle, middle - first
    below = matrix[middle:, first:]
    _TRSM(_RIGHT, _LOWER, _TRANSPOSED, _NOT_UNIT, rows, width, 1.0 + 0.0j, done, n, below, n)
    _SYRK(_LOWER, _NO, rows, width, -1.0 + 0.0j, below, n, 1.0 + 0.0j, matrix[middle:, middle:], n)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _inverse(pivot: complex) -> complex:  # pragma: no cover - compiled
    """Return 1/pivot, without a number for zero; the compiler's own division would raise an error there."""
    size = pivot.real * pivot.real + pivot.imag * pivot.imag
    return complex(pivot.real / size, -pivot.imag / size)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _eliminate_leaf(a: NDArray[np.complex128], first: int, last: int) -> None:  # pragma: no cover - compiled
    for k in range(first, last):
        pivot = np.sqrt(a[k, k])
        a[k, k] = pivot
        inverse = _inverse(pivot)
        for i in range(k + 1, last):
            a[i, k] *= inverse
        for j in range(k + 1, last):
            factor = a[j, k]
            for i in range(j, last):
                a[i, j] -= a[i, k] * factor


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _unit_columns(
    a: NDArray[np.complex128], leading: int, size: NDArray[np.float64]
) -> float:  # pragma: no cover - compiled
    """Turn C C^T into L D L^T, and return the largest sum of |C|^2 along a leading row over the row's diagonal.

    The error of C C^T is at most that, n times and rounded once, of the diagonals (Higham 2002, Accuracy and Stability
    of Numerical Algorithms, ch. 10, from memory).
    """
    total = np.zeros(leading)
    for k in range(leading):
        pivot = a[k, k]
        inverse = _inverse(pivot)
        total[k] += pivot.real * pivot.real + pivot.imag * pivot.imag
        a[k, k] = pivot * pivot
        for i in range(k + 1, leading):
            entry = a[i, k]
            total[i] += entry.real * entry.real + entry.imag * entry.imag
            a[i, k] = entry * inverse
        for i in range(leading, a.shape[0]):
            a[i, k] *= inverse
    return np.max(total / size)


def _pivot_order(pivots: NDArray[np.intc]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the row order and the starts of two-by-two blocks from the routine's interchanges (counted from 1)."""
    order, row = np.arange(pivots.size).tolist(), pivots.tolist()
    block, k = [], 0
    while k < len(row):
        two = int(row[k] < 0)
        here, there = k + two, abs(row[k + two]) - 1
        order[here], order[there] = order[there], order[here]
        if two:
            block.append(k)
        k += 1 + two
    return np.array(order, dtype=np.int64), np.array(block, dtype=np.int64)


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
_SYRK = _routine("cython_blas", "zsyrk", 10)
