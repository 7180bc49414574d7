"""What the draws say of a stretch: probability, errors, quality level, and a second opinion."""

import numpy as np
import pytest

from corridor import load_equipment
from corridor.frames import table_frame
from corridor.plan.setups.choice import choose
from corridor.plan.setups.judge import readable_lengths
from corridor.plan.setups.stretch_facts import expected_class, with_draws
from corridor.settings import ReceiverSettings, Settings
from corridor.tone.grades import PULLED, READABLE
from tests.plan.setups.made import SPACING_M, ensemble, line_draws, line_frame, ready_frame, stations_of

SETTINGS = Settings(receiver=ReceiverSettings(station_spacing_m=SPACING_M))
EQUIPMENT = load_equipment(None)
LINES = line_frame(["A"])
READY = ready_frame({"direct:A": "direct", "clamp:A": "clamp", "induction:A": "induction"})
DRAWS = 20


@pytest.mark.parametrize(
    ("offset_m", "depth_share", "depth_m", "level"),
    [
        # PAS 128:2022 as quoted in summaries: B2 250 mm or 40 % of depth in plan and 40 % of depth, B3 500 mm
        (0.10, 0.10, 0.5, "QL-B2"),
        (0.25, 0.40, 0.5, "QL-B2"),
        (0.30, 0.10, 1.0, "QL-B2"),  # 40 % of 1 m is more than 250 mm
        (0.30, 0.10, 0.5, "QL-B3"),
        (0.10, 0.50, 1.0, "QL-B3"),  # no reliable depth
        (0.10, np.nan, 1.0, "QL-B3"),
        (0.60, 0.10, 1.0, None),
    ],
)
def test_quality_levels_by_their_thresholds(
    offset_m: float, depth_share: float, depth_m: float, level: str | None
) -> None:
    assert expected_class(offset_m, depth_share, depth_m) == level


def facts() -> dict[str, object]:
    rng = np.random.default_rng(4)
    stations = stations_of(LINES, "A")
    shape = (len(stations.measure_m), 3, 1, DRAWS)
    own = rng.normal(0.0, 0.05, DRAWS)
    offset = np.zeros(shape, dtype=np.float32)
    offset[:, 0, 0], offset[:, 1, 0], offset[:, 2, 0] = own, 1.1 * own, rng.normal(0.0, 0.05, DRAWS)
    loud = np.full(shape, READABLE, dtype=np.int8)
    loud[:, 0, 0, :5] = PULLED
    depth = np.full(shape, 0.2, dtype=np.float32)
    line = line_draws(stations, [0, 1, 2], frequencies=1, draws=DRAWS, loud=loud, offset_m=offset, depth_error_m=depth)
    made = ensemble({"A": line}, 3)
    choice = choose(made, READY, LINES, area=None, barred=None, equipment=EQUIPMENT, settings=SETTINGS)
    row = {"stretch_id": "A:1", "line_id": "A", "from_m": 0.0, "to_m": 40.0, "length_m": 40.0,
           "hookup_id": "direct:A", "frequency_hz": 1000.0, "level_ma": 50.0}  # fmt: skip
    strategy = table_frame("strategy", [row], geometry=LINES.geometry.tolist(), crs=LINES.crs)
    filled = with_draws(strategy, choice, READY, settings=SETTINGS).iloc[0].to_dict()
    return {**filled, "own": own, "choice": choice, "ensemble": made}


def test_probability_and_errors_are_those_of_the_draws() -> None:
    found = facts()
    assert found["readable_share"] == 0.75
    assert found["pull_90_m"] == pytest.approx(np.quantile(np.abs(found["own"]), 0.9), abs=1e-6)  # type: ignore[arg-type]
    assert found["depth_error_90_m"] == pytest.approx(0.2)
    assert found["expected_class_if_done"] == "QL-B2"


def test_the_second_opinion_is_the_one_whose_error_goes_its_own_way() -> None:
    assert facts()["confirm_by"] == "induction:A at 1000 Hz"


def test_judged_on_its_own_draws_a_choice_keeps_what_it_expects() -> None:
    found = facts()
    choice = found["choice"]
    lengths = readable_lengths(choice, found["ensemble"], settings=SETTINGS)  # type: ignore[arg-type]
    assert lengths.shape == (DRAWS,)
    assert lengths.mean() == pytest.approx(choice.cover.readable_m)  # type: ignore[attr-defined]
