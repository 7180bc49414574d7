"""The network: spans, nodes, links and grounds."""

from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings import find_bonds
from corridor.errors import CrsError, InputError
from corridor.network import build_network
from corridor.network.build import GROUND_OHM, ISOLATION_F, ISOLATION_OHM
from corridor.settings import Settings, SiteSettings
from corridor.site.model import Site
from tests.builders import make_site
from tests.network.small import LINES, built, random_site, small_site

SEEDS = st.integers(0, 100_000)
NETWORK, COUPLINGS = built(small_site())


def network(**tables: Any) -> Any:
    return built(make_site(**tables))[0]


def check(site: Site) -> None:
    """What holds for every network."""
    net, found = built(site)
    lines = site.lines.set_index("line_id")
    assert set(net.nodes["node_id"]) == set(net.graph.nodes)
    assert net.nodes["node_id"].is_unique
    assert net.spans["span_id"].is_unique
    assert net.links["link_id"].is_unique
    assert {key for _, _, key in net.graph.edges(keys=True)} == {*net.spans["span_id"], *net.links["link_id"]}
    for name, part in net.spans.groupby("line_id"):
        shape = lines.geometry[name]
        assert part["start_m"].iloc[0] == 0
        assert part["end_m"].iloc[-1] == pytest.approx(shape.length)
        np.testing.assert_array_equal(part["start_m"].iloc[1:], part["end_m"].iloc[:-1])
        assert (part["end_m"] > part["start_m"]).all()
        np.testing.assert_allclose(part.geometry.length, part["end_m"] - part["start_m"])
        assert shapely.line_merge(shapely.union_all(part.geometry)).length == pytest.approx(shape.length)
    at = net.nodes.set_index("node_id")
    for span in net.spans.itertuples():
        assert at.geometry[span.node_start].distance(shapely.get_point(span.geometry, 0)) < 1e-6
        assert at.geometry[span.node_end].distance(shapely.get_point(span.geometry, -1)) < 1e-6
        assert at["line_id"][span.node_start] == at["line_id"][span.node_end] == span.line_id
    for link in net.links.itertuples():
        assert at["line_id"][link.node_a] == link.line_a
        assert at["line_id"][link.node_b] == link.line_b
        assert link.node_a != link.node_b
    junctions = net.links[net.links["kind"] == "junction"]
    assert nx.is_forest(nx.Graph(list(zip(junctions["node_a"], junctions["node_b"], strict=True)) or [("x", "y")]))
    pd.testing.assert_frame_equal(build_network(site, found.bonds_found).links, net.links)


@given(SEEDS)
@settings(max_examples=7, deadline=None)
def test_what_holds_for_every_network(seed: int) -> None:
    check(random_site(seed))


def test_what_holds_for_the_small_one() -> None:
    check(small_site())


def test_only_conductors_that_exist_are_in_it() -> None:
    assert set(NETWORK.spans["line_id"]) == {"E1", "E2", "E3", "G1", "G2", "W1"}
    gone = small_site(lines=[row | {"status": "removed"} for row in LINES])
    assert built(gone)[0].spans.empty
    unknown = small_site(lines=[row | {"conductive": "unknown"} for row in LINES])
    assert len(built(unknown)[0].graph) == 0


def test_spans_are_cut_at_tees_access_grounds_and_joints() -> None:
    spans = [(s.span_id, s.node_start, s.node_end) for s in NETWORK.spans.itertuples()]
    assert spans == [
        ("E1#1", "E1@0.000", "E1@10.000"),
        ("E2#1", "E2@0.000", "E2@20.000"),
        ("E2#2", "E2@20.000", "E2@30.000"),
        ("E2#3", "E2@30.000", "E2@40.000"),
        ("E3#1", "E3@0.000", "E3@39.950"),
        ("G1#1", "G1@0.000", "G1@20.000"),
        ("G1#2", "G1@20.000+", "G1@60.000"),
        ("G2#1", "G2@0.000", "G2@40.000"),
        ("W1#1", "W1@0.000", "W1@12.682"),
    ]
    kinds = NETWORK.nodes.set_index("node_id")["kind"]
    assert kinds["E2@20.000"] == "tee"
    assert kinds["E2@30.000"] == "access"
    assert kinds["G1@20.000"] == kinds["G1@20.000+"] == "isolation"


