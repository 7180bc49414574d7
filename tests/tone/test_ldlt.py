import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError, SolverError
from corridor.tone.ldlt import GrowthError, factor_symmetric


def random_symmetric(seed: int, n: int, *, small_diagonal: bool = True) -> np.ndarray:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, n)) + 1j * rng.normal(size=(n, n))
    matrix = root + root.T
    if small_diagonal:  # forces two-by-two pivots
        matrix[np.diag_indices(n)] *= 1e-3
    return matrix


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 40), st.booleans())
def test_solution_satisfies_the_equations(seed: int, n: int, small_diagonal: bool) -> None:
    matrix = random_symmetric(seed, n, small_diagonal=small_diagonal)
    right = np.random.default_rng(seed).normal(size=(n, 3)) + 0j
    factor = factor_symmetric(np.array(matrix, order="F"))
    solved = factor.solve(right)
    # backward stability of Bunch and Kaufman's pivoting: the residual is rounding times the sizes that enter it
    bound = 1e-12 * n * abs(matrix).max() * max(abs(solved).max(), 1)
    assert abs(matrix @ solved - right).max() <= bound


def test_two_by_two_pivots_are_used_and_right() -> None:
    matrix = random_symmetric(3, 30)
    factor = factor_symmetric(np.array(matrix, order="F"))
    assert factor.block.size > 0
    inverse = factor.solve(np.eye(30, dtype=complex))
    np.testing.assert_allclose(matrix @ inverse, np.eye(30), atol=1e-11)


def test_saddle_point_with_zero_diagonal() -> None:
    # Lagrange's equations of x^2 + y^2 under x + y = 2: x = y = 1, multiplier -2
    matrix = np.array([[2, 0, 1], [0, 2, 1], [1, 1, 0]], dtype=complex, order="F")
    solved = factor_symmetric(matrix).solve(np.array([[0], [0], [2]], dtype=complex))
    np.testing.assert_allclose(solved[:, 0], [1, 1, -2], atol=1e-14)


def bordered(seed: int, n: int, border: int) -> np.ndarray:
    """Complex symmetric with a positive definite real part but for a border, as leaks and chain potentials make it."""
    rng = np.random.default_rng(seed)
    real, imag = rng.normal(size=(2, n, n))
    matrix = np.zeros((n + border, n + border), dtype=complex)
    matrix[:n, :n] = real @ real.T / n + np.eye(n) * 0.01 + 1j * (imag + imag.T) / np.sqrt(n)
    beside = rng.normal(size=(border, n)) + 1j * rng.normal(size=(border, n))
    matrix[n:, :n], matrix[:n, n:] = beside, beside.T
    return matrix


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 150), st.integers(0, 12))
def test_leading_rows_without_pivoting_solve_as_lapacks_general_solver(seed: int, n: int, border: int) -> None:
    matrix = bordered(seed, n, min(border, n))
    right = np.random.default_rng(seed).normal(size=(len(matrix), 3)) + 0j
    factor = factor_symmetric(np.array(matrix, order="F"), leading=n)
    np.testing.assert_array_equal(np.sort(factor.order), np.arange(len(matrix)))
    np.testing.assert_array_equal(factor.order[:n], np.arange(n))
    # numpy.linalg.solve is LAPACK's zgesv, LU with row pivoting; both err by rounding times the condition number
    expected = np.linalg.solve(matrix, right)
    bound = 1e-13 * np.linalg.cond(matrix) * abs(expected).max()
    assert abs(factor.solve(right) - expected).max() <= bound


def test_leading_rows_have_the_condition_number_of_the_whole() -> None:
    matrix = bordered(2, 90, 7)
    # Higham, Accuracy and Stability of Numerical Algorithms, ch. 15 (from memory), as below
    true = 1 / np.linalg.cond(matrix, 1)
    estimate = factor_symmetric(np.array(matrix, order="F"), leading=90).reciprocal_condition
    assert true * (1 - 1e-9) <= estimate <= 3 * true


def test_factor_of_leading_rows_is_the_product() -> None:
    matrix = bordered(4, 120, 0)
    factor = factor_symmetric(np.array(matrix, order="F"), leading=120)
    lower = np.tril(factor.lower, -1) + np.eye(120)
    # A = L D L^T is what the factor is defined by
    np.testing.assert_allclose(lower @ np.diag(1 / factor.inverse_diagonal) @ lower.T, matrix, atol=1e-12)
    assert not factor.block.size


