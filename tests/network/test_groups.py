"""Bonded groups, against connected components taken by hand."""

from dataclasses import replace
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings import find_bonds
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CrsError, InputError
from corridor.frames import provenance
from corridor.network import bonded_groups
from corridor.network.edges import Edge, edge_key
from corridor.network.groups import find_groups, forests, group_names
from corridor.site.model import Site
from tests.builders import make_site
from tests.network.small import LINES, built, random_site, small_site

LEVELS = ("recorded", "likely", "possible")


def by_level(groups: gpd.GeoDataFrame) -> dict[str, list[list[str]]]:
    return {level: [row.split(" ") for row in groups["line_ids"][groups["level"] == level]] for level in LEVELS}


def by_hand(site: Site) -> dict[str, list[list[str]]]:
    """Connected components of the network's nodes, along spans and links, as the lines that they touch."""
    network = built(site)[0]
    states = find_bonds(site).set_index("bond_id")["state"]
    found = {}
    for level in LEVELS:
        graph: nx.Graph[str] = nx.Graph()
        graph.add_edges_from(zip(network.spans["node_start"], network.spans["node_end"], strict=True))
        for link in network.links.itertuples():
            if link.kind == "isolation":
                continue
            is_open = link.kind == "bond" and states[link.source_id] == "open"
            settled = link.closed and not link.switchable
            if {"recorded": settled, "likely": link.closed, "possible": not is_open}[level]:
                graph.add_edge(link.node_a, link.node_b)
        line_of = dict(zip(network.nodes["node_id"], network.nodes["line_id"], strict=True))
        parts = [sorted({line_of[node] for node in part}) for part in nx.connected_components(graph)]
        found[level] = sorted(part for part in parts if len(part) > 1)
    return found


@given(st.integers(0, 100_000))
@settings(max_examples=8, deadline=None)
def test_groups_are_the_components_of_the_network(seed: int) -> None:
    site = random_site(seed)
    assert by_level(bonded_groups(site)) == by_hand(site)


@given(st.integers(0, 100_000))
@settings(max_examples=5, deadline=None)
def test_a_level_of_less_evidence_only_joins(seed: int) -> None:
    groups = by_level(bonded_groups(random_site(seed)))
    for strict, loose in ((groups["recorded"], groups["likely"]), (groups["likely"], groups["possible"])):
        assert all(any(set(small) <= set(large) for large in loose) for small in strict)


def test_the_small_site() -> None:
    assert by_level(bonded_groups(small_site())) == {
        "recorded": [["E1", "E2", "E3"]],
        "likely": [["E1", "E2", "E3", "W1"]],
        "possible": [["E1", "E2", "E3", "W1"]],
    }


def bond_on_g1(name: str, x: float, **more: Any) -> dict[str, Any]:
    return {"bond_id": name, "line_a": "E1", "line_b": "G1", "state": "closed", "geometry": (x, -2)} | more


def test_an_isolating_joint_inside_a_line_leads_no_metal_on() -> None:
    # G1 is parted at 20 m by V1; E1 is bonded to its near side, W1 to its far side
    far = bond_on_g1("c", 50, line_a="G1", line_b="W1")
    near = bond_on_g1("b", 4)
    assert by_level(bonded_groups(small_site(bonds=[near, far])))["recorded"] == [
        ["E1", "E2", "E3", "G1"],
        ["G1", "W1"],
    ]


def test_a_jumper_round_an_isolating_joint_leads_it_on() -> None:
    rows = [bond_on_g1("b", 4), bond_on_g1("c", 50, line_a="G1", line_b="W1")]
    jumper = {"bond_id": "d", "line_a": "G1", "line_b": "G1", "state": "closed", "geometry": (20, -5)}
    groups = by_level(bonded_groups(small_site(bonds=[*rows, jumper])))
    assert groups["recorded"] == [["E1", "E2", "E3", "G1", "W1"]]


def test_lines_without_a_bond_are_not_called_anything() -> None:
    assert bonded_groups(make_site(lines=[LINES[0], LINES[3]])).empty


