"""Factorisation L D L^T of a symmetric matrix in blocks, each below the diagonal kept at low rank.

The pivots of a block are chosen within it (Bunch and Kaufman); between blocks the order is given. With W = L D the
block column j follows from those before it, W_ij = A_ij - sum over k < j of W_ik D_k^-1 W_jk^T, worked out in full and
then truncated. That costs far less than the dense factorisation, and is exact to the tolerance (block low-rank
factorisation: Amestoy, Ashcraft, Boiteau, Buttari, L'Excellent, Weisbecker 2015, SIAM Journal on Scientific Computing
37:A1451, from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corridor.threads import in_parallel
from corridor.tone.compressed import Block, LowRank, dense, size, times, transposed, truncated
from corridor.tone.ldlt import SymmetricFactor, factor_symmetric

__all__ = ["BlockFactor", "factor_blocks"]

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class BlockFactor:
    """A matrix of some blocks, factored.

    Attributes
    ----------
    pivots : tuple of SymmetricFactor
        Of the diagonal blocks D.
    below : tuple of tuple of blocks
        W = L D below the diagonal, row by row.
    """

    pivots: tuple[SymmetricFactor, ...]
    below: tuple[tuple[Block, ...], ...]

    @property
    def nbytes(self) -> int:
        """Bytes that the factor takes."""
        return sum(size(block) for row in self.below for block in row) + sum(p.lower.nbytes for p in self.pivots)

    def solve(self, right: list[Complex]) -> list[Complex]:
        """Solve for right-hand sides given block by block.

        Parameters
        ----------
        right : list of ndarray of complex, shape (size of the block, k)
            Left as it is.

        Returns
        -------
        list of ndarray of complex
            The solution, block by block.
        """
        found: list[Complex] = []
        for j, values in enumerate(right):
            rest = values.copy()
            for k, block in enumerate(self.below[j]):
                rest -= times(block, found[k])
            found.append(self.pivots[j].solve(rest))
        for j in range(len(found) - 1, -1, -1):
            rest = np.zeros_like(found[j])
            for i in range(j + 1, len(found)):
                rest += times(transposed(self.below[i][j]), found[i])
            found[j] = found[j] - self.pivots[j].solve(rest)
        return found


def factor_blocks(assemble: Callable[[int, int], Complex], count: int, *, tolerance: float) -> BlockFactor:
    """Factor a symmetric matrix whose blocks come from a function.

    Parameters
    ----------
    assemble : callable
        Row and column of a block, row >= column, to a new dense array that may be overwritten; called once a block,
        from several threads.
    count : int
        Number of block rows.
    tolerance : float
        Largest Frobenius norm of what is left out of a block; the matrix should have a diagonal of about one.

    Returns
    -------
    BlockFactor

    Raises
    ------
    SolverError
        If a pivot is exactly zero.
    """
    below: list[list[Block]] = [[] for _ in range(count)]
    pivots: list[SymmetricFactor] = []
    for j in range(count):
        finished: dict[int, Block] = {}
        column = _Column(j, assemble, below, _terms(below[j], pivots), finished, tolerance)
        in_parallel(column.finish, range(j, count))
        pivots.append(factor_symmetric(np.asfortranarray(dense(finished[j]))))
        for i in range(j + 1, count):
            below[i].append(finished[i])
    return BlockFactor(tuple(pivots), tuple(map(tuple, below)))


@dataclass(frozen=True)
class _Column:
    """A block column on its way: what is taken from each of its blocks, and those finished."""

    number: int
    assemble: Callable[[int, int], Complex]
    below: list[list[Block]]
    terms: tuple[list[Complex], Complex]
    finished: dict[int, Block]
    tolerance: float

    def finish(self, row: int) -> None:
        """Work out one block of the column."""
        block = self.assemble(row, self.number)
        inner, outer = self.terms
        if inner:
            left = [times(done, part) for done, part in zip(self.below[row][: self.number], inner, strict=True)]
            block -= np.hstack(left) @ outer
        self.finished[row] = block if row == self.number else truncated(block, self.tolerance)


def _terms(row: list[Block], pivots: list[SymmetricFactor]) -> tuple[list[Complex], Complex]:
    """Return D_k^-1 W_jk^T for each k, as thin factors: the first ones apart, the second ones stacked."""
    thin = [
        block if isinstance(block, LowRank) else LowRank(np.eye(len(block), dtype=np.complex128), block.T)
        for block in row
    ]
    inner = [np.empty((0, 0), dtype=np.complex128)] * len(row)

    def work(k: int) -> None:
        inner[k] = pivots[k].solve(thin[k].right)

    in_parallel(work, range(len(row)))
    return inner, np.vstack([block.left.T for block in thin]) if thin else np.empty((0, 0), dtype=np.complex128)
