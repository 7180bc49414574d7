from typing import Any

import numpy as np
import pytest

from corridor.errors import DomainError, SolverError
from corridor.tone.layout import Layout, Solution, as_impedances, finite_array, refuse_shorted_loops


def three_chains() -> Layout:
    return Layout(np.array([0, 0, 0, 1, 2, 2]), np.array([0, 5]), np.array([4, 7]))


def test_numbers_of_sections_chains_nodes_and_elements() -> None:
    layout = three_chains()
    assert (layout.n_sections, layout.n_chains, layout.n_nodes, layout.n_elements) == (6, 3, 9, 2)


def test_section_i_of_chain_c_lies_between_nodes_i_plus_c_and_the_next() -> None:
    layout = three_chains()
    assert layout.start_node.tolist() == [0, 1, 2, 4, 6, 7]
    assert layout.first_section.tolist() == [0, 3, 4]
    assert layout.first_node.tolist() == [0, 4, 6]
    assert layout.node_chain.tolist() == [0, 0, 0, 0, 1, 1, 2, 2, 2]


def test_lists_are_taken_and_no_element_is_fine() -> None:
    layout = Layout([0], [], [])  # type: ignore[arg-type]
    assert layout.n_elements == 0
    assert layout.node_a.dtype == layout.chain.dtype == np.int64


@pytest.mark.parametrize("chain", [[], [1, 1], [0, 2], [0, 1, 0]], ids=["empty", "from one", "gap", "returns"])
def test_chains_out_of_order_are_refused(chain: list[int]) -> None:
    with pytest.raises(DomainError, match="section by section"):
        Layout(np.array(chain), np.empty(0), np.empty(0))


@pytest.mark.parametrize(("a", "b"), [(0, 9), (-1, 2), (3, 3)])
def test_element_between_impossible_nodes_is_refused(a: int, b: int) -> None:
    with pytest.raises(DomainError, match=f"got element 1 between {a} and {b}"):
        Layout(np.array([0, 0, 0, 1, 2, 2]), np.array([0, a]), np.array([1, b]))


def test_element_without_second_node_is_refused() -> None:
    with pytest.raises(DomainError, match="one node_a and one node_b per element"):
        Layout(np.array([0, 0]), np.array([0, 1]), np.array([1]))


def test_section_ends_differ_by_the_leak() -> None:
    one = np.ones((1, 1), dtype=complex)
    head, tail = Solution(3 * one, 0.5 * one, one, one).section_ends()
    assert head[0, 0] == 3.25
    assert tail[0, 0] == 2.75


def test_every_kind_of_infinity_means_open() -> None:
    values = as_impedances([1 + 2j, np.inf, complex(np.inf, np.nan), complex(0, np.inf), 0], 5)
    assert values.tolist() == [1 + 2j, np.inf, np.inf, np.inf, 0]


@pytest.mark.parametrize("bad", [-1.0, np.nan, complex(-1e-9, 3)])
def test_active_or_undefined_impedance_is_refused(bad: complex) -> None:
    with pytest.raises(DomainError, match=r"resistance of 0 ohms or more, got .* for element 1"):
        as_impedances([1.0, bad], 2)


def test_wrong_number_of_impedances_is_refused() -> None:
    with pytest.raises(DomainError, match="each of 3 elements"):
        as_impedances([1.0, 2.0], 3)


def test_loops_with_impedance_pass() -> None:
    layout = Layout(np.array([0, 0, 1]), np.array([0, 0, 0]), np.array([3, 3, 4]))
    free = np.zeros(3, dtype=bool)
    refuse_shorted_loops(layout, free, np.array([0, 1e-6, 0], dtype=complex))
    refuse_shorted_loops(layout, free, np.array([0, np.inf, 0], dtype=complex))


def test_zero_ohm_loop_is_named_in_full_and_alone() -> None:
    layout = Layout(np.array([0, 1, 2]), np.array([0, 1, 0, 2, 5]), np.array([2, 3, 4, 4, 3]))
    with pytest.raises(SolverError, match="elements 0, 2, 3 close a loop of zero ohms"):
        refuse_shorted_loops(layout, np.zeros(3, dtype=bool), np.array([0, 0, 0, 0, 5], dtype=complex))


def test_loop_through_an_electrode_counts() -> None:
    layout = Layout(np.array([0, 1]), np.array([0, 0]), np.array([2, 3]))
    zero = np.zeros(2, dtype=complex)
    refuse_shorted_loops(layout, np.array([False, False]), zero)
    with pytest.raises(SolverError, match="elements 0, 1 close a loop"):
        refuse_shorted_loops(layout, np.array([False, True]), zero)


@pytest.mark.parametrize(
    ("values", "shape", "said"),
    [
        (np.zeros(3), (2,), r"need x of shape \(2,\), got \(3,\)"),
        (np.zeros((2, 3)), (3, "k"), r"need x of shape \(3, k\), a row each, got \(2, 3\)"),
        (np.zeros((2, 3)), (2,), r"need x of shape \(2,\), a row each, got \(2, 3\)"),
        ([1.0, np.nan], (2,), "need finite values in x"),
        ([1.0, np.inf], ("k",), "need finite values in x"),
    ],
)
def test_values_that_do_not_fit_are_refused(values: Any, shape: tuple[Any, ...], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        finite_array(values, "x", shape, hint="a row each" if "each" in said else "")


def test_values_that_fit_come_back_complex() -> None:
    assert finite_array([[1, 2, 3]], "x", (1, "k")).dtype == np.complex128
    assert finite_array(np.zeros((0, 4)), "x", ("k", 4)).shape == (0, 4)