def rows(bonds: list[dict[str, Any]], count: int = 3) -> gpd.GeoDataFrame:
    lines = [{"line_id": f"L{k}", "geometry": [(0, 5 * k), (20, 5 * k)]} for k in range(count)]
    full = [{"bond_id": f"b{k}", **bond} for k, bond in enumerate(bonds)]
    return bonded_groups(make_site(lines=lines, bonds=full)).set_index("group_id")


def pair(a: int, b: int, **words: Any) -> dict[str, Any]:
    return {"line_a": f"L{a}", "line_b": f"L{b}", **words}


@pytest.mark.parametrize("evidence", ["recorded", "observed", "measured", "inferred", "suspected"])
@pytest.mark.parametrize("state", ["closed", "open", "unknown"])
def test_the_level_of_one_bond(evidence: str, state: str) -> None:
    found = rows([pair(0, 1, evidence=evidence, state=state, probability=0.6)])
    if state == "open":
        assert found.empty
        return
    known = evidence in ("recorded", "observed", "measured") and state == "closed"
    assert list(found["level"]) == (["recorded"] if known else []) + ["likely", "possible"]
    assert set(found["evidence_weakest"]) == {evidence}
    assert set(found["probability"]) == {0.6}


def test_less_likely_than_not_is_possible() -> None:
    assert list(rows([pair(0, 1, probability=0.49)])["level"]) == ["possible"]


def test_the_weakest_link_of_the_best_way() -> None:
    found = rows([
        pair(0, 1, evidence="measured", state="closed"),
        pair(1, 2, evidence="inferred", probability=0.7),
        pair(0, 2, evidence="suspected", probability=0.2),
    ])  # fmt: skip
    assert found.loc["recorded:L0", "line_ids"] == "L0 L1"
    assert found.loc["recorded:L0", "evidence_weakest"] == "measured"
    assert found.loc["possible:L0", "line_ids"] == "L0 L1 L2"
    assert found.loc["possible:L0", "evidence_weakest"] == "inferred"
    assert found.loc["possible:L0", "probability"] == 0.7


def test_of_two_bonds_as_likely_the_better_known_counts() -> None:
    found = rows([pair(0, 1, evidence="suspected", probability=0.6), pair(0, 1, evidence="observed", probability=0.6)])
    assert found.loc["likely:L0", "evidence_weakest"] == "observed"


def test_a_bond_to_earth_joins_no_lines() -> None:
    assert rows(
        [{"line_a": "L0", "line_b": "earth", "state": "closed"}, {"line_a": "L1", "line_b": "earth", "state": "closed"}]
    ).empty


def test_length_count_and_geometry() -> None:
    found = rows([pair(0, 1, state="closed")])
    row = found.loc["recorded:L0"]
    assert (row["line_count"], row["length_m"]) == (2, 40.0)
    assert row.geometry.geom_type == "MultiLineString"
    assert row.geometry.length == 40.0


def test_bonds_already_found_may_be_given() -> None:
    site = small_site()
    pd.testing.assert_frame_equal(bonded_groups(site, bonds_found=find_bonds(site)), bonded_groups(site))
    assert by_level(bonded_groups(site, bonds_found=find_bonds(site).iloc[:0]))["likely"] == [["E1", "E2", "E3"]]


@pytest.mark.parametrize("site", [small_site(), make_site(lines=[LINES[0]])])
def test_the_table_is_the_dictionarys(site: Site) -> None:
    groups = bonded_groups(site)
    assert list(groups.columns) == [*RESULT_TABLES["bonded_groups"].names, "geometry"]
    assert groups.crs == site.crs
    assert provenance(groups)[-1]["function"] == "bonded_groups"


def test_lines_that_cannot_be_used_are_refused() -> None:
    site = small_site()
    with pytest.raises(CrsError):
        bonded_groups(replace(site, lines=site.lines.to_crs("EPSG:4326")))
    with pytest.raises(InputError):
        bonded_groups(replace(site, lines=site.lines.assign(line_id="x")))


IRON = {"utility": "water", "asset": "pipe", "material": "ductile_iron", "joints": "gasketed"}


