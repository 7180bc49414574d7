"""Candidate hook-ups of small sites."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, box

from corridor.couplings.bonds import find_bonds
from corridor.dictionary import RESULT_TABLES
from corridor.errors import HookUpError, InputError
from corridor.frames import provenance
from corridor.network.build import build_network
from corridor.plan.gate import ENERGIZED_UTILITIES
from corridor.plan.hookups import find_hookups, known_lines, nearest_ids, select_hookup
from corridor.settings import Settings, load_equipment
from corridor.site import FieldMap, read_site
from corridor.site.model import Site
from tests.builders import METRIC, make_site
from tests.site.records import X, Y, course, write

STANDARD = load_equipment("standard_output")

LINES = [
    {"line_id": "W-1", "utility": "water", "asset": "pipe", "geometry": [(0, 0), (100, 0)], "diameter_mm": 118.0},
    {"line_id": "W-2", "utility": "water", "asset": "pipe", "geometry": [(100, 0), (100, 60)], "diameter_mm": 150.0},
    {"line_id": "E-1", "utility": "electricity", "geometry": [(0, 8), (100, 8)], "energized": "unknown"},
    {"line_id": "T-1", "utility": "telecommunications", "geometry": [(0, -9), (100, -9)]},
    {"line_id": "S-1", "utility": "sewer", "geometry": [(0, 20), (100, 20)], "conductive": "no"},
    {"line_id": "P-1", "utility": "water", "geometry": [(0, 30), (100, 30)], "status": "proposed"},
]
STRUCTURES = [
    {"structure_id": "V-1", "kind": "valve", "access": "footway", "geometry": (40, 0)},
    {"structure_id": "H-1", "kind": "hydrant", "access": "footway", "geometry": (100, 60)},
    {"structure_id": "M-1", "kind": "manhole", "geometry": (100, 8)},
    {"structure_id": "C-1", "kind": "pedestal", "access": "verge", "geometry": (0, -9)},
]
ENDS = [
    {"structure_id": "V-1", "line_id": "W-1", "at": "through", "direct": "yes", "clamp": "yes"},
    {"structure_id": "H-1", "line_id": "W-2", "at": "end", "direct": "yes", "clamp": "yes"},
    {"structure_id": "M-1", "line_id": "E-1", "at": "end", "direct": "yes", "clamp": "yes"},
    {"structure_id": "C-1", "line_id": "T-1", "at": "start", "direct": "yes", "clamp": "unknown"},
]
BOND = {"bond_id": "B-1", "line_a": "E-1", "line_b": "W-2", "state": "closed", "evidence": "recorded"}


def site_with(*, bonds: list[dict[str, Any]] | None = None, lines: Any = LINES, ends: Any = ENDS) -> Site:
    return make_site(lines=lines, structures=STRUCTURES, terminations=ends, bonds=bonds or [])


def hookups_of(site: Site, **given: Any) -> gpd.GeoDataFrame:
    options = {"equipment": STANDARD, "settings": Settings()} | given
    return find_hookups(site, find_bonds(site), **options)


def told(hookups: gpd.GeoDataFrame, hookup_id: str) -> tuple[str, str]:
    row = select_hookup(hookups, hookup_id)
    return row["ready"], row["reason"].split(":")[0]


def test_the_table() -> None:
    site = site_with()
    before = site.lines.copy()
    hookups = hookups_of(site)
    assert list(hookups.columns) == [*RESULT_TABLES["hookups"].names, "caution", "permit_by", "geometry"]
    assert hookups.crs == METRIC
    assert hookups["hookup_id"].is_unique
    assert set(hookups["line_id"]) == {"W-1", "W-2", "E-1", "T-1"}
    assert set(hookups["ready"]) <= {"ready", "not_ready", "refused"}
    assert ((hookups["missing"] == "") == (hookups["ready"] == "ready")).all()
    assert hookups["equipment"].eq("standard_output (generic equipment)").all()
    assert provenance(hookups)[-1]["function"] == "find_hookups"
    assert_geodataframe_equal(before, site.lines)


def test_places_lie_on_the_line_and_stakes_go_with_direct_connections() -> None:
    hookups = hookups_of(site_with())
    row = select_hookup(hookups, "direct:W-1:V-1")
    assert (row["at_m"], row.geometry) == (40.0, Point(40, 0))
    assert Point(row["stake_x_m"], row["stake_y_m"]).distance(row.geometry) <= STANDARD.stake.lead_m
    assert select_hookup(hookups, "direct:W-2:H-1")["at_m"] == 60.0
    assert hookups["stake_x_m"].notna().tolist() == (hookups["mode"] == "direct").tolist()


def test_bearings_of_stakes_lead_to_them() -> None:
    for _, row in (table := hookups_of(site_with()))[table["mode"] == "direct"].iterrows():
        turn, reach = math.radians(row["stake_bearing_deg"]), row["stake_distance_m"]
        stake = Point(row.geometry.x + reach * math.sin(turn), row.geometry.y + reach * math.cos(turn))
        assert stake.distance(Point(row["stake_x_m"], row["stake_y_m"])) < 0.2  # whole degrees


def test_same_records_same_table_whatever_their_order() -> None:
    site = site_with()
    shuffled = replace(
        site, lines=site.lines.iloc[::-1], structures=site.structures.iloc[::-1], terminations=site.terminations[::-1]
    )
    assert_geodataframe_equal(hookups_of(site), hookups_of(site))
    assert_geodataframe_equal(hookups_of(site), hookups_of(shuffled))


def test_a_network_in_hand_changes_nothing() -> None:
    site = site_with(bonds=[BOND])
    network = build_network(site, find_bonds(site))
    assert_geodataframe_equal(hookups_of(site), hookups_of(site, network=network))


def test_the_gate_reaches_through_bonds_and_junctions() -> None:
    assert told(hookups_of(site_with()), "direct:W-1:V-1") == ("ready", "ready")
    bonded = hookups_of(site_with(bonds=[BOND]))
    assert told(bonded, "direct:W-2:H-1") == ("refused", "bonded_to_energized")
    assert told(bonded, "direct:W-1:V-1") == ("refused", "bonded_to_energized")  # joined to W-2 at (100, 0)
    assert told(bonded, "clamp:W-1:V-1") == ("ready", "ready")
    assert told(bonded, "direct:E-1:M-1") == ("refused", "energized_conductor")
    suspected = hookups_of(site_with(bonds=[BOND | {"evidence": "suspected", "probability": 0.1}]))
    row = select_hookup(suspected, "direct:W-1:V-1")
    assert row["ready"] == "not_ready"
    assert "bond B-1 must be checked" in row["missing"]


def test_a_dead_line_with_source_and_date_frees_its_group() -> None:
    dead = {"energized": "no", "source": "switching log", "source_date": "2024-05-06"}
    lines = [line | dead if line["line_id"] == "E-1" else line for line in LINES]
    hookups = hookups_of(site_with(bonds=[BOND], lines=lines))
    assert told(hookups, "direct:W-1:V-1") == ("ready", "ready")
    assert told(hookups, "direct:E-1:M-1") == ("ready", "ready")


def test_the_clamp_has_to_fit() -> None:
    hookups = hookups_of(site_with())
    assert told(hookups, "clamp:W-1:V-1") == ("ready", "ready")
    assert told(hookups, "clamp:W-2:H-1") == ("refused", "equipment")
    assert "150 mm" in select_hookup(hookups, "clamp:W-2:H-1")["missing"]
    unknown = site_with(lines=[line | {"diameter_mm": None} for line in LINES])
    assert told(hookups_of(unknown), "clamp:W-1:V-1") == ("not_ready", "equipment")


def test_an_assumed_diameter_refuses_no_clamp() -> None:
    assumed = [line | {"diameter_mm_src": "default", "diameter_mm_low": 100.0, "diameter_mm_high": 300.0}
               for line in LINES]  # fmt: skip
    hookups = hookups_of(site_with(lines=assumed))
    assert told(hookups, "clamp:W-2:H-1") == ("not_ready", "equipment")
    missing = select_hookup(hookups, "clamp:W-2:H-1")["missing"]
    assert missing.endswith("the line measures 150 mm (assumed), range 100 to 300 mm")
    mapped = [line | {"diameter_mm_src": "mapped"} for line in LINES]
    assert told(hookups_of(site_with(lines=mapped)), "clamp:W-2:H-1") == ("refused", "equipment")


@pytest.mark.parametrize("wanted", ["W-9", "w-1"])
def test_a_line_that_isnt_recorded_names_the_nearest(wanted: str) -> None:
    assert known_lines(["W-1", "E-1"], site_with()) == ["W-1", "E-1"]
    with pytest.raises(InputError, match=f"of a recorded line, got '{wanted}'; the nearest are "):
        known_lines(["W-1", wanted], site_with())


def test_equipment_without_clamp_or_loop() -> None:
    bare = STANDARD.model_copy(update={"clamp": None, "loop": None})
    hookups = hookups_of(site_with(), equipment=bare)
    assert hookups.loc[hookups["mode"] != "direct", "ready"].eq("refused").all()
    assert told(hookups, "direct:W-1:V-1") == ("ready", "ready")


def test_no_room_for_the_stake_is_missing() -> None:
    crowd = [{"line_id": f"X-{n}", "utility": "telecommunications", "conductive": "no",
              "geometry": [(0, y), (100, y)]} for n, y in enumerate(range(-12, 13)) if y]  # fmt: skip
    site = site_with(lines=[LINES[0], *crowd], ends=ENDS[:1])
    row = select_hookup(hookups_of(site), "direct:W-1:V-1")
    assert (row["ready"], row["reason"].split(":")[0]) == ("not_ready", "stake_clearance")
    assert pd.isna(row["stake_x_m"])
    waiting = site_with(lines=[LINES[0], *crowd], ends=[ENDS[0] | {"direct": "unknown"}])
    row = select_hookup(hookups_of(waiting), "direct:W-1:V-1")
    assert row["missing"].count(";") == 1
    assert "ground stake" in row["missing"]


def test_both_ends_at_one_structure_are_two_hook_ups() -> None:
    loop = {"line_id": "T-9", "utility": "telecommunications", "geometry": [(0, -9), (30, -40), (1, -9)]}
    ends = [
        {"structure_id": "C-1", "line_id": "T-9", "at": at, "direct": "yes", "clamp": "yes"} for at in ("end", "start")
    ]
    hookups = hookups_of(site_with(lines=[loop], ends=ends))
    direct = hookups[hookups["far_end"] == "open"]
    assert dict(zip(direct["hookup_id"], direct["at_m"] > 0, strict=True)) == {
        "direct:T-9:C-1": True, "direct:T-9:C-1:2": False,
    }  # fmt: skip
    assert hookups["hookup_id"].is_unique


def test_references_that_lead_nowhere_are_left_out() -> None:
    ends = [{"structure_id": "Z", "line_id": "W-1"}, {"structure_id": "V-1", "line_id": "Z"}]
    hookups = hookups_of(site_with(ends=ends))
    assert set(hookups["mode"]) == {"induction"}


def test_targets_and_area() -> None:
    site = site_with()
    some = hookups_of(site, lines=["W-1", "S-1"])
    assert set(some["line_id"]) == {"W-1"}
    inside = hookups_of(site, area=box(30, -1, 50, 1))
    assert "direct:W-1:V-1" in inside["hookup_id"].tolist()
    assert inside.within(box(29, -2, 51, 2)).all()
    assert hookups_of(site, lines=[]).empty
    with pytest.raises(InputError, match="line_id of a recorded line, got 'W-9'; the nearest are W-2, W-1"):
        hookups_of(site, lines=["W-9"])


def test_an_empty_site() -> None:
    hookups = hookups_of(make_site(lines=[LINES[4]]))
    assert hookups.empty
    assert list(hookups.columns) == [*RESULT_TABLES["hookups"].names, "caution", "permit_by", "geometry"]


def test_unknown_ids_name_the_three_nearest() -> None:
    hookups = hookups_of(site_with())
    with pytest.raises(HookUpError) as caught:
        select_hookup(hookups, "direct:W1:V1")
    assert "'direct:W1:V1'; the nearest are direct:W-1:V-1, " in str(caught.value)
    assert len(str(caught.value).split("nearest are ")[1].split(", ")) == 3
    with pytest.raises(HookUpError, match="have no hook-up"):
        select_hookup(hookups.iloc[:0], "x")


def test_nearest_ids() -> None:
    ids = ["clamp:W-1:V-1", "direct:W-1:V-1", "direct:W-1:V-2", "induction:W-1:40m"]
    assert set(nearest_ids("direct:W-1:V-3", ids)[:2]) == {"direct:W-1:V-2", "direct:W-1:V-1"}
    assert len(nearest_ids("anything", ids)) == 3
    assert nearest_ids("anything", ids, n=1) == nearest_ids("anything", reversed(ids), n=1)
    assert nearest_ids("x", []) == []


kinds = st.sampled_from([*ENERGIZED_UTILITIES, "water", "gas", "telecommunications"])


@settings(max_examples=10, deadline=None)
@given(
    st.lists(kinds, min_size=5, max_size=5),
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.booleans()), max_size=4),
)
def test_with_every_energized_nulled_nothing_live_is_touched(
    utilities: list[str], pairs: list[tuple[int, int, bool]]
) -> None:
    lines = [
        {"line_id": f"L-{n}", "utility": utility, "geometry": [(0, 10 * n), (80, 10 * n)], "energized": None,
         "source": "s", "source_date": "2024"} for n, utility in enumerate(utilities)
    ]  # fmt: skip
    structures = [{"structure_id": f"V-{n}", "kind": "valve", "geometry": (40, 10 * n)} for n in range(5)]
    ends = [{"structure_id": f"V-{n}", "line_id": f"L-{n}", "direct": "yes", "clamp": "yes"} for n in range(5)]
    bonds = [
        {"bond_id": f"B-{n}", "line_a": f"L-{min(a, b)}", "line_b": f"L-{max(a, b)}", "state": "closed",
         "evidence": "recorded" if known else "suspected"} for n, (a, b, known) in enumerate(pairs) if a != b
    ]  # fmt: skip
    site = make_site(lines=lines, structures=structures, terminations=ends, bonds=bonds)
    hookups = hookups_of(site)
    open_to = set(hookups.loc[(hookups["mode"] == "direct") & (hookups["ready"] == "ready"), "line_id"])
    live = {f"L-{n}" for n, utility in enumerate(utilities) if utility in ENERGIZED_UTILITIES}
    assert not open_to & live
    for bond in bonds:
        if bond["line_a"] in live or bond["line_b"] in live:
            assert not open_to & {bond["line_a"], bond["line_b"]}


def test_a_constant_of_the_field_map_opens_no_gate(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        lines=[{"line_id": name, "utility": "electricity", "asset": "cable", "material": "copper",
                "depth_m": 1.0, "diameter_mm": 30.0, "STATE": state, "LOG": log, "SEEN": seen,
                "geometry": course((0, 10 * y), (80, 10 * y))}
               for y, (name, state, log, seen) in enumerate([
                   ("E-1", None, None, None),
                   ("E-2", "off", "switching log", "2024-05-06"),
                   ("E-3", "off", None, None)])],
        structures=[{"structure_id": f"T-{n}", "kind": "transformer", "access": "footway",
                     "geometry": Point(X, Y + 10 * n)} for n in range(3)],
        terminations=[{"structure_id": f"T-{n}", "line_id": f"E-{n + 1}", "at": "start", "direct": "yes",
                       "clamp": "yes"} for n in range(3)],
    )  # fmt: skip
    plan = FieldMap.model_validate({"layers": {"lines": {
        "table": "lines",
        "columns": {"energized": {"source": "STATE", "values": {"off": "no"}}, "source": "LOG", "source_date": "SEEN"},
        "constants": {"energized": "no", "source": "memo", "source_date": "2020-01-01"},
    }}})  # fmt: skip
    site = read_site(path, fieldmap=plan)
    hookups = find_hookups(site, find_bonds(site), equipment=STANDARD, settings=Settings())
    direct = hookups[hookups["mode"] == "direct"].set_index("line_id")
    assert direct["ready"].to_dict() == {"E-1": "refused", "E-2": "ready", "E-3": "refused"}
