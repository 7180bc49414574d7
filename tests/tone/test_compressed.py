"""Matrices in blocks of low rank, against the whole matrices."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.tone.compressed import BlockMatrix, LowRank, compress, dense, size, times, transposed, truncated
from tests.tone.grids import Grid

TOLERANCE = 1e-6
SOILS = {
    "one soil": {"resistivity_ohm_m": 80.0},
    "two layers": {"resistivity_ohm_m": 80.0, "top_thickness_m": 0.9, "lower_resistivity_ohm_m": 300.0},
}


@cache
def grid(soil: str = "one soil", frequency_hz: float = 10e3) -> Grid:
    return Grid(soil=SOILS[soil], frequency_hz=frequency_hz)


def random(rows: int, columns: int, rank: int, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    one, other = (rng.normal(size=(n, rank)) + 1j * rng.normal(size=(n, rank)) for n in (rows, columns))
    return one @ other.T


@pytest.mark.parametrize(
    ("soil", "frequency_hz"),
    [("one soil", 500.0), pytest.param("one soil", 200e3, marks=pytest.mark.thorough), ("two layers", 200e3)],
)
def test_products_are_those_of_the_whole_matrices(soil: str, frequency_hz: float) -> None:
    # identity: the blocks are made from few of the entries, the matrices from all. A table's interpolation, smooth to
    # its own error only, may cost some of the tolerance.
    whole = grid(soil, frequency_hz)
    _, *compressed = whole.compressed(tolerance=TOLERANCE)
    x = random(whole.layout.n_sections, 3, 3)
    for matrix, made in zip(whole.matrices, compressed, strict=True):
        wanted = matrix @ x
        assert np.linalg.norm(made @ x - wanted) < 10 * TOLERANCE * np.linalg.norm(wanted)


@pytest.mark.parametrize("tolerance", [1e-3, 1e-5])
def test_each_block_keeps_to_the_tolerance(tolerance: float) -> None:
    # sampled, not worked out in full: three times the tolerance is allowed for what the samples don't tell
    clusters, *compressed = grid().compressed(tolerance=tolerance)
    for matrix, made in zip(grid().matrices, compressed, strict=True):
        for i, rows in enumerate(clusters.groups):
            for j, columns in enumerate(clusters.groups):
                block = matrix[np.ix_(rows, columns)]
                missed = np.linalg.norm(dense(made.block(i, j)) - block)
                assert missed <= 3 * tolerance * np.linalg.norm(block)


def test_a_tighter_tolerance_takes_more_memory() -> None:
    loose, tight = (grid().compressed(tolerance=tolerance)[2].nbytes for tolerance in (1e-3, 1e-7))
    assert loose < tight < grid().matrices[1].nbytes


def test_products_are_symmetric() -> None:
    # reciprocity, to rounding: the block above the diagonal is the one below
    _, z, p = grid().compressed()
    x, y = random(grid().layout.n_sections, 1, 1, 1), random(grid().layout.n_sections, 1, 1, 2)
    for matrix in (z, p):
        assert (y.T @ (matrix @ x))[0, 0] == pytest.approx((x.T @ (matrix @ y))[0, 0], rel=1e-9)


def test_the_diagonal_is_kept() -> None:
    _, z, p = grid().compressed()
    for matrix, made in zip(grid().matrices, (z, p), strict=True):
        np.testing.assert_allclose(made.diagonal(), matrix.diagonal(), rtol=1e-12)


def test_empty_parts_of_a_source_are_passed_over() -> None:
    _, z, _ = grid().compressed()
    x = np.zeros((grid().layout.n_sections, 2))
    assert not (z @ x).any()
    x[7, 1] = 1.0
    np.testing.assert_allclose((z @ x)[:, 1], grid().matrices[0][:, 7], atol=1e-6 * abs(grid().matrices[0]).max())


def test_the_same_input_gives_the_same_bytes() -> None:
    one, two = (Grid(streets=2).compressed(size=40)[2] for _ in range(2))
    for row, other in zip(one.blocks, two.blocks, strict=True):
        for a, b in zip(row, other, strict=True):
            assert dense(a).tobytes() == dense(b).tobytes()


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 30), st.integers(2, 30), st.integers(1, 30), st.integers(0, 1000))
def test_truncation_keeps_to_its_tolerance(rows: int, columns: int, rank: int, seed: int) -> None:
    block = random(rows, columns, rank, seed)
    for tolerance in (1e-8, 0.1 * float(np.linalg.norm(block))):
        kept = truncated(block, tolerance)
        assert np.linalg.norm(dense(kept) - block) <= tolerance * (1 + 1e-9)
        assert size(kept) <= block.nbytes


def test_what_has_full_rank_stays_dense() -> None:
    block = random(12, 12, 12)
    assert truncated(block, 1e-12) is block


def test_what_has_rank_two_is_kept_as_such() -> None:
    kept = truncated(random(20, 30, 2), 1e-9)
    assert isinstance(kept, LowRank)
    assert kept.left.shape == (20, 2)


def test_a_block_of_zeros_takes_nothing() -> None:
    kept = truncated(np.zeros((9, 8), dtype=complex), 0.0)
    assert size(kept) == 0
    assert dense(kept).shape == (9, 8)


@pytest.mark.parametrize("rank", [2, 30])
def test_products_of_blocks(rank: int) -> None:
    block = random(20, 30, rank)
    kept = truncated(block, 1e-9)
    x, y = random(30, 4, 4), random(20, 4, 4)
    np.testing.assert_allclose(times(kept, x), block @ x, atol=1e-8)
    np.testing.assert_allclose(times(transposed(kept), y), block.T @ y, atol=1e-8)


def test_directions_at_right_angles_are_both_seen() -> None:
    # the block of two groups of crossing lines falls into parts that know nothing of each other
    rng = np.random.default_rng(0)
    n = 100
    place = np.vstack([rng.uniform(0, 20, (n, 2)), rng.uniform(60, 80, (n, 2))])
    east = np.arange(2 * n) % 20 > 0  # one in twenty the other way
    distance = np.linalg.norm(place[:, None] - place, axis=2) + np.eye(2 * n)
    matrix = (east[:, None] == east) / distance + 0j
    groups = (np.arange(n), np.arange(n, 2 * n))
    features = np.column_stack([place, 30.0 * east])
    made, _ = compress(groups, features, lambda r, c: (matrix[np.ix_(r, c)],) * 2, tolerance=1e-7)
    assert isinstance(made, BlockMatrix)
    block = matrix[np.ix_(groups[1], groups[0])]
    assert isinstance(made.block(1, 0), LowRank)
    assert np.linalg.norm(dense(made.block(1, 0)) - block) < 3e-7 * np.linalg.norm(block)
