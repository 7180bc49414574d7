"""Groups of sections: nothing lost, nothing double, and the cut network is the same network."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.clusters import RUN_SECTIONS, Clusters, cluster_sections
from corridor.tone.layout import Layout, Solution
from corridor.tone.tree import factorise
from tests.tone.networks import Network, random_network, sources

often = settings(max_examples=40, deadline=None)


def clustered(network: Network, seed: int, *, size: int) -> Clusters:
    place = np.cumsum(np.random.default_rng(seed).normal(size=(network.layout.n_sections, 2)), axis=0)
    return cluster_sections(network.layout, place, size=size)


networks = st.builds(random_network, st.integers(0, 100_000), longest=st.just(40), chains=st.integers(1, 5))


@often
@given(networks, st.integers(1, 60))
def test_each_section_is_in_one_group(network: Network, size: int) -> None:
    groups = clustered(network, 1, size=size).groups
    assert sorted(np.concatenate(groups)) == list(range(network.layout.n_sections))
    assert all((np.diff(group) > 0).all() for group in groups)


@often
@given(networks, st.integers(1, 60))
def test_groups_are_no_larger_than_asked_or_than_one_run(network: Network, size: int) -> None:
    groups = clustered(network, 2, size=size).groups
    assert max(group.size for group in groups) <= max(size, RUN_SECTIONS)


@often
@given(networks, st.integers(1, 60))
def test_each_piece_is_in_one_group(network: Network, size: int) -> None:
    cut = clustered(network, 3, size=size)
    pieces = [set(cut.layout.chain[group]) for group in cut.groups]
    assert sum(map(len, pieces)) == len(set().union(*pieces)) == cut.layout.n_chains
    assert cut.n_cuts == cut.layout.n_chains - network.layout.n_chains


@often
@given(networks, st.integers(3, 30))
def test_the_cut_network_is_the_same_network(network: Network, size: int) -> None:
    # two chains joined by zero ohms are one: the dense solver judges
    cut = clustered(network, 4, size=size)
    injection, emf = sources(5, network.layout)
    fed = np.zeros((cut.layout.n_nodes, injection.shape[1]), dtype=complex)
    fed[cut.node_at] = injection
    ohms = np.concatenate([network.element_ohm, np.zeros(cut.n_cuts)])
    whole = factorise(network.layout, network.z_ohm, network.p_ohm, network.element_ohm).solve(injection, emf)
    parts = factorise(cut.layout, network.z_ohm, network.p_ohm, ohms).solve(fed, emf)
    same = Solution(
        parts.current_a, parts.leak_a, parts.element_a[: network.layout.n_elements], parts.node_v[cut.node_at]
    )
    for name in ("current_a", "leak_a", "element_a", "node_v"):
        one, other = getattr(same, name), getattr(whole, name)
        np.testing.assert_allclose(one, other, atol=1e-9 * abs(other).max(initial=1e-12))


def test_sections_side_by_side_stay_together() -> None:
    place = np.array([[x, y] for y in (0.0, 1.0) for x in np.arange(40.0)])
    cut = cluster_sections(Layout(np.repeat([0, 1], 40), np.empty(0), np.empty(0)), place, size=40)
    assert [np.ptp(place[group, 0]) < 25.0 for group in cut.groups] == [True] * len(cut.groups)
    assert [np.ptp(place[group, 1]) for group in cut.groups] == [1.0] * len(cut.groups)


def test_what_fits_is_one_group_and_uncut() -> None:
    network = random_network(3)
    cut = clustered(network, 0, size=1000)
    assert (len(cut.groups), cut.n_cuts) == (1, 0)
    assert np.array_equal(cut.layout.chain, network.layout.chain)
    assert np.array_equal(cut.node_at, np.arange(network.layout.n_nodes))


def test_the_same_input_gives_the_same_groups() -> None:
    network = random_network(4, longest=40)
    one, two = (clustered(network, 0, size=10) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one.groups, two.groups, strict=True))


@pytest.mark.parametrize(("rows", "size"), [(3, 10), (0, 10), (None, 0)])
def test_bad_input_is_refused(rows: int | None, size: int) -> None:
    layout = replace(random_network(5).layout)
    place = np.zeros((layout.n_sections if rows is None else rows, 2))
    with pytest.raises(DomainError, match="need one place"):
        cluster_sections(layout, place, size=size)
