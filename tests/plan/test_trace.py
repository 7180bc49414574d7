"""One hook-up traced: what the tables hold, what stays open, and what the trade expects of it."""

from dataclasses import replace
from functools import cache

import geopandas as gpd
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal

from corridor import HookUp, Site, trace_tone
from corridor.dictionary import RESULT_TABLES
from corridor.errors import DomainError, EquipmentError, HookUpError
from corridor.plan.trace import ToneTrace
from tests.plan.conftest import LENGTH_M, SETTINGS, doubtful

DIRECT, CLAMP, INDUCTION = "direct:A:A-S", "clamp:A:A-M", HookUp("induction", "A", at_m=LENGTH_M / 2)
UNKNOWN = {"state": "unknown", "evidence": "suspected", "probability": 0.3, "resistance_ohm": None}


STATES: dict[str, dict[str, object]] = {"closed": {}, "open": {"state": "open"}, "unknown": UNKNOWN}
_DONE: dict[tuple[int, str | HookUp, float], tuple[Site, ToneTrace]] = {}


@cache
def in_doubt(state: str) -> Site:
    return doubtful(**STATES[state])


def traced(site: Site, hookup: str | HookUp = DIRECT, *, frequency_hz: float = 10_000.0) -> ToneTrace:
    """A trace, solved once for each site object (which is kept, so that its id stays its own)."""
    key = (id(site), hookup, frequency_hz)
    if key not in _DONE:
        found = trace_tone(site, hookup, frequency_hz=frequency_hz, level_ma=50.0, settings=SETTINGS)
        _DONE[key] = (site, found)
    return _DONE[key][1]


def of_line(table: gpd.GeoDataFrame, line_id: str) -> gpd.GeoDataFrame:
    return table[table["line_id"] == line_id]


def middle_ma(result: ToneTrace, line_id: str = "A") -> float:
    own = of_line(result.sections, line_id)
    place = own.geometry.centroid.x.sub(LENGTH_M / 2).abs().to_numpy().argmin()
    return float(own["current_ma"].iloc[place])


def worst_pull_m(result: ToneTrace, line_id: str = "A") -> float:
    own = of_line(result.stations, line_id)
    inner = own[own["station_m"].between(LENGTH_M / 3, LENGTH_M * 2 / 3)]  # away from source and bonds
    return float(inner["peak_offset_m"].abs().max())


def test_tables_are_those_of_the_dictionary(alone: Site) -> None:
    result = traced(alone)
    for name in ("sections", "stations", "bleed_paths"):
        table = getattr(result, name)
        assert set(RESULT_TABLES[name].names) <= set(table.columns)
        assert table.crs == alone.crs
    assert len(result.sections)
    assert len(result.stations)
    assert result.current_ma == pytest.approx(50.0)
    assert result.voltage_v == pytest.approx(result.loop_ohm * result.current_ma / 1000.0)


def test_the_same_site_gives_the_same_tables() -> None:
    one, other = traced(in_doubt("closed")), traced(doubtful())
    for name in ("sections", "stations", "bleed_paths"):
        assert_geodataframe_equal(getattr(one, name), getattr(other, name))
        assert getattr(one, name).to_json() == getattr(other, name).to_json()


def test_the_order_of_the_records_changes_nothing() -> None:
    site = in_doubt("closed")
    turned = replace(site, lines=site.lines.iloc[::-1].reset_index(drop=True))
    pd.testing.assert_frame_equal(
        traced(site).sections.drop(columns="geometry"), traced(turned).sections.drop(columns="geometry")
    )


def test_nothing_is_open_on_a_clean_site(alone: Site) -> None:
    result = traced(alone)
    for table in (result.sections, result.stations):
        assert table["settled"].all()
        assert not table["assumed"].any()
        assert (table["grade"] == table["grade_worst"]).all()
    assert result.sections["current_low_ma"].tolist() == result.sections["current_high_ma"].tolist()


@pytest.mark.parametrize("state", STATES)
def test_low_and_high_hold_the_current_between_them(state: str) -> None:
    sections = traced(in_doubt(state)).sections
    assert (sections["current_low_ma"] <= sections["current_ma"]).all()
    assert (sections["current_ma"] <= sections["current_high_ma"]).all()
    spread = (sections["current_high_ma"] - sections["current_low_ma"]).max()
    assert (spread > 1.0) == (state == "unknown")


def test_a_bond_of_unknown_state_leaves_the_grade_unsettled_where_it_matters() -> None:
    stations = traced(in_doubt("unknown")).stations
    differs = stations["grade"] != stations["grade_worst"]
    assert differs.any()
    assert not stations.loc[differs, "settled"].any()
    assert (
        stations.loc[stations["settled"], "grade"].tolist() == stations.loc[stations["settled"], "grade_worst"].tolist()
    )


