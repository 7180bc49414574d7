"""The gate on bleed partners: limits on others' plant and on voltages that people can touch, from small solutions."""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor import HookUp, Site
from corridor.plan.partner_gate import gate_partners, partner_limits, with_partner_gate
from corridor.plan.prepare import connect, prepare
from corridor.settings import PartnerLimits, SafetySettings, load_equipment
from corridor.tone.cases import CASES
from corridor.tone.drive import unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.solve import ToneSolution, nominal_network, solve_tone
from tests.builders import make_lines, make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, access, bond, cable, ground, square

EQUIPMENT = load_equipment(None)
LEVELS_MA = (5.0, 20.0, 100.0)
FREQUENCIES_HZ = (1e3, 10e3)
NAMES = ["direct:A:A-S", "clamp:A:A-M"]
READY = pd.DataFrame({"hookup_id": NAMES, "line_id": ["A", "A"]})
HOOKUPS = (HookUp("direct", "A", "A-S", 0.0, (-1.0, 6.0)), HookUp("clamp", "A", "A-M", LENGTH_M / 4))
OTHERS_PLANT = ["traffic_signal", "traction", "telecommunications", "unknown"]


def site_of(utility: str = "traffic_signal", access_word: str | None = "footway", **more: Any) -> Site:
    """Line A, bonded to B at its far end, which comes back to a ground: B takes most of what A carries."""
    places = access("A")
    places["structures"] = [row | {"access": access_word} for row in places["structures"]]
    return make_site(
        lines=[cable("A", utility="water", asset="pipe"), cable("B", 1.5, utility=utility, **more)],
        bonds=[bond("X", "B", (LENGTH_M, 0.75))],
        grounds=[ground("B", 0, 1.5)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
        **places,
    )


@lru_cache
def solution() -> ToneSolution:
    """Solved once: neither utilities nor accesses matter to the solver."""
    connected = connect(site_of(), equipment=EQUIPMENT, settings=SETTINGS)
    prepared = prepare(connected, HOOKUPS, NAMES, frequencies_hz=FREQUENCIES_HZ, equipment=EQUIPMENT, settings=SETTINGS)
    return solve_tone(
        prepared.model, prepared.drives, CASES[:3], frequencies_hz=FREQUENCIES_HZ, soil=prepared.soil,
        equipment=EQUIPMENT,
    )  # fmt: skip


def judged(site: Site | None = None, **limits: Any) -> pd.DataFrame:
    """Verdicts with high limits but for those given."""
    partner, site = limits.pop("partner", {}), site or site_of()
    if not limits:
        site = replace(site, terminations=site.terminations.iloc[:0])  # no metal to touch: nothing else to work out
    high = PartnerLimits(**dict.fromkeys(PartnerLimits.model_fields, 1e6) | partner)
    safety = SafetySettings(partner_limit_ma=high, **{"touch_v": 1e6, "touch_public_v": 1e6} | limits)
    return gate_partners(solution(), READY, site, levels_ma=LEVELS_MA, safety=safety)


def predicted_ma(level_ma: float, hookup: int = 0, frequency_hz: float = 1e3) -> float:
    """The largest current on B over its sections and the cases, from the solution itself."""
    found, own = solution(), solution().model.sections_of("B")
    results = [found.results[frequency_hz, case.name] for case in found.cases]
    return max(
        1e3 * float(np.abs(r.current_a[own, hookup]).max()) * min(level_ma / 1e3, float(r.available_a[hookup]))
        for r in results
    )


def row(verdicts: pd.DataFrame, level_ma: float, hookup_id: str = NAMES[0], frequency_hz: float = 1e3) -> pd.Series:
    own = verdicts["hookup_id"].eq(hookup_id) & verdicts["level_ma"].eq(level_ma)
    (found,) = [item for _, item in verdicts[own & verdicts["frequency_hz"].eq(frequency_hz)].iterrows()]
    return found


def test_a_row_for_each_hookup_frequency_and_level() -> None:
    verdicts = judged()
    assert verdicts.columns.tolist() == ["hookup_id", "frequency_hz", "level_ma", "ready", "missing", "excess"]
    assert verdicts[["hookup_id", "frequency_hz", "level_ma"]].values.tolist() == [
        [name, f, level] for name in NAMES for f in FREQUENCIES_HZ for level in LEVELS_MA
    ]


def test_below_the_limits_everything_stays_ready() -> None:
    verdicts = judged()
    assert verdicts["ready"].all()
    assert verdicts["missing"].eq("").all()
    assert (verdicts["excess"] < 1).all()


@pytest.mark.parametrize("utility", OTHERS_PLANT)
def test_the_limit_of_each_utility_decides_on_either_side_of_the_prediction(utility: str) -> None:
    amount = predicted_ma(20.0)
    for limit, ready in ((amount * 1.001, True), (amount * 0.999, False)):
        verdict = row(judged(site_of(utility), partner={utility: limit}), 20.0)
        assert verdict["ready"] == ready
        assert verdict["excess"] == pytest.approx(amount / limit, rel=1e-6)


def test_a_lower_level_stays_ready_where_a_higher_one_is_caught() -> None:
    verdicts = judged(partner={"traffic_signal": 10.0})
    assert row(verdicts, 5.0)["ready"]
    assert not row(verdicts, 100.0)["ready"]


def test_the_sentence_names_owner_prediction_and_limit() -> None:
    said = row(judged(partner={"traffic_signal": 5.0}), 20.0)["missing"]
    assert said == f"ask the owner of B: {predicted_ma(20.0):.3g} mA predicted on traffic signal plant, limit 5 mA"


def test_a_line_under_cathodic_protection_has_its_own_limit() -> None:
    protected = site_of("oil", cathodic_protection="yes")
    assert (
        "plant under cathodic protection"
        in row(judged(protected, partner={"cathodic_protection": 1.0}), 20.0)["missing"]
    )
    assert judged(site_of("oil"), partner={"cathodic_protection": 1.0})["ready"].all()


def test_the_strictest_of_two_limits_counts() -> None:
    lines = make_lines([cable("P", cathodic_protection="yes"), cable("Q"), cable("R", utility="gas")])
    strict = SafetySettings(partner_limit_ma=PartnerLimits(cathodic_protection=3.0, telecommunications=7.0))
    limits = partner_limits(lines, strict)
    assert limits["P"] == (3.0, "plant under cathodic protection")
    assert limits["Q"] == (7.0, "telecommunications plant")
    assert "R" not in limits


def test_the_target_itself_is_no_partner() -> None:
    site = site_of("water")
    lines = site.lines.assign(utility=np.where(site.lines["line_id"] == "A", "telecommunications", "water"))
    assert judged(replace(site, lines=lines), partner={"telecommunications": 0.1})["ready"].all()


def test_a_source_is_judged_at_what_it_can_push() -> None:
    # the clamp can't push 100 mA into this loop, so the prediction stands still where the source does
    clamp = [row(judged(partner={"traffic_signal": 1.0}), level, NAMES[1])["excess"] for level in LEVELS_MA]
    available = max(r.available_a[1] for (f, _), r in solution().results.items() if f == 1e3) * 1e3
    assert clamp == sorted(clamp)
    assert clamp[-1] == pytest.approx(predicted_ma(min(available, 100.0), 1), rel=1e-6)


def test_the_worst_case_counts() -> None:
    one = solution()
    nominal = replace(one, cases=one.cases[:1])
    arguments: dict[str, Any] = {"levels_ma": LEVELS_MA, "safety": SafetySettings()}
    every = gate_partners(one, READY, site_of(), **arguments)["excess"]
    alone = gate_partners(nominal, READY, site_of(), **arguments)["excess"]
    both = gate_partners([nominal, one], READY, site_of(), **arguments)["excess"]
    assert (every >= alone).all()
    assert both.tolist() == every.tolist()


@lru_cache
def touch_excess(word: str | None, *, public_v: float = 25.0, level_ma: float = 100.0) -> float:
    return float(row(judged(site_of("water", word), touch_public_v=public_v, touch_v=50.0), level_ma)["excess"])


@pytest.mark.parametrize("word", ["footway", "carriageway", "verge", "unknown", None])
def test_where_the_public_reaches_the_lower_voltage_counts(word: str | None) -> None:
    # IEC 60364-4-41 and IEC TS 60479-1 as quoted: 50 V AC, 25 V for children: twice the excess
    assert touch_excess(word) == pytest.approx(2 * touch_excess("locked"), rel=1e-9)


@pytest.mark.parametrize("word", ["private", "indoor", "locked"])
def test_behind_a_door_the_higher_one_does(word: str) -> None:
    assert touch_excess(word) == touch_excess("locked")


def test_the_voltage_is_no_more_than_the_loop_takes() -> None:
    # a network of resistances has no place outside the potentials of its two terminals: |V| <= |Z| I; 1 kHz, where
    # reactances are small (10 % allowed)
    loop = abs(complex(solution().results[1e3, "nominal"].loop_ohm[0]))
    volts = 25.0 * touch_excess("footway", level_ma=5.0)
    assert 0.001 < volts < 1.1 * loop * 0.005


def test_a_lower_limit_of_voltage_takes_readiness_away() -> None:
    volts = 25.0 * touch_excess("footway", level_ma=20.0)
    caught = judged(site_of("water"), touch_public_v=volts * 0.99)
    assert not row(caught, 20.0)["ready"]
    assert row(caught, 5.0)["ready"]
    said = row(caught, 20.0)["missing"]
    assert "V predicted between its metal and the soil beside it" in said
    assert "where the public can reach" in said
    assert judged(site_of("water"), touch_public_v=1000 * volts)["ready"].all()


def test_metal_that_nobody_can_touch_by_the_record_is_left_out() -> None:
    site = site_of("water")
    jacketed = replace(site, terminations=site.terminations.assign(direct="no"))
    assert judged(jacketed, touch_public_v=1e-6)["ready"].all()
    assert not judged(site, touch_public_v=1e-6)["ready"].any()


def table(ready: str = "ready") -> gpd.GeoDataFrame:
    frame = pd.DataFrame(
        {"hookup_id": [*NAMES, "direct:Z"], "ready": [ready, ready, "refused"], "missing": "", "reason": "r"}
    )
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy([0, 1, 2], [0, 0, 0]), crs=32633)


