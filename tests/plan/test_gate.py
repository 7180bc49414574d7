"""Each rule of the hazard gate, on records alone."""

from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corridor.dictionary import MODES, UTILITIES, YES_NO
from corridor.plan.gate import ENERGIZED_UTILITIES, RULES, Decision, Tie, gate, hazard, stated
from corridor.settings import GateSettings

NOBODY = GateSettings()
SOMEBODY = GateSettings(gas_direct_by="owner's gas fitter", cathodic_protection_by="owner's corrosion technician")
WATER = {"line_id": "W-1", "utility": "water", "conductive": "yes", "status": "in_service"}
LIVE = {"line_id": "E-1", "utility": "electricity", "conductive": "yes", "energized": "yes"}
GIVEN = {"energized_src": "given", "source_src": "given", "source_date_src": "given"}
DEAD = LIVE | {"line_id": "E-2", "energized": "no", "source": "switching log 12", "source_date": "2024-05-06"} | GIVEN
OPEN_PLACE = {"structure_id": "V-1", "kind": "valve", "access": "footway"}
BOTH = {"structure_id": "V-1", "line_id": "W-1", "direct": "yes", "clamp": "yes"}


def decide(line: dict[str, Any], mode: str = "direct", **given: Any) -> Decision:
    return gate(
        line,
        given.get("termination", BOTH),
        given.get("structure", OPEN_PLACE),
        mode,
        bonded_to=given.get("bonded_to", ()),
        settings=given.get("settings", NOBODY),
    )


def test_a_plain_valve_is_ready() -> None:
    decision = decide(WATER)
    assert decision == Decision("ready", (), "ready", "ready: no rule of the gate stands against it")


@pytest.mark.parametrize("utility", ENERGIZED_UTILITIES)
@pytest.mark.parametrize("status", ["in_service", "out_of_service", "abandoned", "unknown", None])
@pytest.mark.parametrize(
    "energized",
    [
        {},
        {"energized": None},
        {"energized": float("nan")},
        {"energized": "unknown"},
        {"energized": "yes", "source": "s", "source_date": "2024"},
        {"energized": "no"},
        {"energized": "no", "source": "switching log"},
        {"energized": "no", "source_date": "2024-05-06"},
        {"energized": "no", "source": "  ", "source_date": "2024-05-06"},
        {"energized": "no", "source": "unknown", "source_date": "2024-05-06"},
        {"energized": "no", "source": "switching log", "source_date": "unknown"},
        {"energized": "no", "source": "switching log", "source_date": "last spring"},
        {"energized": "No way", "source": "switching log", "source_date": "2024-05-06"},
    ],
)
def test_energized_unless_proven_otherwise(utility: str, status: str | None, energized: dict[str, Any]) -> None:
    line = {"line_id": "X-1", "utility": utility, "status": status, "conductive": "yes"} | energized | GIVEN
    assert hazard(line) == "energized"
    decision = decide(line, settings=SOMEBODY)
    assert (decision.ready, decision.rule) == ("refused", "energized_conductor")
    assert "X-1" in decision.missing[0]


@pytest.mark.parametrize("date", ["2024", "2024-05", "2024-05-06", "20240506", "2024-05-06T10:00"])
@pytest.mark.parametrize("status", ["in_service", "abandoned"])
def test_proven_dead_is_let_through(date: str, status: str) -> None:
    assert decide(DEAD | {"source_date": date, "status": status}).ready == "ready"


def test_energized_stated_on_any_utility_counts() -> None:
    assert decide(WATER | {"energized": "yes"}).rule == "energized_conductor"


def test_unknown_utility_is_found_out_first() -> None:
    for utility in ("unknown", None):
        line = WATER | {"utility": utility}
        decision = decide(line)
        assert (decision.ready, decision.rule) == ("not_ready", "utility_unknown")
        assert decide(line, "clamp").ready == "ready"
    cleared = WATER | {"utility": "unknown", "energized": "no", "source": "s", "source_date": "2024"} | GIVEN
    assert decide(cleared).ready == "ready"
    assert decide(cleared | {"energized_src": "mapped"}).rule == "utility_unknown"