def mains(**more: Any) -> list[dict[str, Any]]:
    """Two pipes end to end, and a third that tees off the second."""
    ends = {"W1": [(0, 0), (40, 0)], "W2": [(40, 0), (80, 0)], "W3": [(60, 0), (60, 30)]}
    return [IRON | more | {"line_id": name, "geometry": shape} for name, shape in ends.items()]


@pytest.mark.parametrize(
    ("more", "level", "evidence", "probability"),
    [
        ({"joints": "bonded"}, "recorded", "recorded", 1.0),
        ({"tracer_wire": "yes"}, "recorded", "recorded", 1.0),
        ({"material": "steel", "joints": "welded"}, "recorded", "recorded", 1.0),
        ({}, "possible", "suspected", 0.3),
        ({"material": "cast_iron", "joints": "unknown"}, "possible", "suspected", 0.3),
        ({"joints": "insulated"}, "possible", "suspected", 0.3),
        ({"joints": "corroded"}, "likely", "inferred", 0.5),
        ({"material_src": "default", "conductive_src": "inferred"}, "possible", "suspected", 0.3),
        ({"material": "steel", "joints": "welded", "material_src": "default", "conductive_src": "inferred"},
         "likely", "inferred", 0.5),
        ({"material": "steel", "joints": "welded", "material_src": "default", "conductive_src": "given"},
         "recorded", "recorded", 1.0),
        ({"asset": "cable", "joints": None, "material_src": "default", "conductive_src": "inferred"},
         "recorded", "recorded", 1.0),
    ],
)  # fmt: skip
def test_metal_that_no_record_vouches_for_joins_nothing_on_record(
    more: dict[str, Any], level: str, evidence: str, probability: float
) -> None:
    found = bonded_groups(make_site(lines=mains(**more)))
    assert list(found["level"]) == list(LEVELS[LEVELS.index(level) :])
    assert set(found["line_ids"]) == {"W1 W2 W3"}
    assert set(found["evidence_weakest"]) == {evidence}
    assert set(found["probability"]) == {probability}


def test_one_pipe_of_unknown_continuity_weakens_its_own_junctions_only() -> None:
    rows = mains(joints="bonded")
    rows[0]["joints"] = "gasketed"
    groups = by_level(bonded_groups(make_site(lines=rows)))
    assert groups == {"recorded": [["W2", "W3"]], "likely": [["W2", "W3"]], "possible": [["W1", "W2", "W3"]]}


@pytest.mark.parametrize(("joints", "whole"), [("gasketed", False), ("bonded", True)])
def test_a_pipe_that_may_be_parted_leads_from_bond_to_bond_only_possibly(joints: str, whole: bool) -> None:
    pipe = IRON | {"line_id": "W1", "joints": joints, "geometry": [(0, 0), (80, 0)]}
    lines = [{"line_id": f"E{k}", "geometry": [(x, 1), (x, 30)]} for k, x in enumerate((10.0, 10.3, 70.0))]
    bonds = [{"bond_id": f"b{k}", "line_a": f"E{k}", "line_b": "W1", "state": "closed", "evidence": "measured",
              "geometry": (x, 0.5)} for k, x in enumerate((10.0, 10.3, 70.0))]  # fmt: skip
    found = bonded_groups(make_site(lines=[pipe, *lines], bonds=bonds))
    recorded = [["E0", "E1", "E2", "W1"]] if whole else [["E0", "E1", "W1"], ["E2", "W1"]]
    assert by_level(found) == {"recorded": recorded, "likely": recorded, "possible": [["E0", "E1", "E2", "W1"]]}
    assert found["group_id"].is_unique
    assert found.iloc[-1]["evidence_weakest"] == ("measured" if whole else "suspected")


