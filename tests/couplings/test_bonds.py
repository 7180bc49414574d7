"""Recorded bonds, and each rule by which one is inferred."""

from dataclasses import replace
from itertools import combinations
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from corridor.couplings import bonds, find_bonds
from corridor.couplings.rules import RULES
from corridor.dictionary import EVIDENCE, INPUT_TABLES, RESULT_TABLES, STRUCTURE_KINDS, UTILITIES
from corridor.errors import CrsError, InputError
from corridor.frames import provenance
from corridor.settings import Settings, SiteSettings
from tests.builders import make_site

PIPE = {"asset": "pipe", "material": "steel"}
E1 = {"line_id": "E1", "geometry": [(0, 0), (10, 0)]}
E2 = {"line_id": "E2", "geometry": [(10, 0.3), (10, 20)]}
W1 = {"line_id": "W1", "utility": "water", **PIPE, "geometry": [(20, 1), (10, -0.3)]}
G1 = {"line_id": "G1", "utility": "gas", **PIPE, "geometry": [(20, -9), (10, -0.2)]}
T1 = {"line_id": "T1", "utility": "telecommunications", "geometry": [(10.2, 0.2), (20, 9)]}
T2 = T1 | {"line_id": "T2", "geometry": [(0, 9), (10, 0.4), (20, 9)]}
L1 = E1 | {"line_id": "L1", "utility": "lighting", "geometry": [(9.8, 0), (0, 5)]}
L2 = L1 | {"line_id": "L2", "geometry": [(10.1, -0.2), (0, -5)]}
S1 = L1 | {"line_id": "S1", "utility": "traffic_signal", "geometry": [(10, 0.2), (0, -9)]}


def structure(kind: str) -> dict[str, Any]:
    return {"structure_id": "X", "kind": kind, "geometry": (10, 0)}


def found(kind: str, *lines: dict[str, Any], **tables: Any) -> gpd.GeoDataFrame:
    return find_bonds(make_site(lines=lines, structures=[structure(kind)], **tables))


def pairs(bonds: gpd.GeoDataFrame) -> set[tuple[str, str]]:
    return set(zip(bonds["line_a"], bonds["line_b"], strict=True))


@pytest.mark.parametrize(
    ("kind", "lines", "rule", "probability", "evidence"),
    [
        ("building_entry", (E1, W1), "service_entrance_water", 0.8, "inferred"),
        ("building_entry", (E1, T1), "service_entrance_communications", 0.8, "inferred"),
        ("building_entry", (E1, G1), "service_entrance_gas", 0.6, "inferred"),
        ("transformer", (E1, E2), "multi_grounded_neutral", 0.9, "inferred"),
        ("substation", (E1, E2), "multi_grounded_neutral", 0.9, "inferred"),
        ("manhole", (E1, E2), "racked_electricity_cables", 0.8, "inferred"),
        ("vault", (T1, T2), "racked_telecommunications_cables", 0.6, "inferred"),
        ("chamber", (E1, T1), "joint_manhole", 0.3, "suspected"),
        ("chamber", (E1, T2), "joint_manhole", 0.3, "suspected"),
        ("cabinet", (L1, L2), "shared_cabinet", 0.7, "inferred"),
        ("cabinet", (L1, S1), "shared_cabinet", 0.7, "inferred"),
    ],
)
def test_each_rule(kind: str, lines: Any, rule: str, probability: float, evidence: str) -> None:
    (bond,) = found(kind, *lines).itertuples()
    first, second = sorted(line["line_id"] for line in lines)
    assert (bond.line_a, bond.line_b, bond.structure_id) == (first, second, "X")
    assert (bond.rule, bond.probability, bond.evidence, bond.state) == (rule, probability, evidence, "unknown")
    assert bond.bond_id == f"{rule}~X~{first}~{second}"
    assert bond.source
    assert bond.resistance_ohm > 0
    assert bond.geometry.equals(Point(10, 0))


@pytest.mark.parametrize(
    ("kind", "lines"),
    [
        ("building_entry", (W1, G1)),
        ("building_entry", (W1, T1)),
        ("building_entry", (E1, E2)),
        ("building_entry", (E1, T2)),  # passes
        ("building_entry", (E1, W1 | {"conductive": "no"})),
        ("building_entry", (E1, W1 | {"conductive": "unknown"})),
        ("building_entry", (E1, W1 | {"status": "proposed"})),
        ("building_entry", (E1, W1 | {"status": "removed"})),
        ("building_entry", (E1, W1 | {"material": "polyethylene", "tracer_wire": "yes"})),
        ("building_entry", (E1, W1 | {"asset": "tracer_wire", "material": "copper"})),
        ("building_entry", (E1, W1 | {"geometry": [(20, 1), (10, -0.6)]})),  # out of reach
        ("transformer", (E1, L1)),
        ("manhole", (E1, E2 | {"asset": "duct"})),
        ("manhole", (W1, W1 | {"line_id": "W2", "geometry": [(0, 0), (10, 0.3)]})),
        ("cabinet", (E1, E2)),
        ("hydrant", (E1, W1)),
        ("unknown", (E1, W1)),
    ],
)
def test_what_no_rule_bonds(kind: str, lines: Any) -> None:
    assert found(kind, *lines).empty