@pytest.mark.parametrize("column", ["energized", "source", "source_date"])
@pytest.mark.parametrize("origin", ["mapped", None, "default"])
def test_only_the_records_own_word_clears_a_line(column: str, origin: str | None) -> None:
    line = DEAD | {f"{column}_src": origin}
    assert hazard(line) == "energized"
    assert decide(line).rule == "energized_conductor"
    del line[f"{column}_src"]
    assert decide(line).rule == "energized_conductor"
    assert decide(WATER, bonded_to=[Tie(line, ("B-7",), certain=True)]).rule == "bonded_to_energized"


@pytest.mark.parametrize(
    ("record", "told"),
    [
        ({"energized": "yes"}, "X-1 (electricity) is recorded as energized"),
        ({"energized": None}, "X-1 (electricity) counts as energized: whether it is energized isn't recorded"),
        ({"energized": "unknown"}, "X-1 (electricity) counts as energized: whether it is energized isn't recorded"),
        ({"energized": "no", "energized_src": "mapped"},
         "X-1 (electricity) counts as energized: only a constant of the field map says no, not the record"),
        ({"energized": "no"},
         "X-1 (electricity) counts as energized: its record says no, but without a source and a date (ISO 8601) "
         "of its own"),
        ({"energized": "no", "source": "log", "source_date": "spring"},
         "X-1 (electricity) counts as energized: its record says no, but without a date (ISO 8601) of its own"),
    ],
)  # fmt: skip
def test_a_refusal_says_what_the_record_says(record: dict[str, Any], told: str) -> None:
    line = {"line_id": "X-1", "utility": "electricity", "conductive": "yes"} | GIVEN | record
    assert decide(line).missing == (told,)
    (tied,) = decide(WATER, bonded_to=[Tie(line, (), certain=True)]).missing
    assert tied == told.replace("(electricity) ", "(electricity), which ").replace("X-1", "joined to X-1")


@pytest.mark.parametrize("through", [(), ("B-7",), ("B-7", "B-8")])
def test_certain_tie_to_an_energized_line_is_refused(through: tuple[str, ...]) -> None:
    decision = decide(WATER, bonded_to=[Tie(LIVE, through, certain=True)])
    assert (decision.ready, decision.rule) == ("refused", "bonded_to_energized")
    assert "E-1" in decision.missing[0]
    assert all(bond in decision.missing[0] for bond in through)


def test_uncertain_tie_names_the_bond_to_check() -> None:
    decision = decide(WATER, bonded_to=[Tie(LIVE, ("B-7",), certain=False)])
    assert (decision.ready, decision.rule) == ("not_ready", "suspected_bond")
    assert decision.missing == ("bond B-7 must be checked by a qualified person: it may connect to E-1 (electricity)",)


def test_ties_to_a_dead_line_dont_matter_and_to_an_unclear_one_do() -> None:
    assert decide(WATER, bonded_to=[Tie(DEAD, ("B-7",), certain=True)]).ready == "ready"
    unclear = Tie({"line_id": "U-1", "utility": "unknown"}, ("B-7",), certain=True)
    assert decide(WATER, bonded_to=[unclear]).rule == "utility_unknown"


@pytest.mark.parametrize("mode", ["clamp", "induction"])
def test_ties_and_energy_stop_direct_connections_only(mode: str) -> None:
    assert decide(LIVE, mode, bonded_to=[Tie(LIVE, ("B-7",), certain=True)]).ready == "ready"


@pytest.mark.parametrize(
    ("line", "structure"),
    [(WATER | {"utility": "gas"}, OPEN_PLACE), (WATER, OPEN_PLACE | {"kind": "meter", "utility": "gas"})],
)
def test_direct_on_gas_needs_a_name_in_the_settings(line: dict[str, Any], structure: dict[str, Any]) -> None:
    refused = decide(line, structure=structure)
    assert (refused.ready, refused.rule) == ("refused", "gas_direct")
    assert "gate.gas_direct_by" in refused.missing[0]
    allowed = decide(line, structure=structure, settings=SOMEBODY)
    assert allowed.ready == "ready"
    assert allowed.permit_by == "owner's gas fitter"
    assert "owner's gas fitter" in allowed.reason
    assert decide(line, "clamp", structure=structure).ready == "ready"