def test_a_hookup_is_not_ready_only_if_every_level_and_frequency_is_caught() -> None:
    some = with_partner_gate(table(), judged(partner={"traffic_signal": 10.0}))
    assert some["ready"].tolist() == ["ready", "ready", "refused"]
    every = with_partner_gate(table(), judged(partner={"traffic_signal": 1e-3}))
    assert every["ready"].tolist() == ["not_ready", "not_ready", "refused"]
    assert every["reason"].iloc[0].startswith("bleed_partner: ")
    assert every["missing"].iloc[0].startswith("ask the owner of B: ")
    assert table()["ready"].tolist() == ["ready", "ready", "refused"]


def test_what_is_told_is_nearest_to_the_limit() -> None:
    verdicts = judged(partner={"traffic_signal": 1e-3})
    own = verdicts[verdicts["hookup_id"] == NAMES[0]]
    told = with_partner_gate(table(), verdicts)["missing"].iloc[0]
    assert told == own.sort_values("excess")["missing"].iloc[0]


def test_of_several_networks_the_worst_verdict_counts() -> None:
    strict, mild = (judged(partner={"traffic_signal": limit}) for limit in (1e-3, 1e6))
    for order in ((strict, mild), (mild, strict)):
        both = with_partner_gate(table(), pd.concat(order, ignore_index=True))
        assert both["ready"].tolist() == ["not_ready", "not_ready", "refused"]


