"""The study of docs/readings.md, small: few networks, two truths; and the document as the script writes it."""

import importlib.util
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from corridor.dictionary.readings import READING_KINDS
from corridor.readings import Update, apply_readings
from tests.readings.street import SETTINGS, Ground, Truth, street_plan, street_rows, street_site

SCRIPT = Path(__file__).parents[2] / "docs" / "make_readings.py"
FAST = SETTINGS.model_copy(
    update={"readings": SETTINGS.readings.model_copy(update={"geometries": 4, "soil_points": 3, "pairs_of": 0})}
)


@cache
def ground() -> Ground:
    site = street_site()
    rows = street_rows(site)
    return Ground(site, street_plan(FAST), rows[rows["setup_id"] != "S2"].reset_index(drop=True))


@cache
def case(cause_kind: str | None) -> tuple[Truth, Update]:
    """Readings of a finer model with a cause of one kind, and what is made of them."""
    wanted = next((s for s in ground().suspects if s.kind == cause_kind), None)
    truth = ground().truth(3, wanted)
    return truth, apply_readings(ground().site, ground().plan, truth.readings)


def test_there_are_thirty_causes_at_least() -> None:
    assert len(ground().suspects) >= 30


def test_a_hidden_cause_is_found_in_another_network_than_the_one_judged_with() -> None:
    truth, update = case("joint_open")
    assert ground().prepared.model.n_sections > 1.5 * 100  # finer sections: another network
    row = update.causes[update.causes["cause_id"] == truth.cause].iloc[0]
    assert row["rank"] <= 3
    assert row["probability"] > 0.3
    low, _, high = update.soil_factor
    assert 0.8 * low < truth.soil_factor < 1.25 * high


def test_nothing_hidden_accuses_nothing() -> None:
    _, update = case(None)
    assert update.causes.loc[update.causes["kind"] != "none", "probability"].max() <= 0.5


@pytest.mark.parametrize("kind", ["joint_open", None])
def test_most_true_currents_of_the_lines_hooked_up_lie_in_their_ranges(kind: str | None) -> None:
    # four networks tell the depth and place of one line only: neighbours need the default, as in docs/readings.md
    truth, update = case(kind)
    table = update.expected
    own = table["setup_id"].map({name: setup.hookup.line_id for name, setup in ground().setups.items()})
    hooked = table["line_id"].eq(own) & table["station_m"].notna()
    inside = (table["current_low_ma"] <= truth.current_ma) & (truth.current_ma <= table["current_high_ma"])
    assert inside[hooked].mean() > 0.8


def script() -> Any:
    spec = importlib.util.spec_from_file_location("make_readings", SCRIPT)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_guide_is_the_scripts_and_has_every_kind() -> None:
    module = script()
    text = module.TARGET.read_text(encoding="utf-8")
    assert text.startswith(module._HEAD), "run python docs/make_readings.py"
    assert [kind for kind in READING_KINDS if f"`{kind}`" not in text] == []
    assert "not a fact" in text
    assert text.count("| bar | asked | reached |") == 1
    assert len(module.SEEDS) == 10