def test_abandoned_lines_are_bonded_too() -> None:
    assert len(found("building_entry", E1, W1 | {"status": "abandoned"})) == 1


def test_a_plan_crossing_is_never_a_bond() -> None:
    crossing = make_site(
        lines=[E1, W1 | {"geometry": [(5, -5), (5, 5)]}],
        structures=[structure("building_entry") | {"geometry": (5, 0)}],
    )
    assert find_bonds(crossing).empty


@pytest.mark.parametrize("state", ["closed", "open", "unknown", None])
@pytest.mark.parametrize("place", [{"structure_id": "X"}, {"geometry": (10, 0.4)}])
def test_a_recorded_bond_of_any_state_leaves_nothing_to_infer(state: str | None, place: dict[str, Any]) -> None:
    bonds = found(
        "building_entry", E1, W1, bonds=[{"bond_id": "b", "line_a": "W1", "line_b": "E1", "state": state} | place]
    )
    assert list(bonds["rule"]) == ["recorded"]


def test_a_recorded_bond_elsewhere_does_not_count() -> None:
    bonds = found(
        "building_entry", E1, W1, bonds=[{"bond_id": "b", "line_a": "E1", "line_b": "W1", "geometry": (0, 0)}]
    )
    assert list(bonds["rule"]) == ["recorded", "service_entrance_water"]


def test_a_bond_of_one_line_settles_the_lines_it_meets_there() -> None:
    met = E2 | {"geometry": [(10, 0), (10, 20)]}
    record = {"bond_id": "b", "line_a": "E1", "line_b": "W1", "structure_id": "X", "state": "open"}
    assert list(found("building_entry", E1, met, W1, bonds=[record])["rule"]) == ["recorded"]
    assert pairs(found("building_entry", E1, met, W1)) == {("E1", "W1"), ("E2", "W1")}


def test_an_isolated_line_is_not_bonded_by_rule() -> None:
    joint = {"structure_id": "X", "line_id": "W1", "isolated": "yes"}
    assert pairs(found("building_entry", E1, W1, G1, terminations=[joint])) == {("E1", "G1")}


def test_lines_that_meet_need_no_bond() -> None:
    assert found("transformer", E1, E2 | {"geometry": [(10, 0.05), (10, 20)]}).empty
    assert pairs(found("manhole", E1, E2 | {"geometry": [(10, -20), (10, 20)]})) == set()  # a tee


def test_a_building_that_two_owners_record_has_one_bond() -> None:
    entries = [
        structure("building_entry") | {"structure_id": name, "geometry": (x, 0)} for name, x in (("Y", 10), ("X", 10.3))
    ]
    (bond,) = find_bonds(make_site(lines=[E1, W1], structures=entries)).itertuples()
    assert bond.structure_id == "X"  # the first by id


def test_two_buildings_at_the_two_ends_have_a_bond_each() -> None:
    entries = [
        structure("building_entry") | {"structure_id": name, "geometry": (x, 0)} for name, x in (("X", 0), ("Y", 10))
    ]
    lines = [E1 | {"geometry": [(0, 0), (10, 0)]}, W1 | {"geometry": [(0, 0.2), (10, 0.2)]}]
    assert sorted(find_bonds(make_site(lines=lines, structures=entries))["structure_id"]) == ["X", "Y"]


def test_reach_is_a_setting() -> None:
    site = make_site(lines=[E1, W1], structures=[structure("building_entry") | {"geometry": (10.0, 0.4)}])
    assert find_bonds(site).empty
    assert len(find_bonds(site, settings=Settings(site=SiteSettings(structure_reach_m=0.8)))) == 1


def around(count: int) -> list[dict[str, Any]]:
    """Lines that end all round the structure, too far from each other to meet."""
    turns = np.exp(2j * np.pi * np.arange(count) / count)
    return [
        E1 | {"line_id": f"E{k}", "geometry": [(10 + r * turn.real, r * turn.imag) for r in (0.4, 9.0)]}
        for k, turn in enumerate(turns)
    ]


