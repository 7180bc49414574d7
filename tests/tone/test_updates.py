from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.errors import DomainError, SolverError
from corridor.tone.layout import Layout
from corridor.tone.tree import Factored, factorise
from tests.tone.networks import Network, kirchhoff_residual, power_balance, random_network, sources, worst_difference

impedances = st.sampled_from([0.0, 1e-3, 1.0, 30.0, 1e6, np.inf, 5 - 200j, 1e-3 + 40j])
often = settings(max_examples=80, deadline=None)


def factored(network: Network) -> Factored:
    return factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)


def sound(network: Network, elements: NDArray[np.int64], values: list[complex]) -> NDArray[np.complex128]:
    """Return impedances for some elements; a zero becomes a microhm where it would close a loop of zeros."""
    layout = network.layout
    ohms = np.resize(np.array(values, dtype=complex), elements.size)
    head = layout.start_node[np.diag(network.z_ohm) == 0]  # a ground electrode has no impedance along it either
    a, b = layout.node_a[elements], layout.node_b[elements]
    ohms[np.isin(a, head) & (b == a + 1) & (ohms == 0)] = 1e-6
    zeros = np.flatnonzero(ohms == 0)
    ohms[zeros[1:]] = 1e-6 * (1 + np.arange(max(zeros.size - 1, 0)))
    return ohms


def with_ohms(network: Network, values: list[complex]) -> Network:
    """Return the network with these impedances, as far as they are sound."""
    return replace(network, element_ohm=sound(network, np.arange(network.layout.n_elements), values))


def test_an_electrode_shorted_by_an_element_is_refused() -> None:
    network = random_network(21, elements=6)
    head = network.layout.start_node[np.diag(network.z_ohm) == 0]
    across = np.flatnonzero(np.isin(network.layout.node_a, head) & (network.layout.node_b == network.layout.node_a + 1))
    assert across.size, "the random network of this seed has such an element"
    ohms = network.element_ohm.copy()
    ohms[across[0]] = 0
    with pytest.raises(SolverError, match=f"elements {across[0]} close a loop of zero ohms"):
        factored(replace(network, element_ohm=ohms))


@often
@given(
    st.integers(0, 100_000),
    st.lists(impedances, min_size=6, max_size=6),
    st.lists(impedances, min_size=6, max_size=6),
)
def test_any_change_equals_a_fresh_factorisation(seed: int, before: list[complex], after: list[complex]) -> None:
    network = random_network(seed, elements=6)
    base, changed = with_ohms(network, before), with_ohms(network, after)
    injection, emf = sources(seed, network.layout)
    fresh = factored(changed).solve(injection, emf)
    everything = np.arange(network.layout.n_elements)
    updated = factored(base).with_elements(everything, changed.element_ohm).solve(injection, emf)
    assert worst_difference(updated, fresh) <= 1e-9


@often
@given(st.integers(0, 100_000), st.lists(impedances, min_size=3, max_size=3), st.permutations(range(5)))
def test_cases_share_one_preparation(seed: int, after: list[complex], order: list[int]) -> None:
    network = with_ohms(random_network(seed, elements=9, chains=5), [1.0, np.inf, 2.0, 1e-3, np.inf, 3.0])
    assume(network.layout.n_elements >= 5)
    ports = factored(network).prepare(np.arange(5))
    injection, emf = sources(seed, network.layout)
    chosen = np.array(order[:3])
    value = sound(network, chosen, after)
    ohms = network.element_ohm.copy()
    ohms[chosen] = value
    fresh = factored(replace(network, element_ohm=ohms)).solve(injection, emf)
    assert worst_difference(ports.with_elements(chosen, value).solve(injection, emf), fresh) <= 1e-9


@often
@given(st.integers(0, 100_000), st.lists(impedances, min_size=6, max_size=6))
def test_switched_networks_keep_kirchhoff_and_power(seed: int, after: list[complex]) -> None:
    base = random_network(seed, elements=6)
    changed = with_ohms(base, after)
    injection, emf = sources(seed + 1, base.layout)
    switched = factored(base).with_elements(np.arange(base.layout.n_elements), changed.element_ohm)
    solution = switched.solve(injection, emf)
    assert abs(kirchhoff_residual(base.layout, solution, injection)).max() <= 1e-10 * abs(injection).sum()
    fed, taken = power_balance(changed, solution, injection, emf)
    assert fed == pytest.approx(taken, rel=1e-9)


