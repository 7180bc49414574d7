"""The strategy on predictions made up by hand."""

import ast
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

import corridor.plan
from corridor.dictionary import GRADES, MODES, RESULT_TABLES, UTILITIES
from corridor.errors import InputError
from corridor.frames import table_frame
from corridor.plan.strategy import build_strategy, strategy_totals
from corridor.plan.wording import CENTRE_NOT_COVER, NOT_FROM_THIS_PEAK, OTHER_METHODS, STILL_THERE, caution_text
from corridor.settings import HookUpSettings, Settings
from tests.builders import METRIC, make_site

SITE = make_site(
    lines=[
        {"line_id": "W-1", "utility": "water", "owner": "Harrow & Slate Water", "geometry": [(0, 0), (40, 0)]},
        {"line_id": "E-1", "utility": "electricity", "geometry": [(0, 2), (40, 2)]},
        {"line_id": "S-1", "utility": "sewer", "material": "clay", "conductive": "no", "geometry": [(0, 3), (40, 3)]},
        {"line_id": "U-1", "utility": "unknown", "conductive": "unknown", "geometry": [(0, 90), (40, 90)]},
        {"line_id": "P-1", "utility": "water", "status": "proposed", "geometry": [(0, 5), (40, 5)]},
    ]
)  # fmt: skip
DIRECT, CLAMP, INDUCTION, OTHER = "direct:W-1:V-1", "clamp:W-1:V-1", "induction:W-1:20m", "direct:W-1:V-2"


def hookups_of(**ready: str) -> gpd.GeoDataFrame:
    states = {"direct": "ready", "clamp": "ready", "induction": "ready", "other": "ready"} | ready
    ids = {"direct": DIRECT, "clamp": CLAMP, "induction": INDUCTION, "other": OTHER}
    rows = [
        {"hookup_id": ids[key], "line_id": "W-1", "mode": ids[key].split(":")[0], "ready": state,
         "structure_id": None if key == "induction" else ids[key].split(":")[2],
         "missing": "" if state == "ready" else "permit from the owner",
         "caution": "Look out." if key == "direct" else ""} for key, state in states.items()
    ]  # fmt: skip
    return table_frame("hookups", rows, crs=METRIC)


def predictions(*rows: tuple[str, float, str, dict[str, Any]], stations: int = 10) -> pd.DataFrame:
    """Rows (hookup_id, frequency_hz, letters, more): a letter a station, capital where the nominal is readable."""
    grades = {"r": "readable", "p": "pulled", "m": "masked", "f": "faint", "u": "untraceable"}
    found = []
    for hookup_id, frequency_hz, letters, more in rows:
        for n, letter in enumerate(letters * (stations if len(letters) == 1 else 1)):
            worst = grades[letter.lower()]
            found.append(
                {
                    "line_id": "W-1", "station_m": 2.0 + 4.0 * n, "hookup_id": hookup_id, "frequency_hz": frequency_hz,
                    "level_ma": 50.0, "grade": "readable" if letter.isupper() else worst, "grade_worst": worst,
                    "settled": letter.islower(), "current_ma": 40.0 - n, "current_low_ma": 20.0 - n,
                    "current_high_ma": 60.0 - n, "peak_offset_m": -0.01 * n, "pulled_to": "north" if n > 5 else None,
                    "depth_error_m": 0.02 * n, "mistaken_for": "E-1" if worst == "masked" else None, **more,
                }
            )  # fmt: skip
    return pd.DataFrame(found)


def outputs_of(candidates: pd.DataFrame) -> pd.DataFrame:
    keys = candidates[["hookup_id", "frequency_hz", "level_ma"]].drop_duplicates(ignore_index=True)
    return keys.assign(voltage_v=12.5, loop_ohm=250.0, limited_by="level")


def plan(candidates: pd.DataFrame, **given: Any) -> gpd.GeoDataFrame:
    hookups = given.pop("hookups", hookups_of())
    outputs = given.pop("outputs", outputs_of(candidates))
    options = {"settings": Settings(), "targets": ["W-1"]} | given
    return build_strategy(given.pop("site", SITE), hookups, candidates, outputs, **options)