@pytest.mark.parametrize(("count", "bonds"), [(2, 1), (6, 15), (7, 6), (9, 8)])
def test_many_lines_are_held_together_by_few_bonds(count: int, bonds: int) -> None:
    result = found("transformer", *around(count))
    assert len(result) == bonds
    assert nx.is_connected(nx.Graph(pairs(result)))
    assert len(nx.Graph(pairs(result))) == count


def test_few_bonds_hold_the_same_lines_together_when_a_record_forbids_some() -> None:
    barred = [
        {"bond_id": f"b{k}", "line_a": "E0", "line_b": f"E{k}", "structure_id": "X", "state": "open"} for k in (3, 5)
    ]
    bonds = found("transformer", *around(8), bonds=barred)
    by_rule = nx.Graph(pairs(bonds[bonds["rule"] != "recorded"]))
    assert nx.is_connected(by_rule)
    assert len(by_rule) == 8
    assert not by_rule.has_edge("E0", "E3")


RECORD = {"bond_id": "b", "line_a": "E1", "line_b": "W1", "geometry": (10, 0)}


@pytest.mark.parametrize(
    ("words", "probability"),
    [
        ({"state": "closed"}, 1.0),
        ({"state": "open"}, 0.0),
        ({"state": "unknown"}, 0.9),
        ({}, 0.9),
        ({"evidence": "measured"}, 0.9),
        ({"evidence": "inferred"}, 0.5),
        ({"evidence": "suspected"}, 0.3),
        ({"evidence": "suspected", "probability": 0.7}, 0.7),
        ({"state": "closed", "probability": 0.95}, 0.95),
        ({"state": "open", "probability": 1.0}, 0.0),
        ({"state": "open", "evidence": "suspected", "probability": 0.4}, 0.0),
    ],
)
def test_what_a_record_leaves_out(words: dict[str, Any], probability: float) -> None:
    (bond,) = find_bonds(make_site(lines=[E1, W1], bonds=[RECORD | words])).itertuples()
    assert bond.probability == probability
    assert bond.evidence == words.get("evidence", "recorded")
    assert bond.state == words.get("state", "unknown")
    assert bond.resistance_ohm == 0.01
    assert bond.rule == "recorded"


def test_lines_come_in_order_and_keep_their_own_measures() -> None:
    (bond,) = find_bonds(
        make_site(lines=[E1, W1], bonds=[RECORD | {"line_a": "W1", "line_b": "E1", "geometry": (9, 0)}])
    ).itertuples()
    assert (bond.line_a, bond.line_b) == ("E1", "W1")
    assert bond.measure_a_m == 9.0
    assert bond.measure_b_m == pytest.approx(LineString(W1["geometry"]).length, abs=1e-3)


@pytest.mark.parametrize(
    ("place", "measure_a_m", "point"),
    [
        ({"geometry": Point(3, 1)}, 3.0, Point(3, 1)),
        ({"geometry": LineString([(4, 0.5), (4, 2)])}, 4.0, Point(4, 1.25)),
        ({"geometry": None, "structure_id": "X"}, 10.0, Point(10, 0)),
        ({"geometry": None, "structure_id": "nowhere"}, 10.0, Point(10.0194, -0.1484)),  # where the lines are nearest
        ({"geometry": None}, 10.0, Point(10.0194, -0.1484)),
    ],
)
def test_where_a_bond_is(place: dict[str, Any], measure_a_m: float, point: Point) -> None:
    site = make_site(lines=[E1, W1], structures=[structure("valve")], bonds=[RECORD | place])
    (bond,) = find_bonds(site).itertuples()
    assert bond.measure_a_m == measure_a_m
    assert bond.geometry.distance(point) < 1e-3


@pytest.mark.parametrize("swap", [False, True])
def test_a_bond_to_earth_has_one_measure_and_no_resistance_of_ours(swap: bool) -> None:
    a, b = ("earth", "E1") if swap else ("E1", "earth")
    site = make_site(lines=[E1], bonds=[RECORD | {"line_a": a, "line_b": b, "geometry": (4, 0)}])
    (bond,) = find_bonds(site).itertuples()
    assert (bond.line_a, bond.line_b, bond.measure_a_m) == ("E1", "earth", 4.0)
    assert pd.isna(bond.measure_b_m)
    assert pd.isna(bond.resistance_ohm)


def test_a_bond_to_earth_without_a_place_is_at_the_start() -> None:
    (bond,) = find_bonds(make_site(lines=[E1], bonds=[RECORD | {"line_b": "earth", "geometry": None}])).itertuples()
    assert bond.measure_a_m == 0.0


