"""Frequencies of crews at work at once, against every choice looked at."""

from itertools import product

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups import frequencies
from corridor.plan.setups.frequencies import colour_frequencies

LOW, MIDDLE, HIGH = 1e3, 1e4, 1e5


def best_of_all(allowed: list[list[float]], conflicts: list[tuple[int, int, float]]) -> tuple[int, int]:
    pairs = {(min(a, b), max(a, b), f) for a, b, f in conflicts}
    return min(
        (
            sum(choice[a] == f == choice[b] for a, b, f in pairs),
            sum(own.index(f) for own, f in zip(allowed, choice, strict=True)),
        )
        for choice in product(*allowed)
    )


def some_case(seed: int, *, n: int = 6, chance: float = 0.5) -> tuple[list[list[float]], list[tuple[int, int, float]]]:
    rng = np.random.default_rng(seed)
    allowed = [rng.permutation([LOW, MIDDLE, HIGH])[: rng.integers(1, 4)].tolist() for _ in range(n)]
    conflicts = [
        (a, b, f) for a in range(n) for b in range(a + 1, n) for f in (LOW, MIDDLE, HIGH) if rng.random() < chance
    ]
    return allowed, conflicts


def reached(allowed: list[list[float]], conflicts: list[tuple[int, int, float]], **options: float) -> tuple[int, int]:
    found = colour_frequencies(allowed, conflicts, **options)
    for own, f, rank in zip(allowed, found.frequency_hz, found.rank, strict=True):
        assert own[rank] == f
    waits = [(a, b) for a, others in enumerate(found.not_with) for b in others]
    assert all((b, a) in waits for a, b in waits)
    return len(waits) // 2, int(found.rank.sum())


def test_nobody_in_reach_keeps_the_best() -> None:
    found = colour_frequencies([[LOW, HIGH], [LOW]], [])
    assert found.frequency_hz.tolist() == [LOW, LOW]
    assert found.not_with == ((), ())
    assert found.proven


def test_one_of_two_gives_way_where_it_can() -> None:
    found = colour_frequencies([[LOW], [LOW, HIGH]], [(0, 1, LOW)])
    assert found.frequency_hz.tolist() == [LOW, HIGH]
    assert found.rank.tolist() == [0, 1]
    # the tone reaches the other receiver at the low frequency only
    assert colour_frequencies([[HIGH, LOW], [HIGH, LOW]], [(1, 0, LOW)]).frequency_hz.tolist() == [HIGH, HIGH]


def test_where_no_frequency_is_left_the_pair_is_told() -> None:
    found = colour_frequencies([[LOW], [LOW], [LOW]], [(0, 1, LOW), (1, 2, LOW)])
    assert found.not_with == ((1,), (0, 2), (1,))
    assert found.proven


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("chance", [0.3, 0.7])
def test_pairs_that_wait_and_ranks_equal_brute_force(seed: int, chance: float) -> None:
    case = some_case(seed, chance=chance)
    assert reached(*case) == best_of_all(*case)


@pytest.mark.parametrize("seed", range(10))
def test_out_of_time_the_colouring_of_networkx_stands(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    allowed, conflicts = some_case(seed)
    best = best_of_all(allowed, conflicts)

    def too_late(*args: object, **options: object) -> object:
        return type("Result", (), {"status": 1, "x": None})()

    monkeypatch.setattr(frequencies, "milp", too_late)
    assert reached(allowed, conflicts) >= best
    if any(len(own) for own in colour_frequencies(allowed, conflicts).not_with):
        assert not colour_frequencies(allowed, conflicts).proven


@pytest.mark.parametrize("colours", [2, 3, 4])
def test_a_graph_of_known_chromatic_number(colours: int) -> None:
    # Mycielski's graphs need one colour more than the one before and hold no triangle (Mycielski 1955): with that many
    # frequencies nobody waits, with one fewer somebody does
    graph = nx.mycielski_graph(colours)
    bands = [1000.0 * (k + 1) for k in range(colours)]
    for count in (colours, colours - 1):
        conflicts = [(a, b, f) for a, b in graph.edges for f in bands[:count]]
        found = colour_frequencies([bands[:count]] * len(graph), conflicts)
        assert any(found.not_with) == (count < colours)
        assert found.proven


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 5))
def test_one_conflict_less_never_makes_it_worse(seed: int, n: int) -> None:
    allowed, conflicts = some_case(seed, n=n)
    assert reached(allowed, conflicts[:-1]) <= reached(allowed, conflicts)


@pytest.mark.parametrize(
    ("allowed", "conflicts", "words"),
    [
        ([[LOW], []], [], "allowed: expected different frequencies for set-up 1, one at least"),
        ([[LOW, LOW]], [], "allowed: expected different frequencies for set-up 0"),
        ([[LOW], [LOW]], [(0, 2, LOW)], "conflicts: expected two of 2 set-ups, counted from 0, got 0 and 2"),
        ([[LOW], [LOW]], [(1, 1, LOW)], "conflicts: expected two of 2 set-ups"),
    ],
)
def test_wrong_input_is_told(allowed: list[list[float]], conflicts: list[tuple[int, int, float]], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        colour_frequencies(allowed, conflicts)
