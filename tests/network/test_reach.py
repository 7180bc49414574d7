"""Growth outward from a seed."""

from typing import Any

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import InputError
from corridor.network import Growth, grow, reach_graph
from tests.builders import make_site
from tests.network.small import built, random_site, small_site


def grown(seeds: list[str], distance_m: float, *, near_m: float = 0.0, **tables: Any) -> Growth:
    network, couplings = built(make_site(**tables) if tables else small_site())
    graph = reach_graph(network, couplings, near_m=near_m)
    return grow(network, couplings, seeds, distance_m=distance_m, graph=graph)


def line(name: str, *xy: tuple[float, float], **words: Any) -> dict[str, Any]:
    return {"line_id": name, "geometry": list(xy), **words}


def access(*places: tuple[str, str, tuple[float, float]]) -> dict[str, Any]:
    """Access points: structure, line, where; each cuts its line."""
    return {
        "structures": [{"structure_id": s, "kind": "handhole", "geometry": xy} for s, _, xy in places],
        "terminations": [{"structure_id": s, "line_id": name} for s, name, _ in places],
    }


CUT = access(*((f"S{x}", "a", (float(x), 0.0)) for x in (20, 40, 60, 80)))


@pytest.mark.parametrize(
    ("distance_m", "spans", "cut"),
    [
        (0.0, {"a#1": 0.0}, ("a@20.000",)),
        (15.0, {"a#1": 0.0}, ("a@20.000",)),
        (20.0, {"a#1": 0.0}, ("a@20.000",)),  # a span counts from where it begins, not where it is touched
        (20.1, {"a#1": 0.0, "a#2": 20.0}, ("a@40.000",)),
        (1e9, {"a#1": 0.0, "a#2": 20.0, "a#3": 40.0, "a#4": 60.0, "a#5": 80.0}, ()),
    ],
)
def test_along_metal_distance_counts(distance_m: float, spans: dict[str, float], cut: tuple[str, ...]) -> None:
    found = grown(["a@0.000"], distance_m, lines=[line("a", (0, 0), (100, 0))], **CUT)
    assert found == Growth(spans=spans, cut_nodes=cut, lines=("a",))


def test_a_seed_line_is_reached_as_a_whole() -> None:
    found = grown(["a"], 0.0, lines=[line("a", (0, 0), (100, 0))], **CUT)
    assert list(found.spans) == [f"a#{k}" for k in range(1, 6)]
    assert found.cut_nodes == ()


def test_links_cost_nothing() -> None:
    found = grown(["E1"], 15.0)
    assert found.spans == {"E1#1": 0.0, "E2#1": 0.0, "W1#1": 0.0}
    assert found.cut_nodes == ("E2@20.000",)


@pytest.mark.parametrize("state", ["open", "closed", None])
def test_links_of_every_state_are_crossed(state: str | None) -> None:
    lines = [line("a", (0, 0), (10, 0)), line("b", (0, 9), (10, 9))]
    bonds = [{"bond_id": "x", "line_a": "a", "line_b": "b", "state": state, "geometry": (10, 5)}]
    assert grown(["a"], 1.0, lines=lines, bonds=bonds).lines == ("a", "b")


def test_an_isolating_joint_is_crossed() -> None:
    assert grown(["G1@0.000"], 21.0).spans == {"G1#1": 0.0, "G1#2": 20.0}


def test_a_link_that_is_not_crossed_is_a_cut() -> None:
    lines = [line("a", (0, 0), (50, 0)), line("b", (50, 9), (90, 9), utility="water")]
    bonds = [{"bond_id": "x", "line_a": "a", "line_b": "b", "geometry": (50, 5)}]
    found = grown(["a@0.000"], 40.0, lines=lines, bonds=bonds)
    assert (found.lines, found.cut_nodes) == (("a",), ("a@50.000",))


@pytest.mark.parametrize(("distance_m", "reached"), [(39.0, False), (45.0, True)])
def test_tone_jumps_at_a_crossing(distance_m: float, reached: bool) -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (40, -50), (40, 50), utility="water")]
    found = grown(["a@0.000"], distance_m, lines=lines, **access(("T", "b", (40, 30))))
    # b's far span begins 30 m from the crossing
    assert found.lines == (("a", "b") if reached else ("a",))
    assert ("b#2" in found.spans) == (distance_m > 70)


def test_beyond_the_jump_distance_counts_again() -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (40, -50), (40, 50), utility="water")]
    place = access(("T", "b", (40, 30)))
    assert "b#2" not in grown(["a@0.000"], 69.9, lines=lines, **place).spans
    assert grown(["a@0.000"], 70.1, lines=lines, **place).spans["b#2"] == pytest.approx(70.0)