def test_an_unknown_line_is_left_out() -> None:
    assert find_bonds(make_site(lines=[E1], bonds=[RECORD])).empty
    assert find_bonds(make_site(lines=[W1], bonds=[RECORD])).empty


def test_the_table_is_the_dictionarys() -> None:
    bonds = found(
        "building_entry",
        W1,
        T1,
        E1,
        bonds=[RECORD | {"bond_id": "z", "geometry": (0, 0)}, RECORD | {"geometry": (0, 0)}],
    )
    assert list(bonds.columns) == [*RESULT_TABLES["bonds_found"].names, "geometry"]
    assert list(bonds["bond_id"])[:2] == ["b", "z"]
    assert bonds["bond_id"].is_unique
    assert bonds.geometry.notna().all()
    assert provenance(bonds)[-1]["function"] == "find_bonds"


def test_empty_in_empty_out() -> None:
    bonds = find_bonds(make_site(lines=[E1]))
    assert bonds.empty
    assert list(bonds.columns) == [*RESULT_TABLES["bonds_found"].names, "geometry"]


def test_inputs_are_left_alone() -> None:
    site = make_site(lines=[E1, W1], structures=[structure("building_entry")], bonds=[RECORD])
    before = [frame.copy(deep=True) for frame in (site.lines, site.structures, site.bonds)]
    find_bonds(site)
    for frame, copy in zip((site.lines, site.structures, site.bonds), before, strict=True):
        pd.testing.assert_frame_equal(frame, copy)


def test_lines_that_cannot_be_used_are_refused() -> None:
    site = make_site(lines=[E1, W1])
    with pytest.raises(CrsError):
        find_bonds(replace(site, lines=site.lines.to_crs("EPSG:4326")))
    with pytest.raises(InputError):
        find_bonds(replace(site, lines=site.lines.assign(line_id="x")))


@given(st.permutations([E1, E2, W1, G1, T1, T2]), st.sampled_from(["building_entry", "manhole", "transformer"]))
@settings(max_examples=5, deadline=None)
def test_the_order_of_the_rows_changes_nothing(lines: list[dict[str, Any]], kind: str) -> None:
    pd.testing.assert_frame_equal(found(kind, *lines), found(kind, *sorted(lines, key=lambda row: row["line_id"])))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_rules_use_the_dictionarys_words_and_name_a_source(rule: Any) -> None:
    assert set(rule.kinds) <= set(STRUCTURE_KINDS)
    assert {*rule.first, *rule.second} <= set(UTILITIES)
    assert rule.evidence in EVIDENCE
    assert 0 < rule.probability < 1
    assert (rule.probability >= 0.5) == (rule.evidence == "inferred")
    assert any(word in rule.source for word in ("NEC", "common practice", "engineering estimate"))
    assert rule.kind in INPUT_TABLES["bonds"].column("kind").meaning


def test_no_two_rules_bond_the_same_pair() -> None:
    for one, two in combinations(RULES, 2):
        if set(one.kinds) & set(two.kinds):
            both = ({*one.first} & {*two.first} and {*one.second} & {*two.second}) or (
                {*one.first} & {*two.second} and {*one.second} & {*two.first}
            )
            assert not both, (one.name, two.name)


def test_a_structure_that_no_line_comes_near_has_no_bond() -> None:
    assert found("manhole", E1 | {"geometry": [(500, 0), (600, 0)]}, T1 | {"geometry": [(500, 9), (600, 9)]}).empty


def test_meetings_that_make_no_difference_are_not_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    # three kinds of structure, with lines that meet under each: told from all meetings, and from those asked for
    shifted = [
        line | {"line_id": f"{line['line_id']}{k}", "geometry": [(x + 100.0 * k, y) for x, y in line["geometry"]]}
        for k in range(3)
        for line in (E1, E2, W1, G1, T1, T2, L1, L2, S1)
    ]
    places = [
        {"structure_id": f"X{k}", "kind": kind, "geometry": (10 + 100.0 * k, 0)}
        for k, kind in enumerate(("building_entry", "manhole", "cabinet"))
    ]
    recorded = [{"bond_id": "B", "line_a": "E10", "line_b": "W10", "structure_id": "X0", "state": "closed"}]
    site = make_site(lines=shifted, structures=places, bonds=recorded)
    some = find_bonds(site)
    monkeypatch.setattr(bonds, "within_utility", lambda held: np.ones(len(held.line), dtype=bool))
    pd.testing.assert_frame_equal(pd.DataFrame(find_bonds(site)), pd.DataFrame(some))
    assert len(some) > 3