def test_the_gate_never_gives_readiness() -> None:
    assert with_partner_gate(table("not_ready"), judged())["ready"].tolist() == ["not_ready", "not_ready", "refused"]


def test_nothing_in_gives_nothing_out() -> None:
    none = gate_partners(solution(), READY.iloc[:0], site_of(), levels_ma=LEVELS_MA, safety=SafetySettings())
    assert none.empty
    assert list(none.columns) == list(judged().columns)
    assert with_partner_gate(table(), none)["ready"].tolist() == table()["ready"].tolist()


def test_the_same_input_gives_the_same_rows() -> None:
    pd.testing.assert_frame_equal(judged(), judged())


def test_seen_from_remote_earth_the_voltage_is_the_potential_of_the_node() -> None:
    # identity: 5 km away the surface is remote earth; the solver's own node potentials, at the hook-up where they are
    # highest. 2 %: the middle of a section for its end
    one, model = solution(), solution().model
    nominal = replace(one, cases=one.cases[:1])
    safety = SafetySettings(touch_distance_m=5000.0, touch_public_v=1.0, touch_v=1.0)
    gated = gate_partners(nominal, READY, site_of("water"), levels_ma=[5.0], safety=safety)
    network = nominal_network(model, frequency_hz=1e3, resistivity_ohm_m=100.0, soil=one.soil)
    gamma = propagation_constant(100.0, 1e3, relative_permittivity=one.soil.relative_permittivity)
    sources = unit_sources(model, one.drives, frequency_hz=1e3, gamma_per_m=gamma)
    node = model.node_at("A", 0.0)
    volts = abs(network.solve(*sources).node_v[node, 0]) * 0.005
    assert float(row(gated, 5.0)["excess"]) == pytest.approx(volts, rel=0.02)


