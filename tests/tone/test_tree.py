from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from corridor.errors import DomainError, SolverError
from corridor.tone.layout import Layout
from corridor.tone.tree import Factored, factorise
from tests.tone.networks import (
    Network,
    kirchhoff_residual,
    nodal,
    power_balance,
    random_network,
    sources,
    worst_difference,
)

networks = st.builds(
    random_network,
    st.integers(0, 100_000),
    chains=st.integers(1, 5),
    longest=st.integers(1, 9),
    elements=st.integers(0, 6),
    electrodes=st.integers(0, 3),
)
often = settings(max_examples=60, deadline=None)


def factored(network: Network) -> Factored:
    return factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)


def one_cable(n: int = 5, *, elements: tuple[tuple[int, int], ...] = ()) -> Network:
    a, b = np.array(elements, dtype=np.int64).reshape(-1, 2).T
    base = random_network(1, chains=1, longest=1, elements=0, electrodes=0)
    z, p = (np.diag(np.full(n, value)).astype(complex) for value in (0.1 + 1j, 500.0))
    return replace(base, layout=Layout(np.zeros(n), a, b), z_ohm=z, p_ohm=p, element_ohm=np.ones(a.size, dtype=complex))


@often
@given(st.integers(0, 100_000), st.integers(0, 6), st.integers(0, 3))
def test_agrees_with_the_nodal_form(seed: int, elements: int, electrodes: int) -> None:
    # Otero, Cidras, del Alamo 1999. Tolerance: the nodal form loses digits where it inverts Z.
    network = random_network(seed, elements=elements, electrodes=electrodes, rod_ohm=1e-2)
    injection, emf = sources(seed, network.layout)
    assert worst_difference(factored(network).solve(injection, emf), nodal(network, injection, emf)) <= 1e-8


def test_leaks_that_must_be_pivoted_agree_with_the_nodal_form() -> None:
    # no soil has such impedances: a section's own potential far below what it raises at its neighbours
    network = random_network(3, chains=2, longest=4, elements=2, electrodes=0)
    n = network.layout.n_sections
    odd = replace(network, z_ohm=np.eye(n) * (1.0 + 1.0j), p_ohm=np.full((n, n), 500.0) - np.eye(n) * 499.999)
    injection, emf = sources(3, odd.layout)
    system = factored(odd)
    assert not np.array_equal(system.factor.order, np.arange(system.factor.order.size))
    assert worst_difference(system.solve(injection, emf), nodal(odd, injection, emf)) <= 1e-8


@often
@given(networks)
def test_kirchhoff_holds_at_every_node(network: Network) -> None:
    injection, emf = sources(1, network.layout)
    solution = factored(network).solve(injection, emf)
    assert abs(kirchhoff_residual(network.layout, solution, injection)).max() <= 1e-11 * abs(injection).sum()


@often
@given(networks)
def test_ohms_law_holds_along_sections_into_the_soil_and_through_elements(network: Network) -> None:
    layout, start = network.layout, network.layout.start_node
    injection, emf = sources(2, layout)
    solution = factored(network).solve(injection, emf)
    volts = solution.node_v
    scale = abs(volts).max() + abs(emf).max()
    drop = volts[start] - volts[start + 1]
    np.testing.assert_allclose(drop, network.z_ohm @ solution.current_a - emf, atol=1e-10 * scale)
    middle = (volts[start] + volts[start + 1]) / 2
    np.testing.assert_allclose(middle, network.p_ohm @ solution.leak_a, atol=1e-10 * scale)
    across = volts[layout.node_a] - volts[layout.node_b]
    np.testing.assert_allclose(across, network.element_ohm[:, None] * solution.element_a, atol=1e-10 * scale)


@often
@given(networks)
def test_transfer_impedances_are_reciprocal(network: Network) -> None:
    # Lorentz's reciprocity: the potential at k per ampere fed into l is that at l per ampere fed into k
    volts = factored(network).solve(np.eye(network.layout.n_nodes)).node_v
    assert abs(volts - volts.T).max() <= 1e-11 * abs(volts).max()


@often
@given(networks)
def test_transfer_admittances_of_voltages_are_reciprocal(network: Network) -> None:
    layout = network.layout
    current = (
        factored(network).solve(np.zeros((layout.n_nodes, layout.n_sections)), np.eye(layout.n_sections)).current_a
    )
    assert abs(current - current.T).max() <= 1e-11 * max(abs(current).max(), 1e-3)


@often
@given(networks)
def test_what_sources_feed_in_is_what_resistances_take(network: Network) -> None:
    # Tellegen's theorem
    injection, emf = sources(3, network.layout)
    fed, taken = power_balance(network, factored(network).solve(injection, emf), injection, emf)
    assert fed == pytest.approx(taken, rel=1e-10)


@often
@given(networks)
def test_everything_fed_in_leaks_out(network: Network) -> None:
    injection, _ = sources(4, network.layout)
    leak = factored(network).solve(injection).leak_a
    np.testing.assert_allclose(leak.sum(axis=0), injection.sum(axis=0), atol=1e-11 * abs(injection).sum())