def test_graph_tells_kind_and_length() -> None:
    edge = NETWORK.graph.edges["E2@0.000", "E2@20.000", "E2#1"]
    assert (edge["kind"], edge["line_id"], edge["length_m"]) == ("span", "E2", 20.0)
    assert NETWORK.graph.nodes["E2@40.000"]["ground_ids"] == ("g1",)
    assert NETWORK.graph.nodes["E2@0.000"] == {"x_m": 10.0, "y_m": 0.0, "ground_ids": ()}
    link = NETWORK.graph.edges["E1@10.000", "E2@0.000", "junction:E1@10.000:E2@0.000"]
    assert (link["kind"], link["closed"], link["switchable"], link["probability"]) == ("junction", True, False, 1.0)


def test_junctions_conduct_without_resistance() -> None:
    junctions = NETWORK.links[NETWORK.links["kind"] == "junction"]
    assert set(zip(junctions["node_a"], junctions["node_b"], strict=True)) == {
        ("E1@10.000", "E2@0.000"),
        ("E2@20.000", "E3@0.000"),
    }
    assert (junctions["resistance_ohm"] == 0).all()
    assert junctions["closed"].all()
    assert not junctions["switchable"].any()


@pytest.mark.parametrize("count", [2, 3, 5])
def test_k_ends_make_k_minus_one_junctions(count: int) -> None:
    lines = [{"line_id": f"L{k}", "geometry": [(0, 0), (10, k)]} for k in range(count)]
    assert len(network(lines=lines).links) == count - 1


def test_snap_reach_is_a_setting() -> None:
    site = make_site(lines=[LINES[0], LINES[1] | {"geometry": [(10.3, 0), (50, 0)]}])
    wide = Settings(site=SiteSettings(snap_m=0.4))
    assert len(build_network(site, find_bonds(site)).links) == 0
    assert len(build_network(site, find_bonds(site), settings=wide).links) == 1


def test_a_ring_is_closed_on_itself() -> None:
    net = network(lines=[{"line_id": "R", "geometry": [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]}])
    (link,) = net.links.itertuples()
    assert (link.kind, link.node_a, link.node_b) == ("junction", "R@0.000", "R@40.000")


def test_isolating_joints_part_lines_and_meetings() -> None:
    parted = NETWORK.links[NETWORK.links["kind"] == "isolation"]
    assert set(zip(parted["node_a"], parted["node_b"], parted["source_id"], strict=True)) == {
        ("G1@20.000", "G1@20.000+", "V1"),
        ("G1@60.000", "G2@0.000", "V2"),
    }
    assert (parted["resistance_ohm"] == ISOLATION_OHM).all()
    assert (parted["capacitance_f"] == ISOLATION_F).all()
    assert not parted["closed"].any()
    assert not parted["switchable"].any()


def test_one_isolating_joint_parts_one_line_from_all_the_others() -> None:
    lines = [{"line_id": f"L{k}", "geometry": [(0, 0), (10, k)]} for k in range(4)]
    net = network(
        lines=lines,
        structures=[{"structure_id": "V", "kind": "valve", "geometry": (0, 0)}],
        terminations=[{"structure_id": "V", "line_id": "L1", "isolated": "yes"}],
    )
    kinds = net.links.groupby("kind").size()
    assert (kinds["junction"], kinds["isolation"]) == (2, 1)
    isolation = net.links[net.links["kind"] == "isolation"].iloc[0]
    assert "L1" in (isolation["line_a"], isolation["line_b"])


def test_insulated_joints_of_a_line_make_no_link() -> None:
    assert network(lines=[LINES[0] | {"joints": "insulated"}]).links.empty


BOND = {"bond_id": "b", "line_a": "E1", "line_b": "G1", "geometry": (4, -2)}


