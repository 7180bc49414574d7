"""What joins the metal of lines, edge by edge."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.couplings import find_bonds
from corridor.couplings.places import conducts
from corridor.couplings.segments import sorted_lines
from corridor.network.edges import STRENGTH, Metal, edge_points, metal_of
from corridor.site.model import Site
from tests.builders import make_site
from tests.network.small import random_site, small_site

IRON = {"utility": "water", "asset": "pipe", "material": "ductile_iron", "joints": "gasketed"}


def metal(site: Site) -> Metal:
    lines = sorted_lines(site.lines)
    return metal_of(site, lines[conducts(lines)].reset_index(drop=True), find_bonds(site))


def test_the_small_site_edge_by_edge() -> None:
    found = {edge.edge_id: edge for edge in metal(small_site()).edges}
    assert sorted(found) == [
        "bond:service_entrance_water~B1~E1~W1", "bond:service_entrance_water~B1~E2~W1", "junction:E1@10.000:E2@0.000",
        "junction:E3@0.000:E2@20.000",
    ]  # fmt: skip
    met = found["junction:E3@0.000:E2@20.000"]
    assert (met.kind, met.evidence, met.probability, met.level, met.settled) == ("junction", "recorded", 1.0, 0, True)
    bond = found["bond:service_entrance_water~B1~E1~W1"]
    assert (bond.kind, bond.evidence, bond.probability, bond.level, bond.settled) == ("bond", "inferred", 0.8, 1, False)
    assert (bond.at_a_m, bond.at_b_m) == (10.0, pytest.approx(12.68, abs=0.01))


def test_open_bonds_bonds_to_earth_and_meetings_at_joints_join_nothing() -> None:
    bonds = [
        {"bond_id": "o", "line_a": "E1", "line_b": "G1", "state": "open"},
        {"bond_id": "e", "line_a": "E1", "line_b": "earth", "state": "closed"},
        {"bond_id": "p", "line_a": "E1", "line_b": "P1", "state": "closed"},  # plastic
    ]
    names = {edge.edge_id for edge in metal(small_site(bonds=bonds)).edges}
    assert not names & {"bond:o", "bond:e", "bond:p"}
    assert not any("G1" in name for name in names)


@given(st.integers(0, 100_000))
@settings(max_examples=7, deadline=None)
def test_the_strongest_come_first_and_lengths_add_up_to_the_lines(seed: int) -> None:
    site = random_site(seed)
    found = metal(site)
    ranks = [(-edge.probability, STRENGTH.index(edge.evidence)) for edge in found.edges]
    assert ranks == sorted(ranks)
    assert len({edge.edge_id for edge in found.edges}) == len(found.edges)
    by_line: dict[str, float] = {}
    for node, length_m in found.length_m.items():
        assert length_m >= 0
        by_line[node[0]] = by_line.get(node[0], 0.0) + length_m
    lines = site.lines[conducts(site.lines)].set_index("line_id")
    assert by_line == pytest.approx(lines.geometry.length.to_dict())
    assert {node for edge in found.edges for node in (edge.a, edge.b)} <= set(found.length_m)


def iron_with_bonds(*at_m: float, **more: Any) -> Metal:
    """One pipe of 80 m with a cable bonded to it at each measure."""
    cables = [{"line_id": f"E{k}", "geometry": [(x, 1), (x, 30)]} for k, x in enumerate(at_m)]
    bonds = [{"bond_id": f"b{k}", "line_a": f"E{k}", "line_b": "W1", "state": "closed", "geometry": (x, 0.5)}
             for k, x in enumerate(at_m)]  # fmt: skip
    pipe = IRON | {"line_id": "W1", "geometry": [(0, 0), (80, 0)]} | more
    return metal(make_site(lines=[pipe, *cables], bonds=bonds))


def test_metal_that_may_part_leads_from_place_to_place_by_its_own_evidence() -> None:
    found = iron_with_bonds(10.0, 10.3, 70.0)
    along = [(e.evidence, e.level, e.at_a_m, e.at_b_m) for e in found.edges if e.kind == "continuity"]
    assert along == [("recorded", 0, 10.0, 10.3), ("suspected", 2, 10.3, 70.0)]
    pieces = sorted((node[2], length_m) for node, length_m in found.length_m.items() if node[0] == "W1")
    # a place stands for the stretch up to half-way to the next: ends at 10.15 and 40.15 m
    assert pieces == [(10.0, pytest.approx(10.15)), (10.3, pytest.approx(30.0)), (70.0, pytest.approx(39.85))]


def test_sound_metal_is_one_place_however_many_bonds() -> None:
    found = iron_with_bonds(10.0, 70.0, joints="bonded")
    assert [node for node in found.length_m if node[0] == "W1"] == [("W1", 0, 0.0)]
    assert found.length_m["W1", 0, 0.0] == 80.0


def test_an_isolating_joint_inside_a_line_makes_two_pieces() -> None:
    found = metal(small_site())
    assert found.length_m["G1", 0, 0.0] == 20.0
    assert found.length_m["G1", 1, 0.0] == 40.0
    assert found.parted == (
        ("V1", "G1", ("G1", 0, 0.0), ("G1", 1, 0.0)),
        ("V2", "G1", ("G1", 1, 0.0), ("G2", 0, 0.0)),
        ("V2", "G2", ("G2", 0, 0.0), ("G1", 1, 0.0)),
    )


@pytest.mark.parametrize(("x", "piece"), [(19.0, 0), (20.2, 0), (21.0, 1)])
def test_a_bond_at_an_isolating_joint_is_on_the_side_of_the_start(x: float, piece: int) -> None:
    # as the network has it: what happens within 0.3 m of the joint is at the node before it
    bond = {"bond_id": "b", "line_a": "E1", "line_b": "G1", "state": "closed", "geometry": (x, -5)}
    (edge,) = (edge for edge in metal(small_site(bonds=[bond])).edges if edge.bond_id == "b")
    assert edge.b == ("G1", piece, 0.0)


def test_a_bond_without_probability_is_possible_only() -> None:
    site = small_site()
    lines = sorted_lines(site.lines)
    bonds = find_bonds(site).assign(probability=np.nan)
    found = metal_of(site, lines[conducts(lines)].reset_index(drop=True), bonds)
    assert {edge.level for edge in found.edges if edge.kind == "bond"} == {2}


def test_an_edge_stands_on_its_first_line() -> None:
    site = small_site()
    lines = sorted_lines(site.lines)
    edges = metal(site).edges
    points = edge_points(edges, lines)
    for edge, point in zip(edges, points, strict=True):
        assert lines.set_index("line_id").geometry[edge.a[0]].distance(point) < 1e-9
    assert len(edge_points((), lines)) == 0
