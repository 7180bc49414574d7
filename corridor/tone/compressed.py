"""Symmetric matrices in blocks: dense within a group of sections, products of thin matrices between groups.

The kernels are smooth away from their own place, so the block of two groups has a low numerical rank. Of groups that
lie apart only some rows and columns are worked out: columns spread over the one group tell which rows of the other hold
all there is, and how the rest follows from them (interpolative decomposition: Cheng, Gimbutas, Martinsson, Rokhlin
2005, SIAM Journal on Scientific Computing 26:1389, from memory).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr, solve_triangular

from corridor.threads import in_parallel

__all__ = [
    "Block",
    "BlockMatrix",
    "Entries",
    "LowRank",
    "compress",
    "dense",
    "size",
    "times",
    "transposed",
    "truncated",
]

Complex = NDArray[np.complex128]
Indices = NDArray[np.int64]

SAMPLES = 72  # columns of a group that stand for all of it; a block with a rank near to it is worked out in full
NEAR_SHARE = 0.5  # groups nearer than this share of the smaller one's size are worked out in full
RECOMPRESS = 0.5  # part of the tolerance that the second, optimal truncation may use
WORTHWHILE = 0.75  # a block is kept dense where thin factors would take more than this share of it
FIRST_RANK = 32  # tried first
GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


class LowRank(NamedTuple):
    """A block as ``left @ right.T``, shapes (rows, r) and (columns, r)."""

    left: Complex
    right: Complex


Block = Complex | LowRank
# rows, columns -> the blocks of both matrices
Entries = Callable[[Indices, Indices], tuple[Complex, Complex]]


def dense(block: Block) -> Complex:
    """Return a block as an array."""
    return block.left @ block.right.T if isinstance(block, LowRank) else block


def size(block: Block) -> int:
    """Return the bytes that a block takes."""
    return block.left.nbytes + block.right.nbytes if isinstance(block, LowRank) else block.nbytes


def times(block: Block, x: NDArray[Any]) -> Complex:
    """Return block @ x."""
    return block.left @ (block.right.T @ x) if isinstance(block, LowRank) else block @ x


def transposed(block: Block) -> Block:
    """Return the block's transpose, without a copy."""
    return LowRank(block.right, block.left) if isinstance(block, LowRank) else block.T


@dataclass(frozen=True)
class BlockMatrix:
    """A symmetric matrix of n sections in groups.

    Attributes
    ----------
    groups : tuple of ndarray of int
        Sections of each group.
    blocks : tuple of tuple of blocks
        Lower triangle: row by row of groups, up to the diagonal.
    """

    groups: tuple[Indices, ...]
    blocks: tuple[tuple[Block, ...], ...]

    @property
    def nbytes(self) -> int:
        """Bytes that the blocks take."""
        return sum(size(block) for row in self.blocks for block in row)

    def block(self, row: int, column: int) -> Block:
        """Return the block of two groups, also above the diagonal."""
        return self.blocks[row][column] if row >= column else transposed(self.blocks[column][row])

    def diagonal(self) -> Complex:
        """Return the main diagonal, shape (n,)."""
        out = np.empty(sum(group.size for group in self.groups), dtype=np.complex128)
        for number, group in enumerate(self.groups):
            out[group] = dense(self.blocks[number][number]).diagonal()
        return out

    def __matmul__(self, x: NDArray[Any]) -> Complex:
        """Return the product with an array of shape (n, k)."""
        parts = [np.ascontiguousarray(x[group]) for group in self.groups]
        used = [number for number, part in enumerate(parts) if part.any()]
        out = np.zeros(x.shape, dtype=np.complex128)

        def row(number: int) -> None:
            total = np.zeros_like(parts[number], dtype=np.complex128)
            for other in used:
                total += times(self.block(number, other), parts[other])
            out[self.groups[number]] = total

        in_parallel(row, range(len(self.groups)))
        return out


def truncated(block: Complex, tolerance: float) -> Block:
    """Return a block of lower rank where that takes less memory, else the block itself.

    Its range is found from its product with a few columns, twice as many each time until nothing is missed (Halko,
    Martinsson, Tropp 2011, SIAM Review 53:217, from memory), then cut to the least rank by singular values.

    Parameters
    ----------
    block : ndarray of complex, shape (rows, columns)
        Dense.
    tolerance : float
        Largest Frobenius norm of what is left out.
    """
    norm = float(np.linalg.norm(block))
    if norm <= tolerance:
        return LowRank(*(np.empty((n, 0), dtype=np.complex128) for n in block.shape))
    most, columns = int(WORTHWHILE * block.size / sum(block.shape)), 0
    while columns < most:
        columns = min(max(2 * columns, FIRST_RANK), most)
        basis, _ = np.linalg.qr(block @ _mixed(block.shape[1], columns))
        part = basis.conj().T @ block
        missed = float(np.linalg.norm(block - basis @ part))
        if missed <= 0.5 * tolerance:
            u, values, v = np.linalg.svd(part, full_matrices=False)
            rest = np.sqrt(np.cumsum(values[::-1] ** 2))[::-1]
            rank = int(np.count_nonzero(rest > math.sqrt(tolerance**2 - missed**2)))
            return LowRank(basis @ (u[:, :rank] * values[:rank]), np.ascontiguousarray(v[:rank].T))
    return block