def test_leading_rows_that_need_pivots_are_told() -> None:
    # C of C C^T has the rows (1e-6, 0) and (1e6, sqrt(1 - 1e12)): 2e12 where the diagonal is 1
    matrix = np.array([[1e-12, 1.0], [1.0, 1.0]], dtype=complex, order="F")
    with pytest.raises(GrowthError, match=r"2 rows can't be eliminated without pivoting: entries grow 2e\+12 times"):
        factor_symmetric(matrix.copy(order="F"), leading=2)
    solved = factor_symmetric(matrix).solve(np.array([[1.0], [2.0]], dtype=complex))
    np.testing.assert_allclose(solved[:, 0], [1.0, 1.0], rtol=1e-9)


@pytest.mark.parametrize("pivot", [0.0, np.nan])
def test_a_leading_pivot_that_is_no_number_to_divide_by_is_told(pivot: float) -> None:
    matrix = np.array([[pivot, 1.0], [1.0, 1.0]], dtype=complex, order="F")
    with pytest.raises(GrowthError, match="2 rows can't be eliminated"):
        factor_symmetric(matrix, leading=2)


@pytest.mark.parametrize("leading", [-1, 4])
def test_leading_rows_must_be_rows(leading: int) -> None:
    with pytest.raises(DomainError, match=f"0 to 3 leading rows, got {leading}"):
        factor_symmetric(np.eye(3, dtype=complex, order="F"), leading=leading)


def test_only_the_lower_triangle_is_read() -> None:
    matrix = random_symmetric(5, 12)
    broken = np.array(np.tril(matrix), order="F")
    broken[np.triu_indices(12, 1)] = np.nan
    right = np.ones((12, 1), dtype=complex)
    np.testing.assert_array_equal(
        factor_symmetric(broken).solve(right), factor_symmetric(np.array(matrix, order="F")).solve(right)
    )


def test_reciprocal_condition_is_a_condition_number() -> None:
    matrix = random_symmetric(7, 25)
    true = 1 / np.linalg.cond(matrix, 1)
    # Higham, Accuracy and Stability of Numerical Algorithms, ch. 15 (from memory): the estimate of the inverse's
    # norm is a lower bound, hardly ever off by more than three
    estimate = factor_symmetric(np.array(matrix, order="F")).reciprocal_condition
    assert true * (1 - 1e-9) <= estimate <= 3 * true


def test_right_hand_side_is_left_alone_and_may_be_of_any_order() -> None:
    factor = factor_symmetric(np.array(random_symmetric(8, 10), order="F"))
    right = np.random.default_rng(0).normal(size=(10, 4)) + 0j
    kept = right.copy()
    solved = factor.solve(right)
    np.testing.assert_array_equal(right, kept)
    np.testing.assert_array_equal(factor.solve(np.asfortranarray(right)), solved)
    assert factor.solve(np.zeros((10, 0), dtype=complex)).shape == (10, 0)


def test_threads_share_one_factor() -> None:
    factor = factor_symmetric(np.array(random_symmetric(9, 200), order="F"))
    right = [np.random.default_rng(seed).normal(size=(200, 20)) + 0j for seed in range(4)]
    alone = [factor.solve(r) for r in right]
    together: list[np.ndarray] = [np.empty(0)] * 4

    def work(k: int) -> None:
        together[k] = factor.solve(right[k])

    threads = [threading.Thread(target=work, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one, other in zip(alone, together, strict=True):
        np.testing.assert_array_equal(one, other)


def test_zero_pivot_is_an_error_that_says_where_to_look() -> None:
    with pytest.raises(SolverError, match=r"singular: pivot .* loop without impedance"):
        factor_symmetric(np.zeros((3, 3), dtype=complex, order="F"))


@pytest.mark.parametrize(
    "matrix",
    [
        np.ones((2, 3), dtype=complex, order="F"),
        np.ones((3, 3), order="F"),
        np.ones((3, 3), dtype=complex, order="C"),
    ],
    ids=["not square", "real", "row by row"],
)
def test_wrong_matrix_is_refused(matrix: np.ndarray) -> None:
    with pytest.raises(DomainError, match="square complex128 array stored column by column"):
        factor_symmetric(matrix)


def test_wrong_right_hand_side_is_refused() -> None:
    factor = factor_symmetric(np.eye(3, dtype=complex, order="F"))
    with pytest.raises(DomainError, match=r"shape \(3, k\), got \(2, 1\)"):
        factor.solve(np.ones((2, 1), dtype=complex))