def test_opened_element_carries_nothing() -> None:
    network = random_network(31)
    injection, _ = sources(1, network.layout)
    solution = factored(network).with_elements([1], [np.inf]).solve(injection)
    assert abs(solution.element_a[1]).max() <= 1e-12 * abs(solution.element_a).max()


def test_closed_to_zero_ohms_its_nodes_are_at_one_potential() -> None:
    network = with_ohms(random_network(32), [np.inf])
    a, b = network.layout.node_a[2], network.layout.node_b[2]
    injection, _ = sources(2, network.layout)
    volts = factored(network).with_elements([2], [0]).solve(injection).node_v
    assert abs(volts[a] - volts[b]).max() <= 1e-11 * abs(volts).max()


def test_apply_is_solve_and_leaves_the_base_alone() -> None:
    network = random_network(33)
    system = factored(network)
    injection, emf = sources(3, network.layout)
    base = system.solve(injection, emf)
    kept = base.node_v.copy()
    switched = system.with_elements([0, 2], [np.inf, 0.5])
    np.testing.assert_array_equal(switched.apply(base).node_v, switched.solve(injection, emf).node_v)
    np.testing.assert_array_equal(base.node_v, kept)


def test_no_change_is_the_base() -> None:
    network = random_network(34)
    system = factored(network)
    base = system.solve(sources(4, network.layout)[0])
    switched = system.with_elements([1], [network.element_ohm[1]])
    assert switched.changed.size == 0
    assert switched.apply(base) is base


def test_there_and_back_is_the_base() -> None:
    network = random_network(35)
    system = factored(network)
    injection, emf = sources(5, network.layout)
    opened = factored(replace(network, element_ohm=np.where(np.arange(network.layout.n_elements) == 0, np.inf, 1.0)))
    closed = opened.with_elements(np.arange(network.layout.n_elements), network.element_ohm)
    assert worst_difference(closed.solve(injection, emf), system.solve(injection, emf)) <= 1e-10


def test_order_of_the_index_does_not_matter() -> None:
    network = random_network(36)
    system = factored(network)
    injection, _ = sources(6, network.layout)
    one = system.with_elements([0, 3, 1], [7, np.inf, 0]).solve(injection)
    other = system.with_elements([3, 1, 0], [np.inf, 0, 7]).solve(injection)
    assert worst_difference(one, other) <= 1e-12


def test_closing_a_loop_of_zero_ohms_is_refused_by_name() -> None:
    layout = Layout([0, 0, 1], [0, 0], [3, 3])  # type: ignore[arg-type]
    z, p = 1j * np.eye(3), 100 * np.eye(3)
    system = factorise(layout, z, p, [0, np.inf])
    with pytest.raises(SolverError, match="elements 0, 1 close a loop of zero ohms"):
        system.with_elements([1], [0])


def test_changed_currents_that_are_undetermined_are_an_error() -> None:
    # two bonds side by side whose resistances vanish in rounding beside the rest
    layout = Layout([0, 1], [0, 0], [2, 2])  # type: ignore[arg-type]
    system = factorise(layout, 1j * np.eye(2), 100 * np.eye(2), [np.inf, np.inf])
    with pytest.raises(SolverError, match=r"currents of elements 0, 1 can't be told apart"):
        system.with_elements([0, 1], [1e-300, 1e-300]).solve(np.eye(4))


def test_elements_that_are_not_there_or_not_prepared_are_refused() -> None:
    system = factored(random_network(37))
    with pytest.raises(DomainError, match=r"need elements of 0 \.\.\."):
        system.prepare([0, 99])
    ports = system.prepare([0, 1])
    with pytest.raises(DomainError, match="each element once, of those prepared"):
        ports.with_elements([2], [1.0])
    with pytest.raises(DomainError, match="each element once, of those prepared"):
        ports.with_elements([0, 0], [1.0, 2.0])
    with pytest.raises(DomainError, match="resistance of 0 ohms or more"):
        ports.with_elements([0], [-1.0])


def test_nothing_prepared_is_allowed() -> None:
    network = random_network(38)
    system = factored(network)
    injection, _ = sources(7, network.layout)
    same = system.prepare([]).with_elements([], []).solve(injection)
    np.testing.assert_array_equal(same.node_v, system.solve(injection).node_v)