def test_two_groups_of_one_first_line_keep_apart_by_name() -> None:
    lines = [IRON | {"line_id": "A1", "geometry": [(0, 0), (80, 0)]},
             *({"line_id": f"E{k}", "geometry": [(x, 1), (x, 30)]} for k, x in enumerate((10.0, 70.0)))]  # fmt: skip
    bonds = [{"bond_id": f"b{k}", "line_a": "A1", "line_b": f"E{k}", "state": "closed", "geometry": (x, 0.5)}
             for k, x in enumerate((10.0, 70.0))]  # fmt: skip
    found = bonded_groups(make_site(lines=lines, bonds=bonds))
    assert list(found["group_id"][:2]) == ["recorded:A1", "recorded:A1:2"]


def edge(a: str, b: str, *, level: int = 0, evidence: str = "recorded", probability: float = 1.0) -> Edge:
    return Edge(a=(a, 0, 0.0), b=(b, 0, 0.0), kind="bond", evidence=evidence, probability=probability, level=level,
                at_a_m=0.0, at_b_m=0.0, bond_id=f"{a}{b}")  # fmt: skip


@given(st.integers(0, 100_000))
@settings(max_examples=40, deadline=None)
def test_groups_hang_on_the_weakest_edge_of_a_maximum_spanning_tree(seed: int) -> None:
    # networkx's own Kruskal is the judge: of all spanning trees the weakest edge is then as probable as can be
    rng = np.random.default_rng(seed)
    graph: nx.Graph[str] = nx.Graph()
    for a, b in rng.integers(0, 9, (14, 2)):
        if a != b:
            graph.add_edge(f"L{a}", f"L{b}", weight=float(rng.integers(1, 10)) / 10)
    ordered = sorted(graph.edges(data="weight"), key=lambda row: -row[2])
    found = find_groups([edge(a, b, level=2, evidence="suspected", probability=p) for a, b, p in ordered])
    assert {group.level for group in found} == {"possible"}
    tree = nx.maximum_spanning_tree(graph)
    weakest = {tuple(sorted(part)): min(p for _, _, p in tree.subgraph(part).edges(data="weight"))
               for part in nx.connected_components(graph)}  # fmt: skip
    assert {group.lines: group.probability for group in found} == weakest


@given(st.integers(0, 100_000))
@settings(max_examples=40, deadline=None)
def test_loops_of_a_part_are_none_of_the_wholes_forest(seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = [edge(f"L{a}", f"L{b}", level=int(rng.integers(3)), evidence="inferred", probability=float(p) / 10)
             for a, b, p in rng.integers(1, 9, (16, 3)) if a != b]  # fmt: skip
    edges.sort(key=edge_key)
    within = np.zeros((3, len(edges)), dtype=bool)
    part = rng.integers(0, 3, len(edges))
    for number in range(3):
        rows = np.flatnonzero(part == number)
        within[:, rows] = forests([edges[k] for k in rows])
    assert find_groups(edges, within=within) == find_groups(edges)
    assert forests([]).shape == (3, 0)


def test_two_pieces_of_one_line_alone_are_no_group() -> None:
    along = Edge(a=("W", 0, 10.0), b=("W", 0, 70.0), kind="continuity", evidence="suspected", probability=0.3, level=2,
                 at_a_m=10.0, at_b_m=70.0)  # fmt: skip
    assert find_groups([along]) == []


def test_names_are_stable_and_hold_no_space() -> None:
    groups = find_groups([edge("A 1", "B"), edge("C", "D")])
    assert group_names(groups[:2]) == ["recorded:A_1", "recorded:C"]
    assert group_names(groups[:2], kept=["x", None]) == ["x", "recorded:C"]
    assert group_names(groups[:2], barred=["recorded:C", "recorded:C:2"]) == ["recorded:A_1", "recorded:C:3"]


def test_names_that_fall_together_are_numbered() -> None:
    groups = find_groups([edge("A 1", "B"), edge("A_1", "C")])
    assert group_names(groups[:2]) == ["recorded:A_1", "recorded:A_1:2"]


def test_a_group_that_keeps_the_name_of_another_takes_it_from_nobody() -> None:
    groups = find_groups([edge("A", "B"), edge("C", "D")])
    assert group_names(groups[:2], kept=[None, "recorded:A"]) == ["recorded:A:2", "recorded:A"]