@pytest.mark.parametrize(
    ("words", "closed", "switchable"),
    [
        ({"state": "closed"}, True, False),
        ({"state": "closed", "evidence": "observed"}, True, False),
        ({"state": "closed", "evidence": "measured"}, True, False),
        ({"state": "open"}, False, False),
        ({"state": "open", "evidence": "inferred"}, False, False),
        ({"state": "unknown"}, True, True),
        ({}, True, True),
        ({"probability": 0.5}, True, True),
        ({"probability": 0.4}, False, True),
        ({"evidence": "inferred"}, True, True),
        ({"evidence": "inferred", "state": "closed"}, True, True),
        ({"evidence": "suspected"}, False, True),
        ({"evidence": "suspected", "state": "closed", "probability": 0.2}, True, True),
        ({"evidence": "suspected", "probability": 0.6}, True, True),
    ],
)
def test_nominal_state_of_a_bond(words: dict[str, Any], closed: bool, switchable: bool) -> None:
    if words.get("evidence") == "suspected" and words.get("state") == "closed":
        closed = False  # a suspicion stays one, whatever state it claims
    net = network(lines=[LINES[0], LINES[4]], bonds=[BOND | words])
    (link,) = net.links.itertuples()
    assert (link.link_id, link.kind, link.source_id) == ("bond:b", "bond", "b")
    assert (link.closed, link.switchable) == (closed, switchable)
    assert (link.node_a, link.node_b) == ("E1@4.000", "G1@4.000")
    assert link.resistance_ohm == 0.01


def test_a_bond_near_a_node_joins_it() -> None:
    net = network(
        lines=[LINES[0], LINES[4]],
        bonds=[BOND | {"geometry": (0.25, -2)}, BOND | {"bond_id": "c", "geometry": (0.35, -2)}],
    )
    assert list(net.links["node_a"]) == ["E1@0.000", "E1@0.350"]


def test_a_bond_to_a_line_that_carries_nothing_is_left_out() -> None:
    assert network(lines=[LINES[0], LINES[4] | {"conductive": "no"}], bonds=[BOND]).links.empty


def test_a_jumper_bridges_the_isolating_joint_in_its_line() -> None:
    jumper = {"bond_id": "j", "line_a": "G1", "line_b": "G1", "state": "closed", "geometry": (20, -5)}
    net = built(small_site(bonds=[jumper]))[0]
    link = net.links.set_index("link_id").loc["bond:j"]
    assert (link["node_a"], link["node_b"]) == ("G1@20.000", "G1@20.000+")
    elsewhere = built(small_site(bonds=[jumper | {"geometry": (5, -5)}]))[0]
    assert "bond:j" not in set(elsewhere.links["link_id"])


@pytest.mark.parametrize(
    ("evidence", "switchable", "probability"),
    [
        ("recorded", False, 1.0),
        (None, False, 1.0),
        ("measured", False, 1.0),
        ("inferred", True, 0.5),
        ("suspected", True, 0.3),
    ],
)
def test_grounds(evidence: str | None, switchable: bool, probability: float) -> None:
    ground = {"ground_id": "g", "line_id": "E1", "geometry": (4, 1), "evidence": evidence, "resistance_ohm": 7.0}
    (found,) = network(lines=[LINES[0]], grounds=[ground]).grounds.itertuples()
    assert (found.node_id, found.line_id, found.resistance_ohm) == ("E1@4.000", "E1", 7.0)
    assert (found.closed, found.switchable, found.probability) == (True, switchable, probability)
    assert found.geometry.equals(shapely.Point(4, 0))


def test_a_ground_without_resistance_gets_the_default() -> None:
    ground = {"ground_id": "g", "line_id": "E1", "geometry": (4, 1)}
    assert network(lines=[LINES[0]], grounds=[ground]).grounds["resistance_ohm"].tolist() == [GROUND_OHM]


