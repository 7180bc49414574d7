"""The receiver's figures in the tables, each against an independent one."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from corridor.constants import MU_0
from corridor.settings import GradeSettings, Settings
from corridor.tone.cases import CASES
from corridor.tone.predict import predict
from corridor.tone.solve import ToneSolution, solve_tone
from corridor.tone.stations import set_stations
from corridor.tone.tables import Rows, Setting, above_floor_db, as_table, section_rows, station_rows
from tests.builders import METRIC, make_lines
from tests.tone.wires import EQUIPMENT, LINES, SOIL, placed, shape_of, wires

LEVEL_A = 0.05
SETTING = Setting("direct:A:0m", 0, 1e3, LEVEL_A)
FLOOR_NT = 0.5


@cache
def solution_of(*lines: str) -> ToneSolution:
    """The wires of these names, fed at A, in the nominal case."""
    rows = [row for row in LINES if row["line_id"] in lines]
    model = wires(lines=rows, bonds=()) if len(lines) < 3 else wires()
    return solve_tone(model, [placed(model)], CASES[:1], frequencies_hz=[1e3], soil=SOIL, equipment=EQUIPMENT)


def rows_of(solution: ToneSolution, line_id: str = "A", *, floor_nt: float = FLOOR_NT) -> Rows:
    settings = Settings(grades=GradeSettings(floor_nt=floor_nt))
    stations = set_stations(line_id, shape_of(line_id), depth_m=0.8, spacing_m=6.0)
    prediction = predict(solution, stations, [0], receiver=settings.receiver)
    row = make_lines([next(row for row in LINES if row["line_id"] == line_id)]).iloc[0].to_dict()
    owners: list[str | None] = [None] * len(stations.measure_m)
    return station_rows(solution, prediction, SETTING, line=row, settings=settings, owners=owners)


@cache
def alone() -> pd.DataFrame:
    return as_table("stations", [rows_of(solution_of("A"))], METRIC)


@cache
def inner() -> pd.DataFrame:
    return alone()[alone()["station_m"].between(24.0, 36.0)]


def test_over_a_line_alone_peak_and_null_agree_and_stand_over_it() -> None:
    # one line's field is symmetric about it
    assert inner()["peak_offset_m"].abs().max() < 0.02
    assert inner()["null_offset_m"].abs().max() < 0.02
    assert inner()["peak_null_gap_m"].max() < 0.03


def test_the_gap_is_the_distance_of_peak_and_null() -> None:
    two = as_table("stations", [rows_of(solution_of("A", "C"))], METRIC)
    gap = (two["peak_offset_m"] - two["null_offset_m"]).abs()
    assert two["peak_null_gap_m"].tolist() == pytest.approx(gap.tolist(), abs=1.1e-3, nan_ok=True)


def middle_field_t(distance_m: float, current_a: float) -> float:
    """Field over the middle of 60 m of wire whose current enters and leaves the soil at its tips.

    Biot and Savart for the wire, and by Ampere's law mu0 I/(4 pi r)(1 - d/R) for what spreads from each tip.
    """
    half_m = 30.0
    slant = np.hypot(half_m, distance_m)
    return float(MU_0 * current_a / (2 * np.pi) * (half_m / (distance_m * slant) - (1 - distance_m / slant) / half_m))


def test_over_a_line_alone_the_receiver_reads_depth_and_current_from_two_coils() -> None:
    # by hand from the fields at 0.85 and 1.35 m: what spreads in the soil makes depth and current read low (5 %)
    lower, upper = middle_field_t(0.85, 1.0), middle_field_t(1.35, 1.0)
    distance = 0.5 * upper / (lower - upper)
    assert inner()["depth_reading_m"].tolist() == pytest.approx([distance - 0.05] * len(inner()), rel=0.01)
    inferred = 2 * np.pi * distance * lower / MU_0
    assert (inner()["inferred_current_ma"] / inner()["current_ma"]).tolist() == pytest.approx(
        [inferred] * len(inner()), rel=0.01
    )
    assert 0.90 < inferred < 0.97


def test_beside_a_line_in_step_the_receiver_infers_another_current_than_flows() -> None:
    # the belief in one line is wrong there: what C's own current adds or takes shows as current of A
    beside = as_table("stations", [rows_of(solution_of("A", "C"), "C")], METRIC)
    middle = beside[beside["station_m"].between(24.0, 36.0)]
    off = (middle["inferred_current_ma"] / middle["current_ma"] - 1.0).abs()
    assert off.min() > 0.5


def test_the_field_is_that_of_its_current() -> None:
    expected = [middle_field_t(0.85, current_ma / 1e3) * 1e9 for current_ma in inner()["current_ma"]]
    assert inner()["field_nt"].tolist() == pytest.approx(expected, rel=0.01)


def test_the_field_stands_over_the_floor_in_decibels() -> None:
    # 20 log10 of a ratio of fields; by hand 20 dB is ten, 6.02 dB two
    assert above_floor_db(np.array([5.0, 1.0, 0.5, 0.05]), 0.5) == pytest.approx([20.0, 6.0206, 0.0, -20.0], abs=1e-4)
    expected = 20 * np.log10(alone()["field_nt"] / FLOOR_NT)
    assert alone()["above_floor_db"].tolist() == pytest.approx(expected.tolist(), abs=0.051)


def test_no_field_has_no_decibels() -> None:
    assert np.isnan(above_floor_db(np.array([0.0, 4e-5]), 0.5)).all()  # 4e-5 nT shows as nothing


def test_a_higher_floor_loses_what_lies_below_it() -> None:
    loud = float(alone()["field_nt"].max())
    table = as_table("stations", [rows_of(solution_of("A"), floor_nt=1.01 * loud)], METRIC)
    assert (table["above_floor_db"] < 0).all()
    assert set(table["grade"]) == {"faint"}


def test_grades_and_decibels_tell_the_same_floor() -> None:
    floor = float(alone()["field_nt"].median())
    table = as_table("stations", [rows_of(solution_of("A"), floor_nt=floor)], METRIC)
    assert ((table["field_nt"] < floor) == (table["grade"] == "faint")).all()
    assert (table["above_floor_db"] < 0).sum() <= (table["grade"] == "faint").sum()


def test_on_the_target_the_current_runs_the_same_way() -> None:
    assert set(inner()["sense"]) == {"same"}
    assert inner()["phase_deg"].abs().max() < 5.0


def test_without_a_hook_up_there_is_nothing_to_compare_with() -> None:
    solution = solution_of("A")
    passive = ToneSolution(solution.model, (), solution.frequencies_hz, solution.cases, solution.soil, solution.results)
    table = as_table("stations", [rows_of(passive)], METRIC)
    assert table["sense"].isna().all()
    assert table["phase_deg"].isna().all()
    assert table["current_ma"].tolist() == alone()["current_ma"].tolist()
    sections = as_table(
        "sections",
        [section_rows(passive, SETTING, lines=make_lines(LINES), stations=table, target=None)],
        METRIC,
    )
    for column in ("phase_deg", "share_of_output", "ratio_to_target"):
        assert sections[column].isna().all()
    assert (sections["current_ma"] > 0).all()
