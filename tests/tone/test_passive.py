"""Passive sources solved: currents of their own, Kirchhoff, reciprocity, linearity and the cap on what drives them."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.errors import DomainError
from corridor.tone.cases import CASES, Case
from corridor.tone.passive import PASSIVE_KINDS, Feed, MainsCurrent, feed_voltages, solve_passive
from corridor.tone.solve import CaseResult
from corridor.tone.wave import RadioWave
from tests.tone.wires import BONDS, GROUNDS, LINES, SOIL, wires

GROUND_A = {"ground_id": "g0", "line_id": "A", "geometry": (0, 0), "evidence": "recorded", "resistance_ohm": 10.0}
GROUND_C = [
    {"ground_id": f"c{x}", "line_id": "C", "geometry": (x, -0.6), "evidence": "recorded", "resistance_ohm": 15.0}
    for x in (0, 60)
]
MODEL = wires(placement=None, grounds=[GROUND_A, *GROUNDS, *GROUND_C])
NOMINAL = CASES[:1]
WAVE = RadioWave(frequency_hz=1e5, field_v_per_m=0.01, arrival_deg=270.0)
FLOODED = 1e9  # a net current that nothing reaches: the driving voltage sets it


def feed(line_id: str, at_m: float = 5.0, sign: int = 1) -> Feed:
    return Feed(line_id, MODEL.section_at(line_id, at_m), sign)


def mains(*feeds: Feed, net_a: float = 0.1, driving_v: float = 5.0, frequency_hz: float = 50.0) -> MainsCurrent:
    return MainsCurrent(frequency_hz=frequency_hz, net_a=net_a, driving_v=driving_v, feeds=feeds)


def solved(source: MainsCurrent | RadioWave, cases: tuple[Case, ...] = NOMINAL) -> CaseResult:
    return solve_passive(MODEL, source, cases, soil=SOIL).results[source.frequency_hz, "nominal"]


def at(result: CaseResult, one: Feed) -> complex:
    return complex(one.sign * result.current_a[one.section, 0])


def test_there_are_two_kinds() -> None:
    assert PASSIVE_KINDS == ("mains", "radio")


def test_the_net_current_flows_where_the_way_back_is_good() -> None:
    assert at(solved(mains(feed("A"), net_a=0.05)), feed("A")) == pytest.approx(0.05, rel=1e-5)


def test_the_driving_voltage_caps_it_where_the_way_back_is_poor() -> None:
    low, high = (abs(at(solved(mains(feed("A"), net_a=FLOODED, driving_v=v)), feed("A"))) for v in (5.0, 10.0))
    assert high == pytest.approx(2 * low, rel=1e-5)
    # Thevenin: about 5 V over the two grounds, 10 and 20 ohm beside what leads on from them
    assert 5.0 / 30.0 < low < 5.0 / 10.0


def test_a_line_without_any_way_back_carries_next_to_nothing() -> None:
    # an insulated line without grounds: what is left is its jacket's capacitance
    bare = wires(placement=None, grounds=(), bonds=())
    one = Feed("A", bare.section_at("A", 5.0), 1)
    result = solve_passive(bare, mains(one), NOMINAL, soil=SOIL).results[50.0, "nominal"]
    assert np.abs(result.current_a[bare.sections_of("A"), 0]).max() < 1e-3 * 0.1


def test_what_leaves_the_lines_adds_up_to_nothing() -> None:
    # Kirchhoff: no current comes from outside, so that all leaks together are zero
    for source in (mains(feed("A"), feed("C")), WAVE):
        result = solved(source)
        assert abs(result.leak_a.sum()) < 1e-5 * np.abs(result.leak_a).sum()


def test_along_a_line_the_current_changes_by_what_leaks() -> None:
    # Kirchhoff: half of a section's leak leaves it on either side of its middle
    for source in (mains(feed("C")), WAVE):
        result = solved(source)
        own = MODEL.sections_of("C")
        current, leak = result.current_a[own, 0], result.leak_a[own, 0]
        lost = (leak[1:] + leak[:-1]) / 2
        assert np.abs(current[:-1] - current[1:] - lost).max() < 1e-5 * np.abs(current).max()


def test_feeds_may_change_places() -> None:
    # reciprocity (Lorentz): a volt in A drives in C what a volt in C drives in A
    a, c = feed("A", 30.0), feed("C", 20.0)
    there = at(solved(mains(a, net_a=FLOODED)), c)
    back = at(solved(mains(c, net_a=FLOODED)), a)
    assert abs(there) == pytest.approx(abs(back), rel=1e-4)
    assert abs(there) > 1e-3


def test_twice_the_net_current_is_twice_everywhere() -> None:
    one, two = (solved(mains(feed("A"), feed("C"), net_a=net)).current_a for net in (0.01, 0.02))
    assert two == pytest.approx(2 * one, rel=1e-5)


def test_two_feeds_are_the_sum_of_each() -> None:
    a, c, both = (solved(mains(*feeds)).current_a for feeds in ([feed("A")], [feed("C")], [feed("A"), feed("C")]))
    assert both == pytest.approx(a + c, rel=1e-4, abs=1e-9)


def test_a_feed_from_the_other_end_turns_the_current() -> None:
    out, back = (solved(mains(feed("A", 30.0, sign))).current_a for sign in (1, -1))
    assert back == pytest.approx(-out, rel=1e-6)


def test_the_current_is_the_same_wherever_along_a_dry_line_it_is_driven() -> None:
    # circuit theory: the place of a voltage in a loop without branches doesn't matter
    near, far = (solved(mains(feed("C", at_m))).current_a[MODEL.sections_of("C"), 0] for at_m in (5.0, 40.0))
    assert np.abs(near) == pytest.approx(np.abs(far), rel=2e-2)


def test_mains_reaches_the_line_bonded_to_it() -> None:
    result = solved(mains(feed("A")))
    assert np.abs(result.current_a[MODEL.sections_of("B"), 0]).max() > 5e-3  # bare steel: a part of the way back


def test_twice_the_field_is_twice_the_current() -> None:
    one, two = (solved(replace(WAVE, field_v_per_m=field)).current_a for field in (0.01, 0.02))
    assert two == pytest.approx(2 * one, rel=1e-5)


def test_a_wave_across_a_line_drives_none_in_it_alone() -> None:
    single = wires(placement=None, lines=LINES[:1], bonds=(), grounds=())
    along, across = (
        np.abs(
            solve_passive(single, replace(WAVE, arrival_deg=deg), NOMINAL, soil=SOIL).results[1e5, "nominal"].current_a
        ).max()
        for deg in (270.0, 0.0)
    )
    assert across < 1e-10 * along


def test_a_wave_from_the_other_side_runs_the_other_way() -> None:
    # over 60 m of a 3 km wave the field is nearly one: its current is turned
    single = wires(placement=None, lines=LINES[:1], bonds=(), grounds=())
    west, east = (
        solve_passive(single, replace(WAVE, arrival_deg=deg), NOMINAL, soil=SOIL).results[1e5, "nominal"].current_a
        for deg in (270.0, 90.0)
    )
    assert np.abs(west + east).max() < 0.15 * np.abs(west).max()


def test_every_case_is_solved_as_if_alone() -> None:
    # identity: the shared factor with switched paths is a factor of its own
    for source in (mains(feed("A")), WAVE):
        together = solve_passive(MODEL, source, CASES, soil=SOIL)
        assert set(together.results) == {(source.frequency_hz, case.name) for case in CASES}
        assert together.drives == ()
        for case in CASES[3:]:
            alone = solve_passive(MODEL, source, (case,), soil=SOIL).results[source.frequency_hz, case.name]
            assert together.results[source.frequency_hz, case.name].current_a == pytest.approx(alone.current_a)


def test_a_bond_that_may_be_open_is_switched_as_recorded_so() -> None:
    # identity: the case of all paths open is the record of an open bond
    unknown = wires(placement=None, bonds=[BONDS[0] | {"state": "unknown", "evidence": "suspected"}])
    opened = wires(placement=None, bonds=())
    one = mains(Feed("A", unknown.section_at("A", 5.0), 1), net_a=FLOODED)
    other = mains(Feed("A", opened.section_at("A", 5.0), 1), net_a=FLOODED)
    found = [
        np.abs(result.results[50.0, name].current_a[model.sections_of("B"), 0]).max()
        for model, source, name in ((unknown, one, "all paths open"), (opened, other, "nominal"))
        for result in [solve_passive(model, source, CASES, soil=SOIL)]
    ]
    assert found[0] == pytest.approx(found[1], rel=1e-2)  # the bond's node cuts the sections otherwise (0.3 %)


def test_nothing_of_a_transmitter_is_claimed() -> None:
    result = solved(WAVE)
    assert np.isnan(result.loop_ohm).all()
    assert np.isinf(result.available_a).all()
    assert result.reference_a.tolist() == [1.0]


def test_feed_voltages_by_hand() -> None:
    # 0.5 A/V lets 5 V drive 2.5 A, more than the 0.1 A asked for: 0.2 V; 0.01 A/V only 0.05 A: all of 5 V
    volts = feed_voltages(np.array([0.5, 0.01j, 0.0]), net_a=0.1, driving_v=5.0)
    assert volts == pytest.approx([0.2, -5.0j, 0.0])


@pytest.mark.parametrize("name", ["net_a", "driving_v", "frequency_hz"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_source_that_is_none_is_refused(name: str, value: float) -> None:
    with pytest.raises(DomainError, match=f"{name} of mains current must be a positive number"):
        mains(feed("A"), **{name: value})


def test_mains_without_a_feed_is_refused() -> None:
    with pytest.raises(DomainError, match="at least one line"):
        mains()


def test_a_feed_on_an_electrode_is_refused() -> None:
    with pytest.raises(DomainError, match="expected a feed on a section of 0 to"):
        solved(mains(Feed("A", MODEL.n_conducting, 1)))


@pytest.mark.parametrize("frequency_hz", [16.7, 2.5e5])
def test_a_frequency_out_of_range_is_refused(frequency_hz: float) -> None:
    with pytest.raises(DomainError, match="200000"):
        solved(replace(WAVE, frequency_hz=frequency_hz))