def test_one_stretch_says_all() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "r", {}), (CLAMP, 1000.0, "p", {})))
    assert list(rows.columns) == [*RESULT_TABLES["strategy"].names, "geometry"]
    (row,) = rows.to_dict("records")
    assert (row["stretch_id"], row["from_m"], row["to_m"], row["length_m"]) == ("W-1:1", 0.0, 40.0, 40.0)
    assert (row["mode"], row["hookup_id"], row["structure_id"]) == ("direct", DIRECT, "V-1")
    assert (row["frequency_hz"], row["level_ma"], row["voltage_v"], row["loop_ohm"]) == (1000.0, 50.0, 12.5, 250.0)
    assert (row["grade"], row["grade_worst"], row["settled"]) == ("readable", "readable", True)
    assert (row["current_ma"], row["current_low_ma"], row["current_high_ma"]) == (31.0, 11.0, 60.0)
    assert (row["peak_offset_m"], row["pulled_to"], row["depth_error_m"]) == (-0.09, "north", 0.18)
    assert row["runner_up"] == f"{CLAMP} at 1000 Hz: pulled"
    assert row["reason"] == "the best of 2 choices of hook-up, frequency and output: readable in the worst case"
    assert row["caution"] == f"Look out. {CENTRE_NOT_COVER}"
    assert row["owner"] == "Harrow & Slate Water"
    assert row["geometry"].equals(SITE.lines.geometry.iloc[0])
    assert rows.crs == METRIC


def test_the_grade_decides_not_the_mode() -> None:
    for best in (DIRECT, CLAMP, INDUCTION):
        rows = plan(
            predictions(*((name, 1000.0, "r" if name == best else "p", {}) for name in (DIRECT, CLAMP, INDUCTION)))
        )
        assert rows["hookup_id"].tolist() == [best]


def test_the_worst_case_comes_before_the_nominal_one() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "M", {}), (CLAMP, 1000.0, "p", {})))
    assert rows["hookup_id"].tolist() == [CLAMP]
    rows = plan(predictions((DIRECT, 1000.0, "p", {}), (CLAMP, 1000.0, "P", {})))
    assert rows["hookup_id"].tolist() == [CLAMP]


def test_ties_go_to_the_lower_frequency_then_the_lower_output_then_the_mode() -> None:
    frequency = predictions((DIRECT, 5000.0, "r", {}), (INDUCTION, 1000.0, "r", {"level_ma": 300.0}))
    assert plan(frequency)["hookup_id"].tolist() == [INDUCTION]
    output = predictions((DIRECT, 1000.0, "r", {"level_ma": 50.0}), (CLAMP, 1000.0, "r", {"level_ma": 20.0}))
    assert plan(output)["hookup_id"].tolist() == [CLAMP]
    mode = predictions((INDUCTION, 1000.0, "r", {}), (CLAMP, 1000.0, "r", {}), (DIRECT, 1000.0, "r", {}))
    assert plan(mode)["hookup_id"].tolist() == [DIRECT]
    turned = Settings(hookups=HookUpSettings(mode_order=("induction", "clamp", "direct")))
    assert plan(mode, settings=turned)["hookup_id"].tolist() == [INDUCTION]
    same = predictions((OTHER, 1000.0, "r", {}), (DIRECT, 1000.0, "r", {}))
    assert plan(same)["hookup_id"].tolist() == [DIRECT]


def test_one_hook_up_is_held_rather_than_two_changed() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "rrrrrppppp", {}), (CLAMP, 5000.0, "r", {})))
    assert rows["hookup_id"].tolist() == [CLAMP]
    assert "2 of 2" not in rows["reason"][0]


def test_changing_where_it_pays() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "rrrrrmmmmm", {}), (CLAMP, 1000.0, "pppppprrrr", {})))
    assert rows["hookup_id"].tolist() == [DIRECT, CLAMP, CLAMP]
    assert rows["grade_worst"].tolist() == ["readable", "pulled", "readable"]
    assert rows["from_m"].tolist() == [0.0, 20.0, 24.0]
    assert (rows["to_m"].tolist()[:-1], rows["to_m"].iloc[-1]) == (rows["from_m"].tolist()[1:], 40.0)
    assert rows["stretch_id"].tolist() == ["W-1:1", "W-1:2", "W-1:3"]


def test_only_ready_hook_ups_are_chosen() -> None:
    both = predictions((DIRECT, 1000.0, "r", {}), (CLAMP, 1000.0, "m", {}))
    waiting = plan(both, hookups=hookups_of(direct="not_ready"))
    assert waiting["hookup_id"].tolist() == [CLAMP]
    assert f"not ready: {DIRECT} at 1000 Hz: readable, but it lacks permit from the owner" in waiting["reason"][0]
    assert waiting["runner_up"].tolist() == [None]
    refused = plan(both, hookups=hookups_of(direct="refused"))
    assert DIRECT not in refused.to_csv()


