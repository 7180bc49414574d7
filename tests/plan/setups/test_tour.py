"""Tours, against every order looked at."""

from itertools import permutations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups import tour
from corridor.plan.setups.tour import best_tour, tour_length


def table(seed: int, n: int) -> np.ndarray:
    xy = np.random.default_rng(seed).uniform(0, 100, (n, 2))
    return np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))


def shortest(d: np.ndarray, start: int | None) -> float:
    return min(tour_length(d, list(order)) for order in permutations(range(len(d))) if start in (None, order[0]))


@pytest.mark.parametrize("n", range(2, 8))
@pytest.mark.parametrize("start", [None, 1])
def test_up_to_seven_points_equal_brute_force(n: int, start: int | None) -> None:
    d = table(n, n)
    order = best_tour(d, start=start)
    assert sorted(order.tolist()) == list(range(n))
    assert tour_length(d, order) == pytest.approx(shortest(d, start))
    assert start is None or order[0] == start


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("start", [None, 2])
def test_the_search_finds_what_is_exact(seed: int, start: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    d = table(seed, 9)
    exact = tour_length(d, best_tour(d, start=start))
    monkeypatch.setattr(tour, "EXACT_TO", 1)
    found = best_tour(d, start=start)
    assert sorted(found.tolist()) == list(range(9))
    assert start is None or found[0] == start
    assert tour_length(d, found) == pytest.approx(exact, rel=1e-9)


def test_beyond_ten_points_a_circle_is_walked_round() -> None:
    angle = np.random.default_rng(0).permutation(24) * 2 * np.pi / 24
    d = np.hypot(*(np.exp(1j * angle)[:, None] - np.exp(1j * angle)).view(float).reshape(24, 24, 2).transpose(2, 0, 1))
    order = best_tour(d)
    assert tour_length(d, order) == pytest.approx(23 * 2 * np.sin(np.pi / 24))
    assert order[0] < order[-1]  # of the two directions the one from the smaller number


def test_never_longer_than_networkx_and_never_shorter_than_the_tree() -> None:
    # a path through all points is a spanning tree: it is at least as long as the shortest one
    d = table(3, 30)
    graph = nx.from_numpy_array(d)
    order = best_tour(d, start=4, seed=1)
    length = tour_length(d, order)
    assert length >= nx.minimum_spanning_tree(graph).size("weight")
    ring = nx.approximation.greedy_tsp(graph, source=4)
    assert length <= nx.path_weight(graph, ring[:-1], "weight")
    assert order[0] == 4


def test_the_same_seed_gives_the_same() -> None:
    d = table(5, 25)
    assert best_tour(d, seed=3).tolist() == best_tour(d, seed=3).tolist()


def test_none_one_two_and_all_at_one_place() -> None:
    assert best_tour(np.zeros((0, 0))).tolist() == []
    assert best_tour([[0.0]]).tolist() == [0]
    assert best_tour([[0.0, 3.0], [3.0, 0.0]], start=1).tolist() == [1, 0]
    assert sorted(best_tour(np.zeros((12, 12))).tolist()) == list(range(12))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 6))
def test_any_symmetric_table_is_solved_exactly(seed: int, n: int) -> None:
    half = np.triu(np.random.default_rng(seed).integers(0, 9, (n, n)), 1).astype(float)
    assert tour_length(half + half.T, best_tour(half + half.T)) == pytest.approx(shortest(half + half.T, None))


@pytest.mark.parametrize("wrong", [[[0.0, 1.0]], [[0.0, 1.0], [2.0, 0.0]], [[0.0, np.inf], [np.inf, 0.0]]])
def test_wrong_tables_are_told(wrong: list[list[float]]) -> None:
    with pytest.raises(DomainError, match="between_m: expected a symmetric table"):
        best_tour(wrong)


def test_a_wrong_start_is_told() -> None:
    with pytest.raises(DomainError, match="start: expected one of 2 points, counted from 0, got 2"):
        best_tour([[0.0, 1.0], [1.0, 0.0]], start=2)
