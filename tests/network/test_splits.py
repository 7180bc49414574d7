"""What large groups hang on, against components counted by hand and by networkx, edge by edge."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.network.edges import Edge, Node
from corridor.network.groups import find_groups
from corridor.network.splits import (
    edges_within,
    large_groups,
    length_split_off_m,
    splitting_bonds,
    splitting_visits,
)


def node(name: str) -> Node:
    return name, 0, 0.0


def bond(name: str, a: str, b: str, *, level: int = 1, kind: str = "bond") -> Edge:
    evidence = ("recorded", "inferred", "suspected")[level]
    return Edge(a=node(a), b=node(b), kind=kind, evidence=evidence, probability=(1.0, 0.8, 0.3)[level], level=level,
                at_a_m=0.0, at_b_m=0.0, bond_id=name if kind == "bond" else None)  # fmt: skip


def lengths(**metres: float) -> dict[Node, float]:
    return {node(name): length_m for name, length_m in metres.items()}


def reference(length_m: list[float], fixed: list[tuple[int, int]], sets: list[list[tuple[int, int]]]) -> list[float]:
    """The same by networkx, one set at a time."""
    found = []
    for k in range(len(sets)):
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(len(length_m)))
        graph.add_edges_from(fixed)
        graph.add_edges_from(edge for other, held in enumerate(sets) if other != k for edge in held)
        parts = [sum(length_m[node] for node in part) for part in nx.connected_components(graph)]
        found.append(sum(length_m) - max(parts))
    return found


@given(st.integers(0, 100_000))
@settings(max_examples=60, deadline=None)
def test_length_split_off_is_that_of_the_components(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 15))
    length_m = [float(x) for x in rng.integers(0, 50, count)]
    edges = [(int(a), int(b)) for a, b in rng.integers(0, count, (int(rng.integers(0, 30)), 2))]
    cut = int(rng.integers(0, len(edges) + 1))
    sets: list[list[tuple[int, int]]] = [[] for _ in range(int(rng.integers(1, 8)))]
    for edge in edges[cut:]:
        sets[rng.integers(len(sets))].append(edge)
    tree = [(k, k + 1) for k in range(count - 1)]
    for fixed in (edges[:cut], edges[:cut] + tree):
        assert length_split_off_m(length_m, fixed, sets) == pytest.approx(reference(length_m, fixed, sets))


@given(st.integers(0, 100_000))
@settings(max_examples=40, deadline=None)
def test_a_single_edge_splits_exactly_if_it_is_a_bridge(seed: int) -> None:
    # Tarjan (1974) by networkx: an independent program and another method
    graph = nx.gnm_random_graph(12, 15, seed=seed)
    graph = graph.subgraph(max(nx.connected_components(graph), key=len))
    row_of = {name: row for row, name in enumerate(sorted(graph))}
    edges = [(row_of[a], row_of[b]) for a, b in graph.edges]
    off_m = length_split_off_m([1.0] * len(row_of), [], [[edge] for edge in edges])
    bridges = {tuple(sorted((row_of[a], row_of[b]))) for a, b in nx.bridges(nx.Graph(graph))}
    assert {tuple(sorted(edge)) for edge, split_m in zip(edges, off_m, strict=True) if split_m > 0} == bridges


def test_nothing_to_take_out() -> None:
    assert length_split_off_m([], [], []) == []
    assert length_split_off_m([3.0], [], []) == []
    assert length_split_off_m([3.0, 2.0], [(0, 1)], [[], [(0, 1)]]) == [0.0, 0.0]


def test_many_sets_cost_no_recursion() -> None:
    count = 3000
    pairs = [[(k, k + 1)] for k in range(count)]
    off_m = length_split_off_m([1.0] * (count + 1), [], pairs)
    assert off_m == [float(min(k + 1, count - k)) for k in range(count)]  # a chain: the shorter side


# a chain A - B - C - D with a second way from B to C, and a stub on D
CHAIN = [
    bond("1", "A", "B"),
    bond("2", "B", "C", level=0),
    bond("3", "B", "C"),
    bond("4", "C", "D", level=2),
    bond("5", "D", "E"),
]
METRES = lengths(A=10.0, B=20.0, C=40.0, D=5.0, E=2.0, X=100.0)


def test_bonds_in_the_order_of_what_they_split_off() -> None:
    group = find_groups(CHAIN)[-1]
    found = splitting_bonds(group, CHAIN, METRES)
    assert [(split.key, split.split_off_m) for split in found] == [("bond:1", 10.0), ("bond:4", 7.0), ("bond:5", 2.0)]
    assert splitting_bonds(group, CHAIN, METRES, shown=1) == found[:1]


def test_of_two_as_long_the_first_by_name_comes_first() -> None:
    star = [bond(name, "A", name) for name in ("D", "C", "B")]
    found = splitting_bonds(find_groups(star)[0], star, lengths(A=9.0, B=1.0, C=1.0, D=1.0))
    assert [split.key for split in found] == ["bond:B", "bond:C", "bond:D"]


def test_a_visit_takes_out_all_that_nobody_has_seen_there() -> None:
    group = find_groups(CHAIN)[-1]
    found = splitting_visits(group, CHAIN, METRES, structure_of={"1": "S", "5": "S", "2": "T", "3": "T"})
    # at S the bonds 1 and 5 go; bond 4 has no structure; at T bond 2 is recorded and stays, so that nothing splits
    assert [(split.key, split.split_off_m) for split in found] == [(("structure", "S"), 12.0), (("bond", "4"), 7.0)]
    assert [edge.bond_id for edge in found[0].edges] == ["1", "5"]


def test_metal_along_lines_is_never_taken_out() -> None:
    edges = [bond("j", "A", "B", kind="junction"), bond("s", "B", "C", level=2, kind="continuity")]
    group = find_groups(edges)[-1]
    assert splitting_bonds(group, edges, lengths(A=1.0, B=1.0, C=1.0)) == []
    assert splitting_visits(group, edges, lengths(A=1.0, B=1.0, C=1.0), structure_of={}) == []


def test_a_group_is_held_by_the_edges_of_its_level() -> None:
    recorded, likely, _, possible = find_groups(CHAIN)
    assert [edge.bond_id for edge in edges_within(recorded, CHAIN)] == ["2"]
    assert [edge.bond_id for edge in edges_within(likely, CHAIN)] == ["1", "2", "3"]
    assert [edge.bond_id for edge in edges_within(possible, CHAIN)] == ["1", "2", "3", "4", "5"]


@pytest.mark.parametrize(("share", "sizes"), [(0.2, [60.0, 70.0, 77.0]), (0.4, [77.0]), (0.5, [])])
def test_a_large_group_holds_more_than_a_share_of_the_whole_site(share: float, sizes: list[float]) -> None:
    groups = find_groups(CHAIN)
    assert [size_m for _, size_m in large_groups(groups, METRES, share=share)] == sizes
    assert large_groups([], {}) == []