@pytest.mark.parametrize("kind", ["test_station", "anode_bed", "rectifier"])
@pytest.mark.parametrize("mode", ["direct", "clamp"])
def test_cathodic_protection_points_need_a_name(kind: str, mode: str) -> None:
    place = OPEN_PLACE | {"kind": kind}
    refused = decide(WATER, mode, structure=place)
    assert (refused.ready, refused.rule) == ("refused", "cathodic_protection")
    allowed = decide(WATER, mode, structure=place, settings=SOMEBODY)
    assert allowed.ready == "ready"
    assert "corrosion technician" in allowed.reason


def test_a_protected_line_takes_no_direct_connection_elsewhere_either() -> None:
    line = WATER | {"cathodic_protection": "yes"}
    assert decide(line).rule == "cathodic_protection"
    assert decide(line, "clamp").ready == "ready"
    both = decide(line | {"utility": "gas"}, settings=SOMEBODY)
    assert both.permit_by == "owner's gas fitter; owner's corrosion technician"


def test_a_blank_name_is_nobody() -> None:
    blank = GateSettings(gas_direct_by="  ", cathodic_protection_by=" ")
    assert decide(WATER | {"utility": "gas"}, settings=blank).ready == "refused"
    assert decide(WATER | {"cathodic_protection": "yes"}, settings=blank).ready == "refused"


@pytest.mark.parametrize("mode", ["direct", "clamp"])
@pytest.mark.parametrize(
    ("stated_as", "ready", "rule"),
    [
        ("yes", "ready", "ready"),
        ("no", "refused", "no_access"),
        ("unknown", "not_ready", "access_unknown"),
        (None, "not_ready", "access_unknown"),
        (float("nan"), "not_ready", "access_unknown"),
    ],
)
def test_what_the_termination_says(mode: str, stated_as: Any, ready: str, rule: str) -> None:
    decision = decide(WATER, mode, termination=BOTH | {mode: stated_as})
    assert (decision.ready, decision.rule) == (ready, rule)
    if ready != "ready":
        assert "V-1" in decision.missing[0]


def test_without_a_termination_nothing_is_touched() -> None:
    assert decide(WATER, termination=None, structure=None).rule == "access_unknown"
    assert decide(WATER, "induction", termination=None, structure=None).reason == "ready: touches nothing"


@pytest.mark.parametrize("access", ["locked", "indoor", "private"])
def test_closed_places_need_their_keeper(access: str) -> None:
    decision = decide(WATER, structure=OPEN_PLACE | {"access": access})
    assert (decision.ready, decision.rule) == ("not_ready", "closed_access")
    assert decision.missing == (f"access: V-1 is {access}",)


@pytest.mark.parametrize("access", [None, "unknown"])
def test_access_not_stated_is_said(access: str | None) -> None:
    decision = decide(WATER, structure=OPEN_PLACE | {"access": access})
    assert decision.ready == "ready"
    assert decision.reason.endswith("access not stated")


def test_a_permit_is_missing_until_it_is_there() -> None:
    decision = decide(WATER, structure=OPEN_PLACE | {"permit": "Harrow & Slate Water"})
    assert (decision.ready, decision.rule) == ("not_ready", "permit")
    assert decision.missing == ("permit from Harrow & Slate Water",)


@pytest.mark.parametrize("mode", MODES)
def test_conduction_is_known_first(mode: str) -> None:
    assert decide(WATER | {"conductive": "no"}, mode).rule == "not_conductive"
    assert decide(WATER | {"conductive": "unknown"}, mode).rule == "conduction_unknown"
    assert decide(WATER | {"conductive": None}, mode).ready == "not_ready"


def test_everything_missing_is_listed_and_refusal_comes_first() -> None:
    shut = OPEN_PLACE | {"access": "locked", "permit": "the owner"}
    decision = decide(WATER, termination=BOTH | {"direct": "unknown"}, structure=shut)
    assert len(decision.missing) == 3
    assert decision.rule == "access_unknown"
    assert decide(LIVE, termination=BOTH | {"direct": "unknown"}, structure=shut).ready == "refused"