def test_tone_jumps_all_along_a_parallel_run() -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (50, 1), (150, 1), utility="water")]
    place = access(("T", "b", (120, 1)))
    # b begins beside a at 50 m; b's far span is 70 m further, with no detour for the run's ends
    found = grown(["a@0.000"], 120.1, lines=lines, **place)
    assert found.spans["b#2"] == pytest.approx(120.0)
    assert grown(["a@100.000"], 20.1, lines=lines, **place).spans["b#2"] == pytest.approx(20.0)


def test_staggered_runs_are_no_free_ride() -> None:
    # spans of 150 m that overlap in turn: 300 m of street can't be had for 40 m
    lines = [
        line("a", (0, 0), (150, 0)),
        line("b", (100, 1), (250, 1), utility="gas"),
        line("c", (200, 0), (350, 0), utility="gas"),
    ]
    found = grown(["a@0.000"], 120.0, lines=lines)
    assert found.lines == ("a", "b")


@pytest.mark.parametrize(("gap_m", "reached"), [(0.8, True), (9.9, True), (10.1, False)])
def test_tone_leaks_to_a_line_close_by_that_neither_runs_beside_nor_crosses(gap_m: float, reached: bool) -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (50, gap_m), (50, 40), utility="oil")]
    assert grown(["a"], 20.0, near_m=10.0, lines=lines).lines == (("a", "b") if reached else ("a",))


@pytest.mark.parametrize(("distance_m", "reached"), [(5.5, False), (6.5, True)])
def test_a_jump_across_the_soil_costs_its_length(distance_m: float, reached: bool) -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (0, 6), (100, 6), utility="water")]
    assert grown(["a"], distance_m, near_m=10.0, lines=lines).lines == (("a", "b") if reached else ("a",))


def test_lines_without_coupling_are_not_reached() -> None:
    lines = [line("a", (0, 0), (100, 0)), line("b", (0, 14), (100, 14), utility="water")]
    assert grown(["a"], 1e6, near_m=10.0, lines=lines).lines == ("a",)


def test_couplings_of_lines_outside_the_network_are_passed_over() -> None:
    lines = [
        line("a", (0, 0), (100, 0)),
        line("b", (0, 1), (100, 1), conductive="no"),
        line("c", (50, -9), (50, 9), conductive="no"),
    ]
    assert grown(["a"], 10.0, lines=lines).lines == ("a",)


@given(st.integers(0, 100_000), st.floats(0, 60))
@settings(max_examples=5, deadline=None)
def test_growth_is_monotonic_and_cuts_are_where_it_stops(seed: int, distance_m: float) -> None:
    network, couplings = built(random_site(seed))
    graph = reach_graph(network, couplings)
    small = grow(network, couplings, ["L00"], distance_m=distance_m, graph=graph)
    large = grow(network, couplings, ["L00"], distance_m=distance_m + 20, graph=graph)
    assert small == grow(network, couplings, ["L00"], distance_m=distance_m)
    assert set(small.spans) <= set(large.spans)
    assert all(large.spans[name] == pytest.approx(at_m) for name, at_m in small.spans.items())
    table = network.spans.set_index("span_id")
    held = {table.loc[name, end] for name in small.spans for end in ("node_start", "node_end")}
    assert set(small.cut_nodes) <= held
    outside = set(network.spans["span_id"]) - set(small.spans)
    for node in held - set(small.cut_nodes):
        assert not outside & {key for _, _, key in network.graph.edges(node, keys=True)}


@given(st.integers(0, 100_000))
@settings(max_examples=4, deadline=None)
def test_without_couplings_growth_is_distance_in_the_network(seed: int) -> None:
    network, couplings = built(random_site(seed))
    bare = type(couplings)(couplings.parallel_runs.iloc[:0], couplings.crossings.iloc[:0], couplings.bonds_found)
    weight = {key: a.get("length_m", 0.0) for _, _, key, a in network.graph.edges(keys=True, data=True)}
    node = network.nodes["node_id"].iloc[0]
    reach = nx.single_source_dijkstra_path_length(
        network.graph, node, cutoff=50.0, weight=lambda u, v, keys: min(weight[key] for key in keys)
    )
    table = network.spans
    plain = {s.span_id: min(reach.get(s.node_start, 1e9), reach.get(s.node_end, 1e9)) for s in table.itertuples()}
    expected = {name: at_m for name, at_m in plain.items() if at_m < 50.0}
    graph = reach_graph(network, bare, near_m=0.0)
    assert grow(network, bare, [node], distance_m=50.0, graph=graph).spans == pytest.approx(expected)


@pytest.mark.parametrize("seeds", [[], ["P1"], ["E1", "nothing"]])
def test_seeds_that_are_not_there_are_refused(seeds: list[str]) -> None:
    with pytest.raises(InputError, match="expected"):
        grown(seeds, 10.0)