def _mixed(rows: int, columns: int) -> Complex:
    """Return columns with something of every row, each in another way: not by chance, so that runs repeat."""
    row, column = np.arange(1, rows + 1)[:, np.newaxis], np.arange(1, columns + 1)
    return np.exp(2j * np.pi * (GOLDEN * row * column**2 % 1.0))


def compress(
    groups: tuple[Indices, ...], features: NDArray[np.float64], entries: Entries, *, tolerance: float
) -> tuple[BlockMatrix, BlockMatrix]:
    """Return two symmetric matrices, whose entries come from one function, in blocks.

    Parameters
    ----------
    groups : tuple of ndarray of int
        Sections of each group.
    features : ndarray of float, shape (n, d)
        Middle of each section in plan (x, y), then whatever else makes sections act alike, to the same scale.
    entries : callable
        Rows and columns (section numbers) to the two matrices' blocks, shape (rows, columns).
    tolerance : float
        Largest error of a block against its norm.

    Returns
    -------
    tuple of two BlockMatrix
    """
    sample = [_spread(group, features) for group in groups]
    boxes = [(features[group, :2].min(axis=0), features[group, :2].max(axis=0)) for group in groups]
    first: list[list[Block]] = []
    second: list[list[Block]] = []
    for i, rows in enumerate(groups):
        first.append([])
        second.append([])
        for j, columns in enumerate(groups[: i + 1]):
            pair: tuple[Block, Block] | None = None
            if i == j:
                pair = entries(rows, columns)
            elif _apart(boxes[i], boxes[j]):
                pair = _sampled(rows, columns, sample[j], entries, tolerance=tolerance)
            if pair is None:
                full = entries(rows, columns)
                a, b = (truncated(block, tolerance * float(np.linalg.norm(block))) for block in full)
                pair = (a, b)
            first[-1].append(pair[0])
            second[-1].append(pair[1])
    return BlockMatrix(groups, tuple(map(tuple, first))), BlockMatrix(groups, tuple(map(tuple, second)))


def _apart(one: tuple[Any, Any], other: tuple[Any, Any]) -> bool:
    gap = np.maximum(np.maximum(one[0] - other[1], other[0] - one[1]), 0.0)
    size = min(float(np.hypot(*(box[1] - box[0]))) for box in (one, other))
    return bool(np.hypot(*gap) > NEAR_SHARE * size)


def _spread(group: Indices, features: NDArray[np.float64]) -> Indices:
    """Return sections of a group that lie as far from each other as can be, in place and in the other features."""
    values = features[group]
    chosen = [0]
    distance = np.linalg.norm(values - values[0], axis=1)
    while len(chosen) < min(SAMPLES, group.size):
        chosen.append(int(distance.argmax()))
        distance = np.minimum(distance, np.linalg.norm(values - values[chosen[-1]], axis=1))
    return group[np.sort(chosen)]


def _sampled(
    rows: Indices, columns: Indices, sample: Indices, entries: Entries, *, tolerance: float
) -> tuple[Block, Block] | None:
    """Return both blocks from some of their rows and columns; None where these don't tell enough."""
    found = [_skeleton(block, tolerance) for block in entries(rows, sample)]
    if any(part is None for part in found):
        return None
    skeletons = [part for part in found if part is not None]
    wanted = np.concatenate([chosen for chosen, _ in skeletons])
    exact = entries(rows[wanted], columns)
    split = len(skeletons[0][0])
    parts = (exact[0][:split], exact[1][split:])
    a, b = (
        _recompressed(LowRank(weights, part.T), tolerance * RECOMPRESS)
        for (_, weights), part in zip(skeletons, parts, strict=True)
    )
    return a, b


def _skeleton(block: Complex, tolerance: float) -> tuple[Indices, Complex] | None:
    """Return rows that hold all there is in a block, and all rows' weights of them, shape (rows, r)."""
    triangle, order = qr(block.T, mode="r", pivoting=True, check_finite=False)
    size = np.abs(np.diagonal(triangle))
    rank = int(np.count_nonzero(size > 0.1 * tolerance * size[0]))
    if rank > 0.75 * min(block.shape):
        return None
    weights = np.zeros((block.shape[0], rank), dtype=np.complex128)
    if rank:
        weights[order[:rank]] = np.eye(rank)
        weights[order[rank:]] = solve_triangular(triangle[:rank, :rank], triangle[:rank, rank:]).T
    return order[:rank].astype(np.int64), weights


def _recompressed(block: LowRank, tolerance: float) -> Block:
    """Return the same block at the least rank, by the singular values of its core."""
    if not block.left.size:
        return block
    left, a = np.linalg.qr(block.left)
    right, b = np.linalg.qr(block.right)
    u, size, v = np.linalg.svd(a @ b.T)
    rest = np.sqrt(np.cumsum(size[::-1] ** 2))[::-1]
    rank = int(np.count_nonzero(rest > tolerance * rest[0]))
    return LowRank(np.ascontiguousarray(left @ (u[:, :rank] * size[:rank])), np.ascontiguousarray(right @ v[:rank].T))