@pytest.mark.parametrize(("low", "high", "span"), [(5.0, 100.0, (5.0, 100.0)), (None, None, (25.0, 25.0))])
def test_a_ground_keeps_its_range(low: float | None, high: float | None, span: tuple[float, float]) -> None:
    ground = {"ground_id": "g", "line_id": "E1", "geometry": (4, 1), "resistance_ohm": 25.0}
    ground |= {"resistance_low_ohm": low, "resistance_high_ohm": high}
    (found,) = network(lines=[LINES[0]], grounds=[ground]).grounds.itertuples()
    assert (found.resistance_low_ohm, found.resistance_high_ohm) == span


@pytest.mark.parametrize(
    ("words", "closed", "switchable", "ohm"),
    [
        ({"state": "closed", "resistance_ohm": 5.0}, True, False, 5.0),
        ({"state": "open"}, False, False, GROUND_OHM),
        ({"evidence": "suspected"}, False, True, GROUND_OHM),
    ],
)
def test_a_bond_to_earth_is_a_ground(words: dict[str, Any], closed: bool, switchable: bool, ohm: float) -> None:
    net = network(lines=[LINES[0]], bonds=[BOND | {"line_b": "earth"} | words])
    assert net.links.empty
    (found,) = net.grounds.itertuples()
    assert (found.ground_id, found.node_id, found.resistance_ohm) == ("b", "E1@4.000", ohm)
    assert (found.closed, found.switchable) == (closed, switchable)


def test_grounds_of_lines_that_are_not_there_are_left_out() -> None:
    grounds = [{"ground_id": "g", "line_id": name, "geometry": (4, 1)} for name in ("P1", "nothing")]
    assert network(lines=LINES, grounds=grounds).grounds.empty


@pytest.mark.parametrize(
    ("at", "node"), [("start", "E1@0.000"), ("end", "E1@10.000"), ("through", "E1@4.000"), (None, "E1@4.000")]
)
def test_every_termination_has_a_node(at: str | None, node: str) -> None:
    net = network(
        lines=[LINES[0]],
        structures=[{"structure_id": "H", "kind": "handhole", "geometry": (4, 0.4)}],
        terminations=[
            {"structure_id": "H", "line_id": "E1", "at": at},
            {"structure_id": "H", "line_id": "nothing"},
            {"structure_id": "nowhere", "line_id": "E1"},
        ],
    )
    assert node in set(net.nodes["node_id"])
    assert len(net.nodes) == (2 if at in ("start", "end") else 3)


def test_empty_site_gives_an_empty_network_with_the_same_columns() -> None:
    gone = built(small_site(lines=[row | {"status": "proposed"} for row in LINES]))[0]
    for name in ("spans", "nodes", "links", "grounds"):
        frame = getattr(gone, name)
        assert frame.empty
        assert list(frame.columns) == list(getattr(NETWORK, name).columns)


def test_inputs_are_left_alone() -> None:
    site = small_site(bonds=[BOND])
    bonds = find_bonds(site)
    before = [f.copy(deep=True) for f in (site.lines, site.bonds, site.grounds, site.terminations, bonds)]
    build_network(site, bonds)
    for frame, copy in zip((site.lines, site.bonds, site.grounds, site.terminations, bonds), before, strict=True):
        pd.testing.assert_frame_equal(frame, copy)


@given(st.permutations(range(len(LINES))))
@settings(max_examples=4, deadline=None)
def test_the_order_of_the_rows_changes_nothing(order: list[int]) -> None:
    again = built(small_site(lines=[LINES[k] for k in order]))[0]
    pd.testing.assert_frame_equal(again.spans, NETWORK.spans)
    pd.testing.assert_frame_equal(again.nodes, NETWORK.nodes)
    pd.testing.assert_frame_equal(again.links, NETWORK.links)


def test_lines_that_cannot_be_used_are_refused() -> None:
    site = small_site()
    with pytest.raises(CrsError):
        build_network(replace(site, lines=site.lines.to_crs("EPSG:4326")), COUPLINGS.bonds_found)
    with pytest.raises(InputError):
        build_network(replace(site, lines=site.lines.assign(line_id="x")), COUPLINGS.bonds_found)
