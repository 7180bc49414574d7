"""Sums along chains, against the matrix S written out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corridor.tone.chain_sums import sum_after, sum_before
from tests.tone.networks import random_network

seeds = st.integers(0, 100_000)


def written_out(chain: NDArray[np.int64]) -> NDArray[np.float64]:
    """S: one where a node stands in a section's chain, not after its head."""
    head = np.arange(chain.size) + chain
    node_chain = np.repeat(np.arange(chain[-1] + 1), np.bincount(chain) + 1)
    return ((node_chain == chain[:, None]) & (np.arange(node_chain.size) <= head[:, None])).astype(float)


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_before_is_s(seed: int) -> None:
    layout = random_network(seed).layout
    x = np.random.default_rng(seed).normal(size=(layout.n_nodes, 3)) + 0j
    np.testing.assert_allclose(sum_before(x, layout.chain), written_out(layout.chain) @ x, atol=1e-13)


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_after_is_its_transpose(seed: int) -> None:
    layout = random_network(seed).layout
    x = np.random.default_rng(seed).normal(size=(layout.n_sections, 3)) + 0j
    np.testing.assert_allclose(sum_after(x, layout.chain, layout.n_nodes), written_out(layout.chain).T @ x, atol=1e-13)


def test_one_chain_by_hand() -> None:
    chain = np.array([0, 0])
    assert sum_before(np.array([[1.0], [2.0], [4.0]]) + 0j, chain).ravel() == pytest.approx([1, 3])
    assert sum_after(np.array([[1.0], [2.0]]) + 0j, chain, 3).ravel() == pytest.approx([3, 2, 0])
