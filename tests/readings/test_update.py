"""Readings back in: what the public trace of another site gives is explained by what that site has."""

import math
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from corridor import Settings, apply_readings, trace_tone
from corridor.errors import InputError
from corridor.readings import Update
from corridor.settings import Equipment, ReceiverSettings
from corridor.tone.hookup import HookUp
from tests.plan.conftest import cable, ground
from tests.readings.small import COLUMNS, EQUIPMENT, FREQUENCY_HZ, SETTINGS, SOLVER, small_plan, small_site

STAKE = (-2.0, -4.0)
# a crew looks for the peak beside the line that it reads, so the trace must not look farther
TRACED = Settings(solver=SOLVER, receiver=ReceiverSettings(half_width_m=1.0))
BOND = {"bond_id": "X", "line_a": "A", "line_b": "B", "geometry": (60.0, 0.9), "state": "closed",
        "evidence": "recorded", "resistance_ohm": 0.01}  # fmt: skip


@cache
def read_of(what: str) -> pd.DataFrame:
    """Readings as the trace of a site gives them: as recorded, with the bond, without A's far ground, a poor stake."""
    site, equipment = small_site(), EQUIPMENT
    if what == "bond":
        site = _site(bonds=[BOND])
    elif what == "no ground":
        site = _site(grounds=[ground("B", 0.0, 1.8), ground("B", 60.0, 1.8)])
    elif what == "stake":
        short = EQUIPMENT.stake.model_copy(update={"length_m": 0.08, "diameter_mm": 8.0})
        equipment = Equipment.model_validate(EQUIPMENT.model_copy(update={"stake": short}).model_dump())
    hookup = HookUp("direct", "A", "A-S", 0.0, STAKE)
    trace = trace_tone(site, hookup, frequency_hz=FREQUENCY_HZ, level_ma=50.0, equipment=equipment, settings=TRACED)
    rows: list[dict[str, Any]] = [
        {"kind": "source_ma", "value": trace.current_ma}, {"kind": "source_v", "value": trace.voltage_v},
        {"kind": "source_ohm", "value": trace.loop_ohm},
    ]  # fmt: skip
    for line in ("A", "B"):
        pieces = trace.sections[trace.sections["line_id"] == line].iloc[2::5]
        shape = site.lines.set_index("line_id").geometry.loc[line]
        rows += [
            {"line_id": line, "station_m": shape.project(piece.interpolate(0.5, normalized=True)), "kind": "clamp_ma",
             "value": current}
            for piece, current in zip(pieces.geometry, pieces["current_ma"], strict=True)
        ]  # fmt: skip
    seen = trace.stations[trace.stations["peak_offset_m"].abs() < 0.9]
    for row in seen.iloc[1::3].to_dict("records"):
        rows.append({
            "line_id": row["line_id"], "station_m": row["station_m"], "kind": "receiver_ma",
            "value": row["inferred_current_ma"],
        })  # fmt: skip
    frame = pd.DataFrame([row | {"setup_id": "S1"} for row in rows]).reindex(columns=COLUMNS)
    return frame[frame["value"].notna()].reset_index(drop=True)


def _site(**tables: Any) -> Any:
    return small_site.__wrapped__(**tables)


@cache
def update_of(what: str) -> Update:
    return apply_readings(small_site(), small_plan(), read_of(what))


@pytest.mark.parametrize(
    ("what", "cause", "least"),
    [("as recorded", "none", 0.4), ("bond", "bond_conducts:A~B:X", 0.9), ("no ground", "ground_open:A:A@60", 0.8),
     # a joint that conducts badly in the same loop is much the same to all these readings: one set
     ("stake", "poor_stake:A:stake of direct:A:A-S", 0.5)],
)  # fmt: skip
def test_what_is_there_is_found(what: str, cause: str, least: float) -> None:
    # the readings come from the public trace of a site that has it: other code from records to stations
    causes = update_of(what).causes
    assert causes["cause_id"].iloc[0] == cause
    assert causes["probability"].iloc[0] > least
    if cause != "none":
        assert causes.set_index("cause_id")["probability"]["none"] < 0.01


@pytest.mark.parametrize("what", ["as recorded", "bond"])
def test_probabilities_are_probabilities(what: str) -> None:
    causes = update_of(what).causes
    assert causes["rank"].tolist() == list(range(1, len(causes) + 1))
    assert causes["probability"].is_monotonic_decreasing
    for column in ("prior", "probability"):
        assert causes[column].between(0, 1).all()
        assert causes[column].sum() > 1.0 - 1e-3  # causes two by two count for both
    none = causes[causes["kind"] == "none"].iloc[0]
    assert none.geometry is None
    assert causes[causes["kind"] != "none"].geometry.notna().all()
    assert causes["explained"].str.len().min() > 20
    assert causes["where_to_look"].str.len().min() > 20


def test_the_soil_is_found() -> None:
    # the trace was made in the recorded soil: its factor is 1
    low, middle, high = update_of("as recorded").soil_factor
    assert low < 1.0 < high
    assert middle == pytest.approx(1.0, abs=0.15)