def test_the_range_of_an_unknown_bond_reaches_from_the_open_to_the_closed_one() -> None:
    # identity: the cases are those two records
    unknown, shut, opened = (
        of_line(traced(site).sections, "B").reset_index(drop=True)
        for site in (in_doubt("unknown"), doubtful(resistance_ohm=None), in_doubt("open"))
    )
    both = pd.concat([shut["current_ma"], opened["current_ma"]], axis=1)
    assert unknown["current_low_ma"].tolist() == pytest.approx(both.min(axis=1).tolist(), abs=2e-4)
    assert unknown["current_high_ma"].tolist() == pytest.approx(both.max(axis=1).tolist(), abs=2e-4)


def test_a_clamp_keeps_more_on_one_of_four_bonded_lines_than_a_direct_connection(four_bonded: Site) -> None:
    # common practice: direct connection gives each of N equal lines 1/N; the clamp's tone goes out on the target and
    # comes back shared among the others
    direct, clamp = traced(four_bonded, DIRECT, frequency_hz=1000.0), traced(four_bonded, CLAMP, frequency_hz=1000.0)
    share = {name: middle_ma(result) / result.current_ma for name, result in (("d", direct), ("c", clamp))}
    assert share["d"] == pytest.approx(0.25, abs=0.08)
    assert share["c"] == pytest.approx(1.0, abs=0.05)
    ratio = {name: middle_ma(result, "C") / middle_ma(result) for name, result in (("d", direct), ("c", clamp))}
    assert ratio["c"] < 0.6 * ratio["d"]


def test_a_clamp_pulls_the_peak_less_than_a_direct_connection_on_bonded_lines(four_bonded: Site) -> None:
    # common practice
    direct, clamp = traced(four_bonded, DIRECT, frequency_hz=1000.0), traced(four_bonded, CLAMP, frequency_hz=1000.0)
    assert worst_pull_m(clamp) < worst_pull_m(direct)


def test_a_direct_connection_puts_more_on_an_isolated_line_than_induction(alone: Site) -> None:
    # common practice: induction is what is left where nothing can be connected
    assert middle_ma(traced(alone, DIRECT)) > 5 * middle_ma(traced(alone, INDUCTION))


@pytest.mark.parametrize("frequency_hz", [0.0, 49.0, 200_001.0, float("nan")])
def test_a_frequency_out_of_range_is_refused(alone: Site, frequency_hz: float) -> None:
    with pytest.raises(DomainError, match="200000"):
        traced(alone, frequency_hz=frequency_hz)


@pytest.mark.parametrize("level_ma", [0.0, -1.0, float("nan"), float("inf")])
def test_a_level_that_is_none_is_refused(alone: Site, level_ma: float) -> None:
    with pytest.raises(DomainError, match="above 0 mA"):
        trace_tone(alone, DIRECT, frequency_hz=1000.0, level_ma=level_ma)


def test_an_unknown_hookup_names_three(alone: Site) -> None:
    with pytest.raises(HookUpError, match=r"nearest are \S+, \S+, \S+$"):
        traced(alone, "direct:A:A-Z")


def test_induction_below_the_loop_s_range_is_refused(alone: Site) -> None:
    with pytest.raises(EquipmentError, match="5000 Hz"):
        traced(alone, INDUCTION, frequency_hz=1000.0)


def test_the_gate_is_asked_before_anything_is_solved(alone: Site) -> None:
    energized = replace(alone, lines=alone.lines.assign(utility="electricity"))
    with pytest.raises(HookUpError, match="energized"):
        traced(energized)


@pytest.mark.parametrize("at_m", [-5.0, 5000.0])
def test_a_place_beyond_the_line_is_refused(alone: Site, at_m: float) -> None:
    with pytest.raises(HookUpError, match=r"expected a place of 0 to 60\.0 m along the line"):
        trace_tone(alone, HookUp("induction", "A", at_m=at_m), frequency_hz=10_000.0, level_ma=50.0)


def test_induction_below_what_the_loop_can_be_tuned_to_is_refused(alone: Site) -> None:
    with pytest.raises(EquipmentError, match="for induction, got 500 Hz"):
        trace_tone(alone, HookUp("induction", "A", at_m=30.0), frequency_hz=500.0, level_ma=50.0)


def test_what_limits_the_output_is_said(alone: Site) -> None:
    assert trace_tone(alone, DIRECT, frequency_hz=1000.0, level_ma=1.0, settings=SETTINGS).limited_by == "level"
    most = trace_tone(alone, DIRECT, frequency_hz=1000.0, level_ma=1e6, settings=SETTINGS)
    assert most.limited_by in ("voltage", "current", "power")