def test_nothing_ready_is_untraceable_and_says_what_is_missing() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "r", {})), hookups=hookups_of(**dict.fromkeys(
        ("direct", "clamp", "induction", "other"), "not_ready")))  # fmt: skip
    (row,) = rows.to_dict("records")
    assert row["grade_worst"] == "untraceable"
    assert "permit from the owner" in row["reason"]
    assert row["reason"].endswith(OTHER_METHODS)
    assert (row["mistaken_for"], row["hookup_id"], row["caution"]) == ("E-1", None, STILL_THERE)


def test_tone_that_shows_nothing_is_untraceable_too() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "rrrrruuuuu", {})))
    assert rows["grade_worst"].tolist() == ["readable", "untraceable"]
    assert rows["hookup_id"].tolist() == [DIRECT, None]
    assert rows["mistaken_for"].tolist() == [None, "E-1"]


@pytest.mark.parametrize(("letter", "warned"), [("r", False), ("p", True), ("m", True), ("f", False)])
def test_peaks_that_mislead_are_not_marked_from(letter: str, warned: bool) -> None:
    rows = plan(predictions((DIRECT, 1000.0, letter, {})))
    assert (NOT_FROM_THIS_PEAK in rows["caution"][0]) == warned
    assert rows["mistaken_for"].tolist() == ["E-1" if letter == "m" else None]


def test_a_masked_place_is_warned_of_though_its_worst_case_is_faint() -> None:
    assert NOT_FROM_THIS_PEAK in caution_text(None, ("masked", "faint"), settled=False)
    assert NOT_FROM_THIS_PEAK not in caution_text(None, ("readable", "faint"), settled=False)


def test_stations_no_choice_reaches_are_answered_for() -> None:
    candidates = predictions((DIRECT, 1000.0, "r", {}))
    near = candidates[candidates["station_m"] > 12.0]
    every = np.unique(candidates["station_m"].to_numpy(float))
    rows = plan(near, stations={"W-1": every})
    assert rows["length_m"].sum() == pytest.approx(40.0)
    assert rows["grade"].tolist() == ["untraceable", "readable"]
    assert rows["reason"][0].startswith("every ready hook-up is an induction loop that stands too close")


def test_a_grade_that_differs_between_the_cases_says_so() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "P", {})))
    assert rows["settled"].tolist() == [False]
    assert "differs between the cases" in rows["caution"][0]


def test_runner_up_is_another_hook_up_else_another_frequency() -> None:
    two = predictions((DIRECT, 1000.0, "r", {}), (DIRECT, 5000.0, "r", {}), (CLAMP, 5000.0, "m", {}))
    assert plan(two)["runner_up"].tolist() == [f"{CLAMP} at 5000 Hz: masked"]
    assert plan(two[two["hookup_id"] == DIRECT])["runner_up"].tolist() == [f"{DIRECT} at 5000 Hz: readable"]
    assert plan(two[:10])["runner_up"].tolist() == [None]


def test_the_limit_that_sets_the_output_is_named() -> None:
    candidates = predictions((DIRECT, 1000.0, "r", {}))
    rows = plan(candidates, outputs=outputs_of(candidates).assign(limited_by="voltage"))
    assert rows["reason"][0].endswith("; the voltage limit sets the output")


def test_levels_may_be_missing() -> None:
    rows = plan(predictions((INDUCTION, 10000.0, "r", {"level_ma": np.nan}), (DIRECT, 10000.0, "p", {})))
    assert rows["hookup_id"].tolist() == [INDUCTION]
    assert rows["voltage_v"].tolist() == [12.5]


def test_magnitudes_may_be_missing() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "f", {"peak_offset_m": np.nan, "depth_error_m": np.nan})))
    assert rows["peak_offset_m"].isna().all()
    assert rows["grade_worst"].tolist() == ["faint"]


