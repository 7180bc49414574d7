"""The layers for a mapping team, on sites small enough to work out by hand."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point

from corridor.couplings import find_bonds
from corridor.dictionary import RESULT_TABLES
from corridor.errors import CrsError, InputError
from corridor.frames import provenance
from corridor.network import BondedNetworks, bonded_groups, bonded_networks
from corridor.site.model import Site
from tests.block import sample
from tests.builders import make_site
from tests.network.small import LINES, random_site, small_site

LEVELS = ("recorded", "likely", "possible")
TABLES = ("line_groups", "bonded_groups", "group_edges", "group_splits", "group_changes", "isolations")


def of_line(found: BondedNetworks, line: str) -> dict[str, Any]:
    return found.line_groups.set_index("line_id").loc[line].to_dict()


def test_every_line_has_its_groups_or_says_why_not() -> None:
    removed = {"line_id": "X1", "status": "removed", "geometry": [(0, 30), (50, 30)]}
    dark = {"line_id": "X2", "conductive": "unknown", "geometry": [(0, 33), (50, 33)]}
    found = bonded_networks(small_site(lines=[*LINES, removed, dark]))
    told = found.line_groups.set_index("line_id")
    assert list(told.index) == ["E1", "E2", "E3", "G1", "G2", "P1", "W1", "X1", "X2"]
    for line in ("E1", "E2", "E3"):
        assert list(told.loc[line, [f"group_{level}" for level in LEVELS]]) == [
            "recorded:E1",
            "likely:E1",
            "possible:E1",
        ]
    assert list(told.loc["W1", [f"group_{level}" for level in LEVELS]]) == ["not known", "likely:E1", "possible:E1"]
    assert list(told.loc["G1", [f"group_{level}" for level in LEVELS]]) == ["not known"] * 3
    assert told.loc["P1", "remark"] == "carries no tone: conductive is no"
    assert told.loc["X1", "remark"] == "not in the ground: status is removed"
    assert told.loc["X2", "remark"].startswith("not known whether it carries tone")
    assert told.loc[["P1", "X1"], "group_possible"].isna().all()
    assert told.loc["X2", "group_possible"] == "not known"
    assert told.loc[["E1", "W1", "G1"], "remark"].isna().all()


def test_no_word_calls_a_line_separate() -> None:
    found = bonded_networks(small_site())
    text = found.line_groups.drop(columns="geometry").to_csv(sep=" ")
    assert "not known" in text
    assert not {"separate", "unbonded", "isolated", "nan"} & set(text.replace('"', " ").split())


@given(st.integers(0, 100_000))
@settings(max_examples=7, deadline=None)
def test_lines_edges_and_groups_tell_the_same(seed: int) -> None:
    found = bonded_networks(random_site(seed))
    groups = found.bonded_groups.set_index("group_id")
    lines = found.line_groups.set_index("line_id")
    for level in LEVELS:
        column = f"group_{level}"
        of_lines = {line: set(names.split(" ")) for line, names in lines[column].items() if names != "not known"}
        of_groups = groups[groups["level"] == level]["line_ids"]
        assert of_lines == {
            line: {name for name, ids in of_groups.items() if line in ids.split(" ")}
            for line in {line for ids in of_groups for line in ids.split(" ")}
        }
        # the edges of a group, and they alone, hold its lines together
        held = found.group_edges[found.group_edges[column].notna()]
        for name, ids in of_groups.items():
            part = held[held[column] == name]
            graph = nx.Graph(list(zip(part["line_a"], part["line_b"], strict=True)))
            assert set(graph) == set(ids.split(" "))
            assert nx.is_connected(graph)
            assert set(part["level"]) <= set(LEVELS[: LEVELS.index(level) + 1])


def test_each_edge_names_its_evidence_and_its_place() -> None:
    edges = bonded_networks(small_site()).group_edges.set_index("edge_id")
    bond = edges.loc["bond:service_entrance_water~B1~E1~W1"]
    assert (bond["kind"], bond["line_a"], bond["line_b"], bond["structure_id"]) == ("bond", "E1", "W1", "B1")
    assert (bond["evidence"], bond["probability"], bond["level"]) == ("inferred", 0.8, "likely")
    assert pd.isna(bond["group_recorded"])
    assert (bond["group_likely"], bond["group_possible"]) == ("likely:E1", "possible:E1")
    met = edges.loc["junction:E1@10.000:E2@0.000"]
    assert (met["kind"], met["structure_id"], met["evidence"], met["level"]) == (
        "junction",
        "B1",
        "recorded",
        "recorded",
    )
    assert met["group_recorded"] == "recorded:E1"
    assert met.geometry.equals(Point(10, 0))
    tee = edges.loc["junction:E3@0.000:E2@20.000"]
    assert pd.isna(tee["structure_id"])
    ground = edges.loc["ground:g1"]
    assert (ground["kind"], ground["line_b"], ground["ground_id"], ground["evidence"]) == (
        "ground",
        "earth",
        "g1",
        "inferred",
    )
    assert ground[["level", "group_possible", "probability"]].isna().all()
    assert edges.index.is_monotonic_increasing


def test_of_structures_as_near_the_first_by_name_and_none_out_of_reach() -> None:
    twins = [{"structure_id": name, "kind": "manhole", "geometry": (10, y)} for name, y in (("B", 0.2), ("A", -0.2))]
    edges = bonded_networks(make_site(lines=LINES[:2], structures=twins)).group_edges
    assert list(edges["structure_id"]) == ["A"]
    far = [{"structure_id": "A", "kind": "manhole", "geometry": (10, 0.6)}]
    assert bonded_networks(make_site(lines=LINES[:2], structures=far)).group_edges["structure_id"].isna().all()


def weighted() -> Site:
    """A long cable with three services, one over a recorded bond, two at one building entry, and a lone pipe."""
    lines = [
        {"line_id": "E", "geometry": [(0, 0), (60, 0)]},
        {"line_id": "H", "geometry": [(30, 2), (30, 42)]},
        {
            "line_id": "W",
            "utility": "water",
            "asset": "pipe",
            "material": "copper",
            "geometry": [(60.2, 0), (60.2, 25)],
        },
        {"line_id": "G", "utility": "gas", "asset": "pipe", "material": "steel", "geometry": [(60, 0.3), (90, 0.3)]},
        {"line_id": "Z", "utility": "oil", "asset": "pipe", "material": "steel", "geometry": [(0, 60), (45, 60)]},
    ]
    bond = {
        "bond_id": "b",
        "line_a": "E",
        "line_b": "H",
        "state": "closed",
        "evidence": "measured",
        "geometry": (30, 1),
    }
    entry = {"structure_id": "BE", "kind": "building_entry", "geometry": (60, 0)}
    return make_site(lines=lines, bonds=[bond], structures=[entry])


def test_what_a_large_group_hangs_on() -> None:
    splits = bonded_networks(weighted()).group_splits
    rows = splits[splits["level"] == "likely"][["what", "rank", "structure_id", "evidence", "split_off_m"]]
    assert rows.to_numpy().tolist() == [
        ["bond", 1, None, "measured", 40.0],
        ["bond", 2, "BE", "inferred", 30.0],
        ["bond", 3, "BE", "inferred", 25.0],
        ["visit", 1, "BE", "inferred", 55.0],
    ]
    assert next(iter(splits.loc[splits["what"] == "visit", "split_off_share"])) == pytest.approx(55 / 155, abs=1e-4)
    assert splits.geometry.notna().all()
    # at level recorded only what was measured holds: 100 of 200 m
    recorded = splits[splits["level"] == "recorded"]
    assert recorded[["group_id", "what", "split_off_m", "bond_ids"]].to_numpy().tolist() == [
        ["recorded:E", "bond", 40.0, "b"]
    ]


def test_a_group_of_a_fifth_or_less_is_not_looked_into() -> None:
    site = weighted()
    big = {"line_id": "Y", "geometry": [(0, 900), (820, 900)]}
    lines = pd.concat([site.lines, make_site(lines=[big]).lines], ignore_index=True)
    assert bonded_networks(replace(site, lines=lines)).group_splits.empty


@pytest.mark.parametrize(
    ("bond", "level"),
    [
        ({"evidence": "measured", "state": "closed"}, "recorded"),
        ({"evidence": "inferred", "probability": 0.6}, "likely"),
        ({"evidence": "suspected"}, "possible"),
        ({"evidence": "recorded", "state": "open"}, None),
    ],
)
def test_a_joint_that_metal_goes_round_is_bridged(bond: dict[str, Any], level: str | None) -> None:
    jumpers = [{"bond_id": "in", "line_a": "G1", "line_b": "G1", "geometry": (20, -5), **bond},
               {"bond_id": "end", "line_a": "G1", "line_b": "G2", "geometry": (60, -5), **bond}]  # fmt: skip
    found = bonded_networks(small_site(bonds=jumpers)).isolations.set_index("isolation_id")["bridged"]
    # a line is no group with itself: V1 is bridged once more lines hang on G1
    assert found.where(found.notna(), None).to_dict() == {"G1~V1": level, "G2~V2": level}


def test_bridged_is_not_known_without_another_way() -> None:
    assert bonded_networks(small_site()).isolations["bridged"].isna().all()


def test_names_are_kept_and_differences_told() -> None:
    before = bonded_networks(small_site(bonds=[{"bond_id": "b", "line_a": "E1", "line_b": "G1", "state": "closed"}]))
    assert before.group_changes.empty
    renamed = [{**line, "line_id": "E0" if line["line_id"] == "E1" else line["line_id"]} for line in LINES]
    after = bonded_networks(small_site(lines=renamed), previous=before.line_groups)
    recorded = after.group_changes[after.group_changes["level"] == "recorded"]
    assert list(recorded["change"]) == ["changed"]
    assert list(recorded["lines_gained"]) == ["E0"]
    assert list(recorded["lines_lost"]) == ["E1 G1"]
    assert of_line(after, "E0")["group_recorded"] == "recorded:E1"
    assert recorded.geometry.iloc[0].length == pytest.approx(after.bonded_groups.geometry.iloc[0].length)
    again = bonded_networks(small_site(lines=renamed), previous=after.line_groups)
    assert again.group_changes.empty
    pd.testing.assert_frame_equal(again.line_groups, after.line_groups)


def test_a_vanished_group_whose_lines_are_gone_has_no_place() -> None:
    before = bonded_networks(small_site())
    after = bonded_networks(make_site(lines=LINES[4:5]), previous=before.line_groups)
    assert set(after.group_changes["change"]) == {"vanished"}
    assert after.group_changes.geometry.isna().all()
    assert (after.group_changes["length_m"] == 0).all()


def test_an_earlier_table_of_another_kind_is_refused() -> None:
    with pytest.raises(InputError, match="line_groups"):
        bonded_networks(small_site(), previous=small_site().lines)


@pytest.mark.parametrize("site", [small_site(), weighted(), make_site(lines=[LINES[0]]), make_site(lines=[LINES[6]])])
def test_the_tables_are_the_dictionarys(site: Site) -> None:
    found = bonded_networks(site)
    for name in TABLES:
        frame = getattr(found, name)
        assert isinstance(frame, gpd.GeoDataFrame)
        assert list(frame.columns) == [*RESULT_TABLES[name].names, "geometry"], name
        assert frame.crs == site.crs
        assert provenance(frame)[-1]["function"] == "bonded_networks"
        for column in RESULT_TABLES[name].columns:
            words = set(frame[column.name].dropna())
            assert not column.vocabulary or words <= set(column.vocabulary)
            assert not column.required or frame[column.name].notna().all()
    pd.testing.assert_frame_equal(found.bonded_groups, bonded_groups(site))


@given(st.integers(0, 100_000))
@settings(max_examples=4, deadline=None)
def test_the_order_of_the_records_does_not_matter(seed: int) -> None:
    site = random_site(seed)
    turned = replace(site, lines=site.lines[::-1].reset_index(drop=True), bonds=site.bonds[::-1].reset_index(drop=True))
    first, second = bonded_networks(site), bonded_networks(turned)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))


def test_nothing_given_is_changed() -> None:
    site = small_site()
    bonds, lines = find_bonds(site), site.lines.copy()
    kept = bonds.copy()
    found = bonded_networks(site, bonds_found=bonds)
    pd.testing.assert_frame_equal(bonds, kept)
    pd.testing.assert_frame_equal(site.lines, lines)
    assert found.bonds_found is bonds


def test_lines_that_cannot_be_used_are_refused() -> None:
    site = small_site()
    with pytest.raises(CrsError):
        bonded_networks(replace(site, lines=site.lines.to_crs("EPSG:4326")))
    with pytest.raises(InputError):
        bonded_networks(replace(site, lines=site.lines.assign(line_id="x")))


@pytest.mark.parametrize("name", ["downtown_block", "bonded_district"])  # the zone's large groups all hold parted lines
def test_splits_of_the_samples_are_those_of_the_edges_written(name: str) -> None:
    """From the tables alone, by networkx: take a row's bonds out and measure what comes off."""
    found = bonded_networks(sample(name))
    length_m = found.line_groups.set_index("line_id")["length_m"]
    groups, edges = found.bonded_groups.set_index("group_id"), found.group_edges
    whole_m = length_m[found.line_groups.set_index("line_id")["group_possible"].notna()].sum()
    large = set(groups.index[groups["length_m"] > 0.2 * whole_m])
    assert set(found.group_splits["group_id"]) <= large
    assert large
    parted = set(edges.loc[edges["kind"] == "continuity", "line_a"])
    judged = 0
    for row in found.group_splits.itertuples():
        held = edges[edges[f"group_{row.level}"] == row.group_id]
        if parted & set(groups.loc[row.group_id, "line_ids"].split(" ")):
            continue  # lines that may part are several places: their lengths can't be told from the tables
        out = set(row.bond_ids.split(" "))
        kept = held[~held["bond_id"].isin(out)]
        graph = nx.Graph(list(zip(kept["line_a"], kept["line_b"], strict=True)))
        graph.add_nodes_from(groups.loc[row.group_id, "line_ids"].split(" "))
        parts = [sum(length_m[line] for line in part) for part in nx.connected_components(graph)]
        assert row.split_off_m == pytest.approx(sum(parts) - max(parts), abs=0.2)
        unseen = held.set_index("bond_id").loc[sorted(out), "level"]
        assert row.what == "bond" or set(unseen) <= {"likely", "possible"}
        judged += 1
    assert judged >= 5


def test_the_page_names_every_layer_and_word() -> None:
    page = (Path(__file__).parents[2] / "docs" / "bonded_networks.md").read_text(encoding="utf-8")
    for word in (*TABLES, *(f"group_{level}" for level in LEVELS), "not known", "bridged", "--previous", "visit"):
        assert word in page
    assert "20 %" in page