@often
@given(networks, st.integers(0, 1000))
def test_solutions_superpose(network: Network, seed: int) -> None:
    system = factored(network)
    (one, emf_one), (two, emf_two) = sources(seed, network.layout), sources(seed + 1, network.layout)
    sum_of_both = system.solve(one + 2j * two, emf_one + 2j * emf_two)
    first, second = system.solve(one, emf_one), system.solve(two, emf_two)
    np.testing.assert_allclose(
        sum_of_both.node_v, first.node_v + 2j * second.node_v, atol=1e-11 * abs(sum_of_both.node_v).max()
    )


def test_numbering_chains_the_other_way_round_changes_nothing() -> None:
    network = random_network(11, electrodes=0)
    layout = network.layout
    turned_section, turned_node = np.arange(layout.n_sections)[::-1], layout.n_nodes - 1
    turned = Network(
        Layout(layout.chain[-1] - layout.chain[::-1], turned_node - layout.node_a, turned_node - layout.node_b),
        network.z_ohm[np.ix_(turned_section, turned_section)],
        network.p_ohm[np.ix_(turned_section, turned_section)],
        network.element_ohm,
    )
    injection, emf = sources(5, layout)
    solution = factored(network).solve(injection, emf)
    other = factored(turned).solve(injection[::-1], -emf[::-1])
    np.testing.assert_allclose(other.node_v[::-1], solution.node_v, rtol=1e-9)
    np.testing.assert_allclose(-other.current_a[::-1], solution.current_a, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(other.element_a, solution.element_a, rtol=1e-9)


def test_two_chains_joined_by_zero_ohms_are_one_chain() -> None:
    one = one_cable(6)
    injection = np.zeros((7, 1), dtype=complex)
    injection[0] = 1
    whole = factored(one).solve(injection)
    cut = replace(one, layout=Layout([0, 0, 0, 0, 1, 1], [4], [5]), element_ohm=np.zeros(1))  # type: ignore[arg-type]
    parts = factored(cut).solve(np.insert(injection, 5, 0, axis=0))
    np.testing.assert_allclose(parts.current_a, whole.current_a, rtol=1e-12)
    np.testing.assert_allclose(np.delete(parts.node_v, 5, axis=0), whole.node_v, rtol=1e-12)
    np.testing.assert_allclose(parts.element_a, whole.section_ends()[0][4:5], rtol=1e-12)


def test_one_section_alone_by_hand() -> None:
    # one ampere into the head of a lone section leaks, half of it before the middle: V = P Q, V_head - V_tail = Z / 2
    network = one_cable(1)
    solution = factored(network).solve(np.array([[1.0], [0.0]]))
    assert solution.leak_a[0, 0] == pytest.approx(1)
    assert solution.current_a[0, 0] == pytest.approx(0.5)
    assert solution.node_v.sum() / 2 == pytest.approx(500)
    assert solution.node_v[0, 0] - solution.node_v[1, 0] == pytest.approx((0.1 + 1j) / 2)
    head, tail = solution.section_ends()
    assert (head[0, 0], tail[0, 0]) == (pytest.approx(1), pytest.approx(0))


def test_open_element_carries_nothing_and_is_as_if_absent() -> None:
    network = one_cable(elements=((0, 3), (1, 5)))
    injection = np.eye(6)
    with_open = factored(replace(network, element_ohm=np.array([np.inf, 2.0]))).solve(injection)
    without = factored(one_cable(elements=((1, 5),)))
    alone = factorise(without.layout, network.z_ohm, network.p_ohm, [2.0]).solve(injection)
    assert not with_open.element_a[0].any()
    np.testing.assert_allclose(with_open.element_a[1], alone.element_a[0], rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(with_open.node_v, alone.node_v, rtol=1e-12)


def test_a_ground_electrode_joined_to_a_node_takes_current_by_its_resistance() -> None:
    # a cable that hardly leaks, 5 ohm + 1 ohm lead at one end: V = 6 I at DC, less the cable's own drop
    z = np.diag([0.0, 0.0]).astype(complex)
    z[0, 0] = 2.0
    p = np.diag([1e12, 5.0]).astype(complex)
    system = factorise(Layout([0, 1], [1], [2]), z, p, [1.0])  # type: ignore[arg-type]
    solution = system.solve(np.array([[1.0], [0], [0], [0]]))
    assert solution.element_a[0, 0] == pytest.approx(1, rel=1e-9)
    np.testing.assert_allclose(solution.node_v[:, 0], [8, 6, 5, 5], rtol=1e-9)


def test_sparse_sources_are_dense_ones() -> None:
    network = random_network(21)
    injection, emf = sources(6, network.layout)
    injection[3:] = 0
    emf[2:] = 0
    system = factored(network)
    dense, thin = system.solve(injection, emf), system.solve(sparse.csr_array(injection), sparse.csc_array(emf))
    np.testing.assert_array_equal(dense.node_v, thin.node_v)
    np.testing.assert_array_equal(dense.current_a, thin.current_a)


def test_the_same_input_gives_the_same_bytes_and_stays_untouched() -> None:
    network = random_network(22)
    z, p, (injection, emf) = network.z_ohm.copy(), network.p_ohm.copy(), sources(7, network.layout)
    kept = injection.copy(), emf.copy()
    first, second = (factored(network).solve(injection, emf) for _ in range(2))
    assert first.node_v.tobytes() == second.node_v.tobytes()
    assert first.element_a.tobytes() == second.element_a.tobytes()
    for now, before in zip((network.z_ohm, network.p_ohm, injection, emf), (z, p, *kept), strict=True):
        np.testing.assert_array_equal(now, before)


def test_no_sources_give_empty_columns() -> None:
    network = random_network(23)
    solution = factored(network).solve(np.zeros((network.layout.n_nodes, 0)))
    assert solution.node_v.shape == (network.layout.n_nodes, 0)


@pytest.mark.parametrize("size", [1e-6, 1.0, 1e6, 1e12])
def test_coatings_from_bare_to_perfect_keep_kirchhoff(size: float) -> None:
    network = random_network(24)
    system = factorise(network.layout, network.z_ohm, network.p_ohm * size, network.element_ohm)
    injection, _ = sources(8, network.layout)
    injection -= injection.mean(axis=0)  # nothing has to leak
    solution = system.solve(injection)
    assert abs(kirchhoff_residual(network.layout, solution, injection)).max() <= 1e-9


def test_parallel_zero_ohm_elements_are_named() -> None:
    network = one_cable(elements=((0, 3), (1, 5), (0, 3)))
    with pytest.raises(SolverError, match="elements 0, 2 close a loop of zero ohms"):
        factorise(network.layout, network.z_ohm, network.p_ohm, [0, 1, 0])


def test_parallel_elements_of_almost_zero_ohms_are_named() -> None:
    network = one_cable(elements=((0, 3), (1, 5), (0, 3)))
    with pytest.raises(SolverError, match=r"currents of elements 0, 2 can't be told apart"):
        factorise(network.layout, network.z_ohm, network.p_ohm, [1e-16, 1, 1e-17])


def test_two_milliohm_bonds_side_by_side_share_by_their_resistance() -> None:
    network = one_cable(elements=((0, 3), (0, 3)))
    injection = np.zeros((6, 1))
    injection[0] = 1
    through = factorise(network.layout, network.z_ohm, network.p_ohm, [1e-3, 2e-3]).solve(injection).element_a
    assert through[0, 0] / through[1, 0] == pytest.approx(2, rel=1e-9)


def test_sections_laid_twice_are_an_error() -> None:
    # the same conductor twice: both leak alike, so nothing says which of them does
    z, p = np.kron(np.ones((2, 2)), np.eye(2)) * 1j, np.kron(np.ones((2, 2)), np.eye(2)) * 100
    with pytest.raises(SolverError, match="look for sections laid twice"):
        factorise(Layout([0, 0, 1, 1], [], []), z, p, [])  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["z_ohm", "p_ohm"])
def test_wrong_matrices_are_refused(name: str) -> None:
    network = one_cable(3)
    matrices = {"z_ohm": network.z_ohm, "p_ohm": network.p_ohm}
    with pytest.raises(DomainError, match=rf"{name} of shape \(3, 3\), one row per section, got \(2, 2\)"):
        factorise(network.layout, **{**matrices, name: np.eye(2)}, element_ohm=[])
    with pytest.raises(DomainError, match=f"finite values in {name}"):
        factorise(network.layout, **{**matrices, name: np.full((3, 3), np.inf)}, element_ohm=[])


def test_wrong_sources_are_refused() -> None:
    system = factored(one_cable(3))
    with pytest.raises(DomainError, match=r"injection_a of shape \(4, k\), got \(3, 1\)"):
        system.solve(np.ones((3, 1)))
    with pytest.raises(DomainError, match=r"emf_v of shape \(3, k\), got \(3,\)"):
        system.solve(np.ones((4, 1)), np.ones(3))
    with pytest.raises(DomainError, match="as many columns in emf_v"):
        system.solve(np.ones((4, 1)), np.ones((3, 2)))
    with pytest.raises(DomainError, match="finite values in injection_a"):
        system.solve(np.full((4, 1), np.nan))


def test_wrong_elements_are_refused() -> None:
    network = one_cable(3, elements=((0, 2),))
    with pytest.raises(DomainError, match="each of 1 elements"):
        factorise(network.layout, network.z_ohm, network.p_ohm, [1, 2])


def test_potentials_are_those_asked_for_and_the_rest_is_told_to_be_unknown() -> None:
    network = random_network(41)
    system = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm)
    injection, emf = sources(41, network.layout)
    whole, part = system.solve(injection, emf), system.solve(injection, emf, at_nodes=[3, 0, 3])
    np.testing.assert_allclose(part.node_v[[0, 3]], whole.node_v[[0, 3]], rtol=1e-12)
    assert np.isnan(np.delete(part.node_v, [0, 3], axis=0)).all()
    np.testing.assert_array_equal(part.current_a, whole.current_a)
    np.testing.assert_array_equal(part.leak_a, whole.leak_a)
