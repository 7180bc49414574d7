"""In which sense the current under the receiver runs."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.settings import ReceiverSettings
from corridor.tone.cases import CASES
from corridor.tone.hookup import HookUp
from corridor.tone.predict import predict
from corridor.tone.sense import SENSES, sense_of, station_senses
from corridor.tone.solve import solve_tone
from corridor.tone.stations import set_stations
from tests.builders import make_lines
from tests.tone.wires import EQUIPMENT, SOIL, placed, wires

LENGTH_M = 60.0
TARGET: dict[str, Any] = {"line_id": "A", "geometry": [(0, 0), (LENGTH_M, 0)], "depth_m": 1.0}
BESIDE: dict[str, Any] = {"line_id": "B", "geometry": [(0, 2), (LENGTH_M, 2)], "depth_m": 1.0}


@pytest.mark.parametrize(
    ("phase_deg", "bearing_deg", "word"),
    [
        (0.0, 0.0, "same"), (60.0, 0.0, "same"), (-300.0, 10.0, "same"), (61.0, 0.0, "unclear"),
        (-94.0, 0.0, "unclear"),
        (-178.0, 0.0, "opposite"), (120.0, 0.0, "opposite"), (0.0, 180.0, "opposite"), (180.0, 180.0, "same"),
        (0.0, 90.0, "unclear"), (180.0, -70.0, "unclear"), (np.nan, 0.0, "unclear"),
    ],
)  # fmt: skip
def test_phase_and_bearing_give_the_sense(phase_deg: float, bearing_deg: float, word: str) -> None:
    assert sense_of(np.array([phase_deg]), np.array([bearing_deg]), angle_deg=60.0).tolist() == [word]


@settings(max_examples=100, deadline=None)
@given(st.floats(-720, 720), st.floats(-720, 720), st.floats(1, 89))
def test_turning_a_line_round_changes_nothing(phase: float, bearing: float, angle: float) -> None:
    # identity: the direction of a line in the records is arbitrary; current and bearing change sign together
    one = sense_of(np.array([phase]), np.array([bearing]), angle_deg=angle)
    turned = sense_of(np.array([phase + 180.0]), np.array([bearing + 180.0]), angle_deg=angle)
    assert one.tolist() == turned.tolist()
    assert one[0] in SENSES


@pytest.mark.parametrize("angle_deg", [0.0, 90.0, -1.0])
def test_an_angle_that_parts_nothing_is_refused(angle_deg: float) -> None:
    with pytest.raises(DomainError, match="angle_deg must be above 0 and below 90"):
        sense_of(np.zeros(1), np.zeros(1), angle_deg=angle_deg)


def senses(
    over: dict[str, Any],
    *others: dict[str, Any],
    hookup: HookUp | None = None,
    frequency_hz: float = 1e3,
    **tables: Any,
) -> list[str]:
    """Senses heard over one line, while A is fed at its start."""
    grounds = [{"ground_id": "gA", "line_id": "A", "geometry": (LENGTH_M, 0), "resistance_ohm": 20.0,
                "evidence": "measured"}, *tables.pop("grounds", [])]  # fmt: skip
    lines = [over, *others] if over["line_id"] == "A" else [TARGET, over, *others]
    model = wires(lines=lines, bonds=tables.pop("bonds", []), grounds=grounds, **tables)
    drive = placed(model, *([hookup] if hookup else []))
    solution = solve_tone(model, [drive], CASES[:1], frequencies_hz=[frequency_hz], soil=SOIL, equipment=EQUIPMENT)
    shape = make_lines([over]).geometry.iloc[0]
    stations = set_stations(over["line_id"], shape, depth_m=1.0, spacing_m=12.0)
    prediction = predict(solution, stations, [0], receiver=ReceiverSettings(half_width_m=1.0))
    got = station_senses(solution, prediction, drive=0, frequency_hz=frequency_hz, angle_deg=60.0)
    return list(got[1:-1])  # away from ends and grounds


def bond(x_m: float) -> dict[str, Any]:
    return {"bond_id": "b", "line_a": "A", "line_b": "B", "state": "closed", "evidence": "recorded",
            "geometry": (x_m, 1)}  # fmt: skip


def rod(x_m: float) -> dict[str, Any]:
    return {"ground_id": "gB", "line_id": "B", "geometry": (x_m, 2), "resistance_ohm": 5.0, "evidence": "measured"}


@pytest.mark.parametrize("turned", [False, True], ids=["as recorded", "turned round"])
def test_tone_over_the_target_runs_in_its_own_sense(turned: bool) -> None:
    line = TARGET | {"geometry": TARGET["geometry"][::-1]} if turned else TARGET
    hookup = HookUp("direct", "A", at_m=LENGTH_M if turned else 0.0)
    assert set(senses(line, hookup=hookup)) == {"same"}


@pytest.mark.parametrize("turned", [False, True], ids=["as recorded", "turned round"])
@pytest.mark.parametrize(("bond_m", "rod_m", "word"), [(0.0, LENGTH_M, "same"), (LENGTH_M, 0.0, "opposite")])
def test_a_bond_at_the_near_end_sends_tone_out_and_one_at_the_far_end_brings_it_back(
    bond_m: float, rod_m: float, word: str, turned: bool
) -> None:
    # common practice: bonded at the near end a neighbour shares the way out, at the far end it is the way back
    line = BESIDE | {"geometry": BESIDE["geometry"][::-1]} if turned else BESIDE
    assert set(senses(line, bonds=[bond(bond_m)], grounds=[rod(rod_m)])) == {word}


def test_a_line_that_crosses_has_no_sense() -> None:
    across = BESIDE | {"geometry": [(30, 1), (30, 50)]}
    assert set(senses(across, grounds=[{**rod(0.0), "geometry": (30, 50)}])) == {"unclear"}


def test_on_both_sides_of_a_hookup_the_tone_runs_away_from_it_and_is_the_targets() -> None:
    near = {"ground_id": "near", "line_id": "A", "geometry": (0, 0), "resistance_ohm": 20.0, "evidence": "measured"}
    assert senses(TARGET, hookup=HookUp("direct", "A", at_m=36.0), grounds=[near]) == ["same"] * 3
