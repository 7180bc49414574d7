"""Set-ups that could be made, and in what share of the draws each shows each piece."""

import numpy as np
import pandas as pd
import pytest

from corridor import load_equipment
from corridor.plan.setups.options import Options, make_options
from corridor.settings import PlanSettings, ReceiverSettings, Settings
from corridor.tone.grades import MASKED, PULLED, READABLE
from tests.plan.setups.made import SPACING_M, ensemble, line_draws, line_frame, ready_frame, stations_of

EQUIPMENT = load_equipment(None)
SETTINGS = Settings(receiver=ReceiverSettings(station_spacing_m=SPACING_M), plan=PlanSettings(pulled_worth=0.25))
LINES = line_frame(["A", "B"])
READY = ready_frame({"direct:A": "direct", "clamp:B": "clamp", "induction:B": "induction"})
LEVELS_MA = sorted(EQUIPMENT.transmitter.levels_ma)


def options(barred: pd.DataFrame | None = None, *, available_a: float = 10.0, **line: object) -> Options:
    lines = {
        "A": line_draws(stations_of(LINES, "A"), [0], **line),  # type: ignore[arg-type]
        "B": line_draws(stations_of(LINES, "B"), [1, 2]),
    }
    return make_options(
        ensemble(lines, len(READY), available_a=available_a), READY, LINES, area=None, barred=barred,
        equipment=EQUIPMENT, settings=SETTINGS,
    )  # fmt: skip


def of(made: Options, hookup: int) -> np.ndarray:  # type: ignore[type-arg]
    return np.flatnonzero(made.hookup == hookup)


def test_every_output_that_differs_is_an_option() -> None:
    made = options()
    assert len(made) == len(READY) * 2 * len(LEVELS_MA)
    # a source that gives no more than 12 mA makes all outputs from 20 mA on one and the same
    assert len(options(available_a=0.012)) == len(READY) * 2 * 3


def test_pieces_cover_the_lines() -> None:
    made = options()
    assert made.pieces.length_m.sum() == pytest.approx(80.0)
    assert made.pieces.line_id[made.pieces.rows["B"]].tolist() == ["B"] * 4


def test_a_set_up_reaches_only_the_lines_it_was_graded_on() -> None:
    made = options()
    assert np.isnan(made.worth[np.ix_(range(4), of(made, 1))]).all()
    assert (made.readable[np.ix_(range(4, 8), of(made, 1))] == 1.0).all()


def test_shares_of_draws_and_what_pulled_readings_are_worth() -> None:
    made = options(loud=np.array([READABLE, PULLED, PULLED, MASKED], dtype=np.int8))
    own = np.ix_(range(4), of(made, 0))
    assert (made.readable[own] == 0.25).all()
    assert made.worth[own] == pytest.approx(np.full((4, made.hookup.tolist().count(0)), 0.25 + 0.25 * 0.5))


def test_too_little_tone_shows_nothing() -> None:
    # 10 nT/A and a floor of 0.2 nT: from 20 mA on it is heard
    made = options(field_nt=10.0)
    shown = {float(made.level_a[k]): float(made.readable[0, k]) for k in of(made, 0)}
    assert shown == {level / 1000: float(level >= 20) for level in LEVELS_MA}


def test_what_the_gate_bars_is_no_option() -> None:
    barred = pd.DataFrame(
        {
            "hookup_id": ["direct:A"] * 2,
            "frequency_hz": [1000.0] * 2,
            "level_ma": [100.0, 200.0],
            "ready": [False, True],
        }
    )
    made = options(barred)
    first = [round(made.level_a[k] * 1000) for k in of(made, 0) if made.frequency[k] == 0]
    assert 100 not in first and 200 in first
    assert len(made) == len(options()) - 1


def test_lower_frequency_then_lower_output_then_mode_is_liked_better() -> None:
    made = options()
    key = np.column_stack(
        (made.frequency, made.level_a, [READY["mode"].tolist().index(READY["mode"][k]) for k in made.hookup])
    )
    order = np.lexsort((key[:, 2], key[:, 1], key[:, 0]))
    assert (np.diff(made.preference[order]) >= 0).all()