def test_lines_without_any_prediction_are_listed() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "r", {})), targets=None)
    assert rows["line_id"].tolist() == ["E-1", "S-1", "U-1", "W-1"]
    reason = dict(zip(rows["line_id"], rows["reason"], strict=True))
    assert reason["S-1"] == f"not conductive (clay); use {OTHER_METHODS}"
    assert reason["U-1"].startswith("whether it conducts isn't recorded")
    assert reason["E-1"].startswith("it has neither an access point nor room for induction")
    mistaken = dict(zip(rows["line_id"], rows["mistaken_for"], strict=True))
    assert mistaken == {"E-1": "W-1", "S-1": "E-1", "U-1": None, "W-1": None}


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("ready", "no prediction reaches it"),
        ("not_ready", "no hook-up is ready"),
        ("refused", "every hook-up is refused"),
    ],
)
def test_why_a_line_with_hook_ups_has_no_prediction(state: str, words: str) -> None:
    none = predictions((DIRECT, 1000.0, "r", {}))[:0]
    rows = plan(none, hookups=hookups_of(direct=state, clamp=state, induction=state, other=state))
    assert rows["reason"][0].startswith(words)


def test_untraceable_lines_are_cut_to_the_area() -> None:
    none = predictions((DIRECT, 1000.0, "r", {}))[:0]
    rows = plan(none, targets=["S-1"], area=box(10, 0, 20, 10).union(box(30, 0, 50, 10)))
    assert list(zip(rows["from_m"], rows["to_m"], strict=True)) == [(10.0, 20.0), (30.0, 40.0)]
    assert plan(none, targets=["S-1"], area=box(100, 100, 110, 110)).empty


def test_what_rests_on_filled_values_says_so() -> None:
    site = make_site(
        lines=[{"line_id": "W-1", "utility": "water", "geometry": [(0, 0), (40, 0)], "depth_m_src": "default"}]
    )
    rows = build_strategy(
        site, hookups_of(), predictions((DIRECT, 1000.0, "r", {})),
        outputs_of(predictions((DIRECT, 1000.0, "r", {}))), settings=Settings(),
    )  # fmt: skip
    assert rows[["assumed", "assumed_columns", "assumed_share"]].to_numpy().tolist() == [[True, "depth_m", 1.0]]


def test_unknown_hook_ups_and_grades_are_refused() -> None:
    stranger = predictions(("direct:Z:Z", 1000.0, "r", {}))
    with pytest.raises(InputError, match="unknown hookup_id 'direct:Z:Z'"):
        plan(stranger)
    odd = predictions((DIRECT, 1000.0, "r", {"grade_worst": "superb"}))
    with pytest.raises(InputError, match=r"expected a grade of readable, .*got 'superb'"):
        plan(odd)


def test_totals() -> None:
    rows = plan(predictions((DIRECT, 1000.0, "rrrrrruuuu", {})), targets=["W-1", "S-1"])
    totals = strategy_totals(rows)
    assert list(totals) == list(GRADES)
    assert totals == {"readable": 24.0, "pulled": 0.0, "masked": 0.0, "faint": 0.0, "untraceable": 56.0}
    assert sum(strategy_totals(rows[:0]).values()) == 0.0


letters = st.text("rpmfuRPMF", min_size=10, max_size=10)


@settings(max_examples=10, deadline=None)
@given(letters, letters, letters, st.randoms(use_true_random=False))
def test_order_of_rows_changes_nothing_and_no_grade_is_better_than_predicted(
    first: str, second: str, third: str, random: Any
) -> None:
    candidates = predictions((DIRECT, 1000.0, first, {}), (CLAMP, 1000.0, second, {}), (INDUCTION, 5000.0, third, {}))
    rows = plan(candidates)
    order = list(range(len(candidates)))
    random.shuffle(order)
    assert_geodataframe_equal(rows, plan(candidates.iloc[order], outputs=outputs_of(candidates)))
    assert rows["from_m"].tolist()[1:] == rows["to_m"].tolist()[:-1]
    assert rows["length_m"].sum() == pytest.approx(40.0)
    rank = {grade: n for n, grade in enumerate(GRADES)}
    for row in rows.to_dict("records"):
        inside = candidates[candidates["station_m"].between(row["from_m"], row["to_m"])]
        if row["hookup_id"] is None:
            assert (inside["grade_worst"] == "untraceable").all()
        else:
            taken = inside[inside["hookup_id"] == row["hookup_id"]]
            assert taken["grade_worst"].map(rank).max() == rank[row["grade_worst"]]


@pytest.mark.parametrize("module", ["strategy", "stretches", "wording", "places", "hookups"])
def test_no_branch_on_mode_or_utility_outside_the_gate(module: str) -> None:
    path = Path(corridor.plan.__file__).with_name(f"{module}.py")
    words = {*MODES, *UTILITIES} - {"unknown", "other"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            named = {c.value for c in ast.walk(node) if isinstance(c, ast.Constant) and isinstance(c.value, str)}
            assert not named & words, f"{module}.py line {node.lineno}"