def test_true_currents_lie_in_their_ranges() -> None:
    site = small_site()
    hookup = HookUp("direct", "A", "A-S", 0.0, STAKE)
    trace = trace_tone(site, hookup, frequency_hz=FREQUENCY_HZ, level_ma=50.0, equipment=EQUIPMENT, settings=TRACED)
    true = trace.stations.set_index(["line_id", "station_m"])["current_ma"]
    table = update_of("as recorded").expected
    placed = table[table["kind"] == "receiver_ma"]
    for row in placed.to_dict("records"):
        assert row["current_low_ma"] < true[row["line_id"], row["station_m"]] < row["current_high_ma"]
        assert row["expected_low"] < row["value"] < row["expected_high"]


def test_readings_narrow_what_is_expected() -> None:
    table = update_of("as recorded").expected
    source = table[table["kind"] == "source_ohm"].iloc[0]
    before, after = source["before_high"] / source["before_low"], source["expected_high"] / source["expected_low"]
    assert after < 0.5 * before


def test_the_update_goes_into_the_site() -> None:
    update = update_of("bond")
    found = update.causes.set_index("cause_id")["probability"]["bond_conducts:A~B:X"]
    assert update.site.bonds["probability"].iloc[0] == pytest.approx(found, abs=1e-3)
    assert update.site.bonds["evidence"].iloc[0] == "suspected"
    assert update.notes[0].startswith("Predictions from records")
    assert "not a fact" in update.notes[1]


def test_the_same_readings_give_the_same_tables() -> None:
    first, again = update_of("bond"), apply_readings(small_site(), small_plan(), read_of("bond"))
    for name in ("causes", "expected", "readings"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(first, name))
    assert again.soil_factor == first.soil_factor


def test_a_reading_gone_wrong_is_told_and_does_not_decide() -> None:
    rows = read_of("as recorded").copy()
    bad = rows.index[rows["kind"] == "receiver_ma"][2]
    rows.loc[bad, "value"] *= 6.0
    update = apply_readings(small_site(), small_plan(), rows)
    assert update.expected["outlier_probability"].idxmax() == bad
    assert update.expected["outlier_probability"].iloc[bad] > 0.9
    assert update.causes["kind"].iloc[0] == "none"


def test_what_was_not_read_is_predicted() -> None:
    rows = read_of("bond").copy()
    kept_back = rows.index[rows["kind"] == "receiver_ma"][-2:]
    true = rows.loc[kept_back, "value"].to_numpy()
    rows.loc[kept_back, "value"] = np.nan
    table = apply_readings(small_site(), small_plan(), rows).expected.loc[kept_back]
    assert table["used"].tolist() == ["predicted"] * 2
    assert (table["expected_low"] < true).all()
    assert (true < table["expected_high"]).all()
    assert table["outlier_probability"].isna().all()


def test_a_foreign_tone_sets_readings_aside() -> None:
    rows = read_of("as recorded").iloc[[0, 3, 4, 5, 7, 8]].copy()
    near = rows[rows["line_id"] == "A"].iloc[0]
    foreign = near.to_dict() | {"kind": "foreign_tone", "value": 30.0, "frequency_hz": FREQUENCY_HZ}
    update = apply_readings(small_site(), small_plan(), pd.concat([rows, pd.DataFrame([foreign])], ignore_index=True))
    used = update.expected["used"]
    assert used.iloc[-1] == "no: a foreign tone is told, not explained"
    aside = update.expected[used.eq("no: a foreign tone was heard there")]
    assert len(aside) >= 1
    assert (aside["line_id"] == "A").all()
    assert (aside["station_m"] - near["station_m"]).abs().max() <= 10.0
    assert aside["expected"].isna().all()
    assert any("foreign tone of 30 mA on A" in note for note in update.notes)


def test_a_line_beyond_the_network_does_not_count_and_progress_does() -> None:
    site = _site(lines=[cable("A"), cable("B", 1.8), cable("Z", 400.0), cable("P", 2.5, conductive="no")])
    rows = read_of("as recorded").head(4)
    more = [{"setup_id": "S1", "kind": "receiver_ma", "line_id": line, "station_m": 5.0, "value": 1.0} for line in "ZP"]
    steps: list[tuple[str, int, int]] = []
    table = apply_readings(
        site, small_plan(), pd.concat([rows, pd.DataFrame(more)], ignore_index=True),
        progress=lambda *step: steps.append(step),
    ).expected  # fmt: skip
    assert table["used"].iloc[-2:].str.startswith("no: the line carries no tone, or lies beyond").all()
    assert table["used"].iloc[:-2].eq("yes").all()
    total = SETTINGS.readings.soil_points + 4  # soils and networks of the design, one frequency
    assert steps == [("networks", k + 1, total) for k in range(total)]


def test_without_a_reading_that_counts_there_is_nothing_to_say() -> None:
    only = pd.DataFrame([{"setup_id": "S0", "line_id": "A", "station_m": 5.0, "kind": "foreign_tone", "value": 3.0}])
    with pytest.raises(InputError, match="expected at least one reading of a set-up of the plan"):
        apply_readings(small_site(), small_plan(), only)


@pytest.fixture(autouse=True)
def _same_settings() -> Iterator[None]:
    before = SETTINGS.model_dump()
    yield
    assert SETTINGS.model_dump() == before
    assert math.isfinite(FREQUENCY_HZ)
