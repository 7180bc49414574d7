"""Front pages: who must open or permit what, what tone can't show, sweeps, verify first, in walking order."""

from typing import Any

import pandas as pd
import pytest

from corridor.report.sheet.front import VERIFY_MAX, front_data, setup_rows
from corridor.report.sheet.pages import SetUpPages
from tests.report.sheet.conftest import OWNER, changed, words


@pytest.fixture(scope="module")
def front(reviewed: Any) -> dict[str, Any]:
    return front_data(reviewed, SetUpPages(reviewed))


def test_the_rules_name_what_hurts_people(front: dict[str, Any]) -> None:
    said = " ".join(front["rules"])
    for word in (
        "One-call first", "READY is no permission", "qualified persons", "energized", "gas", "traffic signal",
        "cathodic protection", "Never open a bond", "traffic management", "tolerance zone", "Local codes",
    ):  # fmt: skip
        assert word in said, word


def test_the_words_that_the_project_avoids_arent_there(front: dict[str, Any]) -> None:
    for word in ("safe", " ok", "all clear", "free of"):
        assert word not in str(front).lower(), word


def test_the_sweeps_stand_before_and_after_as_the_plan_says(front: dict[str, Any], reviewed: Any) -> None:
    before, after, silence = front["sweeps"]
    assert before.startswith("Before the first set-up: sweep the whole work area")
    assert after.startswith("After the last set-up:")
    assert "silence doesn't mean free ground" in silence
    bare = changed(reviewed, setups=reviewed.setups[reviewed.setups["kind"].eq("setup")])
    assert len(front_data(bare, SetUpPages(bare))["sweeps"]) == 3


def test_what_waits_is_told_by_what_is_missing_with_place_keeper_and_lines(front: dict[str, Any]) -> None:
    locked = next(row for row in front["asked"] if "locked" in row["what"])
    assert locked == {"what": "Access: locked", "where": "CB-1", "who": "Keeper & Sons", "lines": "C"}
    unknown = next(row for row in front["asked"] if "clamp connection" in row["what"])
    assert unknown["what"] == "Whether a clamp connection can be made"
    assert (unknown["where"], unknown["lines"]) == ("A-S", "E")


def test_places_that_lack_the_same_share_a_row_and_owner_changes_are_left_out(reviewed: Any) -> None:
    hookups = reviewed.hookups.copy()
    locked = hookups["missing"].str.contains("locked")
    more = hookups[locked].assign(structure_id="CB-2", missing="access: CB-2 is locked", line_id="D")
    changes = hookups[locked].assign(missing="by the owner only", owner_change="open_bond")
    table = type(hookups)(pd.concat([hookups, more, changes], ignore_index=True), crs=hookups.crs)
    review = changed(reviewed, hookups=table)
    rows = front_data(review, SetUpPages(review))["asked"]
    assert next(row["where"] for row in rows if "locked" in row["what"]) == "CB-1, CB-2"
    assert not any("by the owner only" in row["what"] for row in rows)


def test_every_line_that_no_set_up_shows_is_listed_once_with_another_method(
    front: dict[str, Any], reviewed: Any
) -> None:
    strategy = reviewed.strategy
    blind = set(strategy.loc[strategy["setup_id"].isna(), "line_id"])
    listed = [text.split(" ")[0] for row in front["blind"] for text in row["lines"].split(", ")]
    assert sorted(listed) == sorted(blind) == ["B", "C", "E", "S"]
    assert all("sonde" in row["method"] and "test hole" in row["method"] for row in front["blind"])
    clay = next(row for row in front["blind"] if "S sewer" in row["lines"])
    assert clay["why"] == "not conductive (clay)"
    assert "S sewer (0–60 m)" in clay["lines"]


def test_counts_and_equipment_are_said(front: dict[str, Any]) -> None:
    assert front["counts"] == "1 set-ups: 1 READY"
    assert front["generic"]
    assert "generic equipment" in front["equipment"]
    assert words(front["frequencies"]) == "1 000 Hz"


def test_not_ready_set_ups_are_counted(reviewed: Any) -> None:
    setups = reviewed.setups.copy()
    setups.loc[setups["kind"].eq("setup"), "ready"] = "not_ready"
    review = changed(reviewed, setups=setups)
    assert front_data(review, SetUpPages(review))["counts"] == "1 set-ups: 0 READY, 1 NOT READY"


def test_only_a_plan_says_what_to_verify_and_only_what_stands_out(reviewed: Any, planned: Any) -> None:
    assert front_data(reviewed, SetUpPages(reviewed))["verify"]["rows"] == []
    table = planned.verify_first
    loud = table.loc[table.index.repeat(0)]
    review = changed(planned, verify_first=loud)
    assert front_data(review, SetUpPages(review))["verify"]["note"] == "Nothing stands out from chance."
    one = {"rank": 1, "unknown": "x", "kind": "bond", "gain_m": 3.14159, "stands_out": True, "where_to_look": "look"}
    many = [one | {"rank": rank} for rank in range(1, VERIFY_MAX + 4)] + [one | {"rank": 99, "stands_out": False}]
    review = changed(planned, verify_first=pd.DataFrame(many))
    verify = front_data(review, SetUpPages(review))["verify"]
    assert len(verify["rows"]) == VERIFY_MAX
    assert verify["more"] == 3
    assert words(verify["rows"][0]["gain"]) == "3.14 m"


def test_the_list_stands_in_walking_order_with_sweeps_first_and_last(reviewed: Any) -> None:
    rows = setup_rows(reviewed.setups)
    assert [row["id"] for row in rows] == ["sweep-first", "S1", "sweep-last"]
    assert [row["sweep"] for row in rows] == [True, False, True]
    (own,) = (row for row in rows if not row["sweep"])
    assert (own["place"], own["line"], own["mode"], words(own["output"])) == ("A-S", "A", "direct", "5 mA")


def test_set_ups_in_the_carriageway_are_named_for_traffic_management(reviewed: Any) -> None:
    setups = reviewed.setups.copy()
    setups.loc[setups["setup_id"].eq("S1"), "caution"] = "In the carriageway: traffic management first."
    review = changed(reviewed, setups=setups)
    assert front_data(review, SetUpPages(review))["traffic"] == "S1"


def test_owners_of_lines_are_asked_where_the_structure_has_none(reviewed: Any) -> None:
    hookups = reviewed.hookups.copy()
    hookups.loc[hookups["line_id"].eq("A"), ["ready", "missing"]] = ["not_ready", "permit from lane closure"]
    review = changed(reviewed, hookups=hookups)
    row = next(r for r in front_data(review, SetUpPages(review))["asked"] if "lane closure" in r["what"])
    assert row["who"] == OWNER