@pytest.mark.parametrize(
    ("line", "structure", "word"),
    [
        (LIVE, OPEN_PLACE, "energized conductors"),
        (WATER, OPEN_PLACE | {"kind": "substation", "utility": "electricity"}, "energized conductors"),
        (WATER | {"utility": "gas"}, OPEN_PLACE | {"kind": "meter"}, "gas meters"),
        (WATER, OPEN_PLACE | {"kind": "cabinet", "utility": "traffic_signal"}, "traffic signal cabinets"),
        (WATER, OPEN_PLACE | {"kind": "test_station"}, "Cathodic protection"),
        (WATER, OPEN_PLACE | {"access": "carriageway"}, "traffic management"),
    ],
)
def test_cautions(line: dict[str, Any], structure: dict[str, Any], word: str) -> None:
    for mode in ("direct", "clamp"):
        assert word in decide(line, mode, structure=structure, settings=SOMEBODY).caution
    assert decide(line, "induction", structure=structure).caution == ""


@pytest.mark.parametrize("value", [None, float("nan"), "", "  ", "unknown", "N/A", "none", "?"])
def test_not_stated(value: Any) -> None:
    assert not stated(value)
    assert stated("x")


def test_rules_are_named_once_and_refusals_stand_first() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    statuses = [rule.status for rule in RULES]
    assert statuses == sorted(statuses, key=["refused", "not_ready"].index)


texts = st.sampled_from([None, "", "unknown", "yes", "no", "2024-05-06", "switching log"])
any_line = st.fixed_dictionaries(
    {
        "line_id": st.just("X-1"),
        "utility": st.sampled_from([*UTILITIES, None]),
        "conductive": st.sampled_from([*YES_NO, None]),
        "energized": st.sampled_from([*YES_NO, None]),
        "source": texts,
        "source_date": texts,
        "status": st.sampled_from(["in_service", "abandoned", None]),
        "cathodic_protection": st.sampled_from([*YES_NO, None]),
    }
)
any_place = st.fixed_dictionaries(
    {
        "structure_id": st.just("S-1"),
        "kind": st.sampled_from(["valve", "test_station", "cabinet", "unknown"]),
        "utility": st.sampled_from([*UTILITIES, None]),
        "access": st.sampled_from(["footway", "locked", None]),
        "permit": st.sampled_from([None, "the owner"]),
    }
)
any_end = st.fixed_dictionaries({mode: st.sampled_from([*YES_NO, None]) for mode in ("direct", "clamp")})
any_ties = st.lists(
    st.builds(Tie, any_line, st.lists(st.sampled_from(["B-1", "B-2"]), max_size=2).map(tuple), certain=st.booleans()),
    max_size=3,
)


@given(any_line, any_place, any_end, any_ties, st.sampled_from(MODES), st.booleans())
def test_what_is_never_let_through(
    line: dict[str, Any], place: dict[str, Any], end: dict[str, Any], ties: list[Tie], mode: str, named: bool
) -> None:
    settings = SOMEBODY if named else NOBODY
    decision = gate(line, end, place, mode, bonded_to=ties, settings=settings)
    assert bool(decision.missing) == (decision.ready != "ready")
    if mode != "direct" or decision.ready != "ready":
        return
    assert line["utility"] not in ENERGIZED_UTILITIES or line["energized"] == "no"
    assert line["energized"] != "yes"
    assert end["direct"] == "yes"
    assert all(tie.certain and hazard(tie.line) == "" for tie in ties)
    assert named or (line["utility"] != "gas" and line["cathodic_protection"] != "yes")


@given(any_line, any_place, any_end, any_ties, st.sampled_from(MODES))
def test_knowing_less_never_opens_the_gate(
    line: dict[str, Any], place: dict[str, Any], end: dict[str, Any], ties: list[Tie], mode: str
) -> None:
    order = ["ready", "not_ready", "refused"]
    full = gate(line, end, place, mode, bonded_to=ties, settings=SOMEBODY)
    for column, blank in product(("energized", "source", "source_date", "conductive"), (None, "unknown")):
        if line["energized"] == "yes" and column == "energized":
            continue  # hearsay of a live line forgotten is the one thing that can't be held against it
        if line["conductive"] == "no" and column == "conductive":
            continue
        less = gate(line | {column: blank}, end, place, mode, bonded_to=ties, settings=SOMEBODY)
        assert order.index(less.ready) >= order.index(full.ready)
