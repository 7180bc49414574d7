"""A plan of a small site: set-ups on draws, in order, shared out, with readings, causes and what to verify first."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner

from corridor import Settings, Site, plan_setups, review_site, write_review
from corridor.commands.main import cli
from corridor.errors import EquipmentError, InputError
from corridor.plan.review import Plan
from corridor.report.results import review_tables
from corridor.settings import DrawSettings, PlanSettings
from tests.block import at_frequencies
from tests.plan.conftest import LENGTH_M, SETTINGS, doubtful

TRANSMITTER = at_frequencies(1000.0, 10_000.0, 100_000.0)
FEW = SETTINGS.model_copy(update={"draws": DrawSettings(count=12, geometries=2)})


def planned(site: Site, settings: Settings = FEW, **options: object) -> Plan:
    return plan_setups(site, **({"equipment": TRANSMITTER, "settings": settings} | options))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def doubted() -> Site:
    return doubtful(state="unknown", evidence="suspected", probability=0.5)


@pytest.fixture(scope="module")
def plan(doubted: Site) -> Plan:
    return planned(doubted)


# --- set-ups ----------------------------------------------------------------------------------------------------------


def test_a_plan_starts_and_ends_with_a_sweep_for_unrecorded_lines(plan: Plan) -> None:
    kinds = plan.setups.sort_values("step", kind="stable")["kind"].tolist()
    assert kinds[0] == kinds[-1] == "sweep" and set(kinds[1:-1]) == {"setup"}
    assert plan.setups["setup_id"].is_unique
    assert "no record shows" in plan.setups.iloc[0]["note"]
    assert "free ground" in plan.setups.iloc[0]["caution"]


def test_every_stretch_that_is_shown_names_a_set_up_of_the_plan(plan: Plan) -> None:
    made = plan.setups[plan.setups["kind"] == "setup"].set_index("setup_id")
    shown = plan.strategy.dropna(subset=["setup_id"])
    assert len(shown) and set(shown["setup_id"]) == set(made.index)
    for stretch in shown.itertuples():
        own = made.loc[stretch.setup_id]
        assert (own["hookup_id"], own["frequency_hz"], own["level_ma"]) == (
            stretch.hookup_id, stretch.frequency_hz, stretch.level_ma,
        )  # fmt: skip
        assert stretch.line_id in own["covers"].split()
    assert made["length_m"].sum() == pytest.approx(shown["length_m"].sum())
    assert made["readable_m"].sum() == pytest.approx((shown["readable_share"] * shown["length_m"]).sum(), abs=0.02)


def test_only_ready_hookups_are_used(plan: Plan) -> None:
    ready = plan.hookups.query("ready == 'ready'")["hookup_id"]
    assert set(plan.setups["hookup_id"].dropna()) <= set(ready)


def test_the_choice_is_an_optimum_and_says_so(plan: Plan) -> None:
    facts = plan.summary["plan"]
    assert facts["proven"] and facts["gap"] == 0.0
    assert facts["used"] <= facts["chosen"] <= facts["greedy"]
    assert facts["draws"] == 12


def test_few_set_ups_show_less_and_the_trade_off_says_how_much(doubted: Site, plan: Plan) -> None:
    one = planned(doubted, FEW.model_copy(update={"plan": PlanSettings(max_setups=1)}))
    assert one.summary["plan"]["chosen"] == 1
    assert one.setups["readable_m"].sum() <= plan.setups["readable_m"].sum() + 1e-9
    curve = plan.trade_off["readable_m"].to_numpy(float)
    assert (np.diff(curve) >= -1e-9).all()
    assert plan.trade_off["share_of_best"].max() <= 1.0 + 1e-9


# --- readings ---------------------------------------------------------------------------------------------------------


def test_expected_readings_are_intervals_inside_their_stops(plan: Plan) -> None:
    rows = plan.expected_readings.dropna(subset=["expected_low"])
    assert len(rows) and (rows["stop_below"] <= rows["expected_low"]).all()
    assert (rows["expected_low"] <= rows["expected_high"]).all() and (rows["expected_high"] <= rows["stop_above"]).all()
    assert set(rows["setup_id"]) <= set(plan.setups["setup_id"])
    told = rows[~rows["tells"].astype(bool)]
    assert (told["expected_high"] > 10 * told["expected_low"]).all()


def test_the_source_reads_what_its_limits_allow(plan: Plan) -> None:
    limits = {"source_ma": TRANSMITTER.transmitter.max_current_ma, "source_v": TRANSMITTER.transmitter.max_voltage_v}
    for kind, limit in limits.items():
        rows = plan.expected_readings[plan.expected_readings["kind"] == kind]
        assert (rows["stop_above"] <= limit + 1e-6).all()


def test_causes_name_unknowns_of_the_site_or_the_wrong_line(plan: Plan) -> None:
    causes = plan.reading_causes
    assert set(causes["side"]) <= {"lower", "higher"}
    ranked = causes[causes["cause_kind"] != "wrong line"]
    assert (ranked["posterior"] > ranked["prior"]).all()


def test_every_unknown_is_ranked_with_where_to_look(plan: Plan) -> None:
    verify = plan.verify_first
    assert verify["rank"].tolist() == list(range(1, len(verify) + 1))
    assert verify["where_to_look"].notna().all()
    assert "bond" in set(verify["kind"]) and (verify["gain_m"] >= 0).all()
    assert verify.set_index("unknown").loc["bond X", "probability"] == 0.5


# --- classes, confirmation --------------------------------------------------------------------------------------------


def test_no_output_claims_a_quality_level_better_than_tone_alone_allows(plan: Plan) -> None:
    assert set(plan.strategy["expected_class_if_done"].dropna()) <= {"QL-B2", "QL-B3"}
    assert "quality_level" not in plan.strategy
    for column in plan.strategy.columns:
        assert "corrected" not in column and not column.startswith("dig")


def test_a_confirming_set_up_is_another_one(alone: Site) -> None:
    rows = planned(alone).strategy.dropna(subset=["confirm_by"])
    assert len(rows)
    assert not any(str(row.confirm_by).startswith(f"{row.hookup_id} at") for row in rows.itertuples())


# --- crews, sameness, errors ------------------------------------------------------------------------------------------


def test_two_crews_never_hear_each_other(doubted: Site) -> None:
    made = planned(doubted, FEW.model_copy(update={"plan": PlanSettings(crews=2, interference_nt=0.001)})).setups
    setups = made[made["kind"] == "setup"]
    if setups["crew"].nunique() == 2:
        for a in setups.itertuples():
            for b in setups.itertuples():
                if a.crew != b.crew and a.crew_frequency_hz == b.crew_frequency_hz:
                    assert b.setup_id in str(a.not_with).split()
    assert setups["crew"].notna().all()


def test_the_same_seed_gives_the_same_plan(doubted: Site, plan: Plan) -> None:
    again = planned(doubted)
    for name, table in review_tables(plan).items():
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(review_tables(again)[name]))


def test_a_review_has_set_ups_too_on_its_cases(doubted: Site) -> None:
    review = review_site(doubted, equipment=TRANSMITTER, settings=FEW)
    assert {"setup", "sweep"} == set(review.setups["kind"])
    assert not hasattr(review, "verify_first")
    assert set(review.strategy["setup_id"].dropna()) == set(review.setups.query("kind == 'setup'")["setup_id"])


def test_without_a_candidate_in_reach_the_plan_is_two_sweeps(doubted: Site) -> None:
    lines = doubted.lines.assign(conductive="no")
    bare = planned(replace(doubted, lines=lines, terminations=doubted.terminations.iloc[:0]))
    assert bare.setups["kind"].tolist() == ["sweep", "sweep"]
    assert set(bare.strategy["grade"]) == {"untraceable"}


def test_equipment_without_a_common_frequency_is_refused(doubted: Site) -> None:
    deaf = TRANSMITTER.model_copy(update={"receiver_frequencies_hz": (33.0,)})
    with pytest.raises(EquipmentError, match="frequency that transmitter and receiver share"):
        planned(doubted, equipment=deaf)


def test_a_target_that_isnt_there_is_told(doubted: Site) -> None:
    with pytest.raises(InputError, match="Z"):
        planned(doubted, targets=["Z"])


@pytest.mark.parametrize("option", ["--crews", "--max-setups", "--draws"])
def test_numbers_below_one_are_one_clear_sentence(option: str, tmp_path: Path) -> None:
    records = Path(__file__).parents[2] / "sample_gis/downtown_block/downtown_block.gpkg"
    result = CliRunner().invoke(cli, ["plan", str(records), option, "0", "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert f"{option}: expected a whole number from 1 on, got 0" in result.output
    assert not (tmp_path / "out").exists()


def test_the_folder_holds_the_plans_layers_and_an_empty_sheet_for_readings(plan: Plan, tmp_path: Path) -> None:
    folder = tmp_path / "plan"
    write_review(plan, folder, command="plan")
    layers = {name for name, _ in pyogrio.list_layers(folder / "results.gpkg")}
    assert {"setups", "expected_readings", "reading_causes", "verify_first", "trade_off"} <= layers
    assert json.loads((folder / "receipt.json").read_text(encoding="utf-8"))["command"] == "plan"
    with (folder / "readings.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert rows and {row["setup_id"] for row in rows} <= set(plan.setups["setup_id"])
    assert {row["value"] for row in rows} == {""}


def test_lengths_are_those_of_the_lines(plan: Plan) -> None:
    assert plan.strategy["length_m"].sum() == pytest.approx(2 * LENGTH_M)
