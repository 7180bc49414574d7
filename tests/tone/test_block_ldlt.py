"""The factorisation in blocks, against solutions of the whole matrix."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.errors import SolverError
from corridor.tone.block_ldlt import BlockFactor, factor_blocks
from corridor.tone.compressed import LowRank

Complex = NDArray[np.complex128]


def passive(seed: int, n: int) -> Complex:
    """A complex symmetric matrix with a positive definite real part and a diagonal of about one."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, n)) / np.sqrt(n)
    beside = rng.normal(size=(n, n)) / n
    return root @ root.T + 0.2 * np.eye(n) + 1j * (beside + beside.T)


def smooth(n: int) -> Complex:
    """1/R between places on a line, with a strong diagonal: distant blocks have low rank."""
    place = np.arange(n, dtype=float)
    return 1.0 / (1.0 + np.abs(place[:, None] - place)) * (1 + 0.3j) + 3.0 * np.eye(n)


def in_blocks(matrix: Complex, sizes: list[int], tolerance: float) -> tuple[BlockFactor, list[int]]:
    edges = [0, *np.cumsum(sizes)]

    def block(i: int, j: int) -> Complex:
        return matrix[edges[i] : edges[i + 1], edges[j] : edges[j + 1]].copy()

    return factor_blocks(block, len(sizes), tolerance=tolerance), edges


def solved(factor: BlockFactor, edges: list[int], right: Complex) -> Complex:
    return np.concatenate(factor.solve([right[a:b] for a, b in pairwise(edges)]))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.lists(st.integers(1, 12), min_size=1, max_size=6))
def test_without_a_tolerance_it_is_exact(seed: int, sizes: list[int]) -> None:
    matrix = passive(seed, sum(sizes))
    right = passive(seed + 1, sum(sizes))[:, :2]
    factor, edges = in_blocks(matrix, sizes, 0.0)
    x = solved(factor, edges, right)
    assert np.abs(matrix @ x - right).max() < 1e-10 * np.abs(right).max()


@pytest.mark.parametrize(("tolerance", "bar"), [(1e-3, 1e-2), (1e-6, 1e-5), (1e-9, 1e-8)])
def test_what_is_left_out_shows_as_much(tolerance: float, bar: float) -> None:
    matrix, right = smooth(160), np.eye(160)[:, [3, 80]] + 0j
    factor, edges = in_blocks(matrix, [40] * 4, tolerance)
    x = solved(factor, edges, right)
    assert np.linalg.norm(matrix @ x - right) < bar * np.linalg.norm(right)


def test_distant_blocks_are_thin_and_save_memory() -> None:
    matrix = smooth(300)
    factor, _ = in_blocks(matrix, [50] * 6, 1e-6)
    block = factor.below[5][0]
    assert isinstance(block, LowRank)
    assert block.left.shape[1] < 15
    assert factor.nbytes < 0.6 * matrix.nbytes


def test_the_right_hand_side_stays_as_it_is() -> None:
    factor, edges = in_blocks(passive(1, 20), [8, 12], 0.0)
    right = [np.ones((8, 1), dtype=complex), np.ones((12, 1), dtype=complex)]
    factor.solve(right)
    assert all((part == 1.0).all() for part in right)
    assert edges == [0, 8, 20]


def test_a_saddle_needs_pivots_within_a_block() -> None:
    # potentials have no diagonal of their own
    matrix = np.array([[2.0, 1.0, 0.1], [1.0, 0.0, 0.2], [0.1, 0.2, 3.0]], dtype=complex)
    factor, edges = in_blocks(matrix, [2, 1], 0.0)
    right = np.array([[1.0], [2.0], [3.0]], dtype=complex)
    np.testing.assert_allclose(solved(factor, edges, right), np.linalg.solve(matrix, right), rtol=1e-12)


def test_an_empty_block_is_allowed() -> None:
    matrix = passive(2, 6)
    factor, edges = in_blocks(matrix, [6, 0], 0.0)
    right = np.ones((6, 1), dtype=complex)
    np.testing.assert_allclose(solved(factor, edges, right), np.linalg.solve(matrix, right), rtol=1e-10)


def test_a_singular_block_is_refused() -> None:
    with pytest.raises(SolverError, match="singular"):
        in_blocks(np.zeros((4, 4), dtype=complex), [2, 2], 0.0)


def test_the_same_input_gives_the_same_bytes() -> None:
    one, two = (in_blocks(smooth(120), [40] * 3, 1e-6)[0] for _ in range(2))
    right = [np.ones((40, 2), dtype=complex)] * 3
    assert all(a.tobytes() == b.tobytes() for a, b in zip(one.solve(right), two.solve(right), strict=True))
