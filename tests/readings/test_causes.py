"""The causes listed for a site, and the ways in which each may be."""

import math
from dataclasses import replace

import pytest

from corridor.readings.causes import Suspect, Variant, suspects_of, with_places
from corridor.readings.extend import Contact, Parting, Rod
from corridor.settings import ReadingSettings
from tests.readings.small import SETTINGS, small_connected, small_prepared
from tests.readings.street import street_plan, street_rows, street_site

FOUND, LEFT_OUT = suspects_of(small_connected(), small_prepared(), read=["A", "B"], settings=SETTINGS)
KINDS = {kind: [s for s in FOUND if s.kind == kind] for kind in {s.kind for s in FOUND}}


def test_every_kind_of_the_small_site_is_there() -> None:
    assert set(KINDS) == {"bond_conducts", "ground_open", "poor_stake", "joint_open", "hidden_ground"}
    assert LEFT_OUT == 0
    assert [s.source_id for s in KINDS["bond_conducts"]] == ["X"]
    assert {s.source_id for s in KINDS["ground_open"]} == {"A@60", "B@0", "B@60"}


def test_names_are_unique_and_sorted() -> None:
    names = [s.cause_id for s in FOUND]
    assert names == sorted(set(names))


def test_a_bond_on_record_has_the_odds_of_its_record() -> None:
    # odds of a probability: p/(1 - p)
    assert KINDS["bond_conducts"][0].odds == pytest.approx(0.2 / 0.8)


def test_what_no_record_speaks_of_shares_the_settings_odds() -> None:
    hidden = [s for s in FOUND if s.kind != "bond_conducts"]
    assert sum(s.odds for s in hidden) == pytest.approx(SETTINGS.readings.hidden_odds)
    assert all(not math.isnan(s.odds) for s in FOUND)


def test_a_line_hooked_up_may_be_parted_between_what_is_connected_to_it() -> None:
    places = sorted(s.measures[0] for s in KINDS["joint_open"])
    assert {s.line_a for s in KINDS["joint_open"]} == {"A"}
    assert len(places) == 3  # one in 15 m up to the handhole, two beyond it
    assert places[0] < 15.0 < places[1] < places[2] < 60.0
    assert all(isinstance(s.needs, Parting) for s in KINDS["joint_open"])


def test_grounds_stand_where_none_is_recorded_and_nothing_is_hooked_up() -> None:
    places = {(s.line_a, s.measures[0]) for s in KINDS["hidden_ground"]}
    assert places == {("A", 15.0)}
    assert all(isinstance(s.needs, Rod) for s in KINDS["hidden_ground"])


def test_of_many_causes_those_about_the_lines_hooked_up_stay() -> None:
    few = SETTINGS.model_copy(update={"readings": ReadingSettings(causes_max=4)})
    kept, lost = suspects_of(small_connected(), small_prepared(), read=["A"], settings=few)
    assert len(kept) == 4
    assert lost == len(FOUND) - 4
    assert {s.line_a for s in kept} == {"A"}


def test_the_street_has_thirty_causes_and_contacts_of_every_origin() -> None:
    from corridor.readings.plan import set_ups_of  # noqa: PLC0415
    from corridor.readings.table import check_readings  # noqa: PLC0415
    from corridor.readings.work import connected_of, prepared_of  # noqa: PLC0415

    site, plan = street_site(), street_plan()
    setups = set_ups_of(plan)
    table = check_readings(street_rows(site), site, setups, settings=plan.settings.readings)
    connected = connected_of(site, plan, plan.settings)
    used = {name: one for name, one in setups.items() if one is not None}
    prepared, drive_of = prepared_of(connected, used, table, equipment=plan.equipment, settings=plan.settings)
    found, _ = suspects_of(connected, prepared, read=table["line_id"], settings=plan.settings)
    assert len(found) >= 30
    assert drive_of == {"S1": 0, "S2": 1, "S3": 2}
    contacts = [s for s in found if s.kind == "hidden_bond"]
    assert {s.place.split(",")[0] for s in contacts} == {"crossing"}
    assert all(isinstance(s.needs, Contact) for s in contacts)
    wrong = [s for s in found if s.kind == "wrong_line"]
    assert [(s.line_a, s.line_b, s.place) for s in wrong] == [("T1", "L1", "structure C1")]
    rods = [s.needs.xy_m for s in found if isinstance(s.needs, Rod)]
    apart = [math.dist(a, b) for k, a in enumerate(rods) for b in rods[:k]]
    assert min(apart) >= 0.5 - 1e-9  # two rods in one place would be one


@pytest.mark.parametrize(
    ("kind", "count"),
    [("bond_conducts", 2), ("bond_open", 1), ("hidden_bond", 3), ("hidden_ground", 3), ("joint_open", 2),
     ("joints_conduct", 1), ("ground_open", 1), ("poor_stake", 3), ("wrong_line", 1)],
)  # fmt: skip
def test_each_cause_may_be_in_several_ways(kind: str, count: int) -> None:
    suspect = Suspect(kind, "A", "B", "here", (0.0, 0.0), switch=(3, 4), drive=0, other_drive=1, stake_ohm=100.0)
    variants = suspect.variants()
    assert len(variants) == count
    assert len(set(variants)) == count
    if kind == "poor_stake":
        assert [v.stakes for v in variants] == [((0, 100.0),), ((0, 400.0),), ((0, 1400.0),)]
    elif kind == "wrong_line":
        assert variants[0].moved == ((0, 1),)
    else:
        assert all([element for element, _ in v.ohms] == [3, 4] for v in variants)


def test_two_causes_join_unless_they_speak_of_the_same_thing() -> None:
    one, other = Variant(ohms=((1, 0.0),)), Variant(ohms=((2, 0.0),), stakes=((0, 5.0),))
    assert one.with_other(other) == Variant(ohms=((1, 0.0), (2, 0.0)), stakes=((0, 5.0),))
    assert one.with_other(one) is None
    assert other.with_other(Variant(stakes=((0, 1.0),))) is None


def test_what_was_put_in_finds_its_cause() -> None:
    plain = [replace(s, switch=()) for s in FOUND[:2]]
    placed = with_places(plain, {1: 17}, {0: 5})
    assert (placed[0].switch, placed[0].other_drive) == ((), 5)
    assert (placed[1].switch, placed[1].other_drive) == ((17,), -1)