@given(st.lists(st.floats(0.1, 300.0), min_size=1, max_size=6, unique=True))
@settings(max_examples=15, deadline=None)
def test_more_output_is_never_safer(levels_ma: list[float]) -> None:
    limits = SafetySettings(touch_v=1e6, touch_public_v=1e6)
    site = site_of("traffic_signal")
    no_metal = replace(site, terminations=site.terminations.iloc[:0])
    verdicts = gate_partners(solution(), READY, no_metal, levels_ma=levels_ma, safety=limits)
    for _, own in verdicts.groupby(["hookup_id", "frequency_hz"]):
        assert own["level_ma"].is_monotonic_increasing
        assert own["excess"].is_monotonic_increasing
        assert (own["ready"] == (own["excess"] <= 1)).all()


def accessible_everywhere() -> Site:
    """Both lines have access points at both ends."""
    site = site_of()
    ends = [(f"{name}-{side}", name, at) for name in "AB" for side, at in (("S", "start"), ("T", "end"))]
    structures = [
        {"structure_id": key, "kind": "handhole", "access": "verge",
         "geometry": (0.0 if at == "start" else LENGTH_M, 0.0 if name == "A" else 1.5)}
        for key, name, at in ends
    ]  # fmt: skip
    terminations = [{"structure_id": key, "line_id": name, "at": at, "direct": "unknown"} for key, name, at in ends]
    other = make_site(lines=[cable("A")], structures=structures, terminations=terminations)
    return replace(site, structures=other.structures, terminations=other.terminations)


def test_three_are_named_worst_first_and_the_rest_counted() -> None:
    verdict = row(judged(accessible_everywhere(), touch_public_v=1e-6, partner={"traffic_signal": 1e-3}), 20.0)
    said = verdict["missing"].split("; ")
    assert said[-1] == "2 more beyond their limits"
    assert len(said) == 4
    volts = [float(text.split(": ")[1].split()[0]) for text in said if " V predicted" in text]
    assert volts == sorted(volts, reverse=True)


def test_records_that_lead_nowhere_are_passed_over() -> None:
    site = accessible_everywhere()
    lost = site.terminations.assign(
        structure_id=["A-S", "nowhere", "B-S", "B-T"], line_id=["A", "A", "no such line", "B"]
    )
    fewer, every = (
        judged(replace(site, terminations=table), touch_public_v=25.0)["excess"].max()
        for table in (lost, site.terminations)
    )
    assert 0 < fewer <= every


def test_metal_beyond_the_network_solved_is_passed_over() -> None:
    far = make_site(
        lines=[cable("A"), cable("B", 1.5), cable("Z", 900.0)],
        structures=[{"structure_id": "Z-S", "kind": "handhole", "geometry": (0.0, 900.0)}],
        terminations=[{"structure_id": "Z-S", "line_id": "Z", "at": "start", "direct": "yes"}],
    )
    assert judged(far, touch_public_v=1e-9)["ready"].all()
